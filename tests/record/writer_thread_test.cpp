#include <thread>

#include "record/written.h"
#include "support/catch.h"

using namespace hopbench;
using namespace hopbench::sample;

TEST_CASE("a chain in real time never waits for the disk: what finds no room is left out and told of") {
  const auto run = wild_run(80, 4000);
  const auto told = payloads_of(run);
  Disk disk;
  auto plan = real_time_plan([] { return Nanos{0}; });
  plan.queue_bytes = 200'000;
  CaptureWriter writer(disk, "a.hbcap", origin(), plan);
  disk.hold();
  writer.begin(run.info);
  writer.flush();
  disk.wait_for_a_write();
  std::size_t event = 0;
  // If any of this waited, it would wait for ever.
  while (writer.dropped() < 100) run.tell_event(event++, writer);
  writer.tick();
  writer.flush();
  const auto dropped = writer.dropped();
  disk.release();
  writer.drain();
  CHECK(writer.dropped() == dropped);
  while (event < run.events.size()) {
    run.tell_event(event++, writer);
    if (event % 50 == 0) writer.drain();
  }
  writer.end(run.until, run.lateness);
  CHECK(writer.error() == 0);
  CHECK(writer.dropped() == dropped);
  const auto read = read_disk(disk, "a.hbcap");
  CHECK(read.dropped == dropped);
  CHECK(read.told.size() + dropped == told.size());
  CHECK(is_subsequence(read.told, told));
  CHECK(read.ended);
  // The record lies where the others are missing, and says so.
  const auto bytes = disk.files.at("a.hbcap").bytes;
  CaptureReader reader(std::make_unique<MemorySource>(bytes));
  Record record;
  Nanos closed_before = 0;
  int seen = 0;
  while (reader.next(record)) {
    if (record.is_exchange() && seen == 0) closed_before = std::max(closed_before, record.exchange.fixed.start);
    if (record.kind != RecordKind::dropped) continue;
    ++seen;
    // Small records may have found room after the first that did not.
    CHECK(record.dropped.seen().to >= closed_before);
    CHECK(std::string(record.dropped.seen().why) == "the disk was slower than the chain");
  }
  CHECK(seen == 1);
}

TEST_CASE("a run in virtual time waits for the disk and leaves nothing out") {
  const auto run = wild_run(81, 4000);
  Disk disk;
  auto plan = still_plan();
  plan.queue_bytes = 100'000;
  disk.hold();
  std::thread chain([&] {
    CaptureWriter writer(disk, "a.hbcap", origin(), plan);
    run.tell(writer);
  });
  disk.wait_for_a_write();
  disk.release();
  chain.join();
  CHECK((read_disk(disk, "a.hbcap").told == payloads_of(run)));
  CHECK((disk.files.at("a.hbcap").bytes == capture_of(run)));
}

TEST_CASE("a writer that goes away without an end has written and synced what it was told") {
  const auto run = wild_run(82, 900);
  auto told = payloads_of(run);
  told.pop_back();  // the end
  for (const auto when_full : {WhenFull::wait, WhenFull::drop}) {
    Disk disk;
    auto plan = still_plan();
    plan.when_full = when_full;
    {
      CaptureWriter writer(disk, "a.hbcap", origin(), plan);
      writer.begin(run.info);
      for (std::size_t i = 0; i < run.events.size(); ++i) run.tell_event(i, writer);
    }
    const auto& file = disk.files.at("a.hbcap");
    CHECK(disk.left_open() == 0);
    CHECK(file.synced == file.bytes.size());
    CHECK((read_disk(disk, "a.hbcap").told == told));
  }
}

TEST_CASE("a writer goes away while the disk fails, and while it is held up") {
  const auto run = wild_run(83, 3000);
  for (const auto when_full : {WhenFull::wait, WhenFull::drop}) {
    for (const bool fails : {true, false}) {
      Disk disk;
      if (fails) disk.fault = {Call::write, 2, EIO, false};
      auto plan = still_plan();
      plan.when_full = when_full;
      plan.queue_bytes = 100'000;
      disk.hold();
      std::thread chain([&] {
        CaptureWriter writer(disk, "a.hbcap", origin(), plan);
        writer.begin(run.info);
        for (std::size_t i = 0; i < run.events.size(); ++i) run.tell_event(i, writer);
      });
      disk.wait_for_a_write();
      disk.release();
      chain.join();
      CHECK(disk.left_open() == 0);
      CHECK_FALSE(disk.called_after_error);
    }
  }
}

TEST_CASE("a run that is left by an exception leaves a capture that can be read") {
  const auto run = wild_run(84, 500);
  Disk disk;
  try {
    CaptureWriter writer(disk, "a.hbcap", origin(), still_plan());
    writer.begin(run.info);
    for (std::size_t i = 0; i < run.events.size(); ++i) {
      run.tell_event(i, writer);
      if (i == 300) throw 1;
    }
  } catch (int) {
  }
  const auto read = read_disk(disk, "a.hbcap");
  CHECK(read.told.size() == 303);
  CHECK_FALSE(read.ended);
}

TEST_CASE("a record that no capture can hold is left out, and the others are not") {
  auto run = wild_run(85, 20);
  run.events[10] = OwnedArrival{{}, std::vector<std::uint8_t>(max_record_bytes + 1), {}};
  Disk disk;
  CaptureWriter writer(disk, "a.hbcap", origin(), still_plan());
  run.tell(writer);
  CHECK(writer.error() == 0);
  CHECK(writer.dropped() == 1);
  const auto read = read_disk(disk, "a.hbcap");
  CHECK(read.told.size() == run.events.size() + 2);
  CHECK(read.dropped == 1);
}
