#include <atomic>

#include "record/written.h"
#include "seen/ignoring_sink.h"
#include "support/catch.h"

using namespace hopbench;
using namespace hopbench::sample;

namespace {

constexpr Nanos step = 100 * millisecond;

/// Tells a run with a pause of `step` after each few records, in which all that is there is written.
WriterThread::Counts write_in_steps(const Run& run, Disk& disk, std::uint64_t rotate_bytes, Acknowledge* acknowledge,
                                    std::size_t records_per_step = 12) {
  std::atomic<Nanos> now{0};
  auto plan = real_time_plan([&now] { return now.load(); });
  plan.rotate_bytes = rotate_bytes;
  plan.acknowledge = acknowledge;
  CaptureWriter writer(disk, "a.hbcap", origin(), plan);
  writer.begin(run.info);
  for (std::size_t i = 0; i < run.events.size(); ++i) {
    run.tell_event(i, writer);
    if (i % records_per_step == 0) {
      now += step;
      writer.drain();
      writer.flush();  // nothing is there: it makes the writing thread look at the clock
      writer.drain();
    }
  }
  writer.end(run.until, run.lateness);
  return writer.counts();
}

}  // namespace

TEST_CASE("a capture that is written in one file has the bytes that its records have one by one") {
  const auto run = wild_run(50, 2000);
  MemoryFile plain;
  struct OneByOne final : IgnoringSink {
    BlockWriter blocks;
    RecordEncoder encoder;
    explicit OneByOne(FileOps& ops) : blocks(ops, "plain", origin().run_id) {}
    void begin(const RunInfo& info) override {
      const auto from = origin();
      CaptureHead head;
      head.run_id = from.run_id;
      head.scenario_text = from.scenario_text;
      head.bus_text = from.bus_text;
      head.run = info;
      blocks.append(RecordKind::head, encoder.head(head), 0);
      blocks.append(RecordKind::build, encoder.build(from.build), 0);
    }
    void exchange(const ExchangeObs& obs, const ExchangeTruth* truth) override {
      const auto payload = encoder.exchange(obs, truth);
      blocks.append(encoder.exchange_kind(), payload, obs.closed);
    }
    void stray(const Stray& stray) override { blocks.append(RecordKind::stray, encoder.stray(stray), 0); }
    void arrival(const Arrival& arrival) override { blocks.append(RecordKind::arrival, encoder.arrival(arrival), 0); }
    void end(Nanos until, const Lateness& lateness) override {
      blocks.append(RecordKind::end, encoder.end({until, lateness, blocks.records(), blocks.crc_of_crcs()}), 0);
      blocks.flush();
    }
  } one_by_one(plain);
  run.tell(one_by_one);
  CHECK((plain.bytes == capture_of(run)));
  Disk disk;
  write_in_steps(run, disk, 0, nullptr);
  CHECK((disk.files["a.hbcap"].bytes == plain.bytes));
}

TEST_CASE("a file that is full is ended, and the run goes on in the next") {
  const auto run = wild_run(51, 3000);
  constexpr std::uint64_t most = 100'000;
  Disk disk;
  Acknowledged acknowledged;
  const auto counts = write_in_steps(run, disk, most, &acknowledged);
  CHECK(counts.files.error == 0);
  CHECK(counts.dropped == 0);
  CHECK(counts.files.written == run.events.size() + 3);
  CHECK(counts.files.synced == run.events.size() + 3);
  CHECK(acknowledged.last_written == counts.files.written);
  CHECK(acknowledged.last_synced == counts.files.synced);
  CHECK_FALSE(acknowledged.went_back);
  CHECK(counts.files.files == disk.files.size());
  CHECK(disk.files.size() > 3);
  CHECK(counts.files.last_file == segment_path("a.hbcap", counts.files.files - 1));
  CHECK(disk.left_open() == 0);
  Nanos floor = -1;
  for (std::uint32_t segment = 0; segment < counts.files.files; ++segment) {
    CAPTURE(segment);
    const auto& file = disk.files.at(segment_path("a.hbcap", segment));
    CHECK(file.bytes.size() <= most);
    CHECK(file.synced == file.bytes.size());
    CHECK(file.entry_synced);
    const auto header = read_block_header(std::span(file.bytes).first<block_header_bytes>());
    REQUIRE(header);
    CHECK(header->segment == segment);
    CHECK(header->run_id == origin().run_id);
    CHECK(header->close_floor > floor);
    floor = header->close_floor;
    const auto read = read_segment(file.bytes, segment);
    CHECK(read.begins_with_head);
    CHECK(read.ended);
    CHECK(read.goes_on == (segment + 1 < counts.files.files));
    CHECK(read.drop_records == 0);
    CHECK_FALSE(read.damage.in_the_middle());
    CHECK_FALSE(read.damage.unclosed);
  }
  CHECK((read_disk(disk, "a.hbcap").told == payloads_of(run)));

  Disk again;
  write_in_steps(run, again, most, nullptr, 77);
  CHECK((again.files == disk.files));  // where a file ends hangs on the records alone
}

TEST_CASE("files that cannot hold much more than their head hold at least as much again") {
  const auto run = wild_run(52, 400);
  Disk disk;
  const auto counts = write_in_steps(run, disk, 1, nullptr);
  CHECK(counts.dropped == 0);
  std::size_t size = 0;
  for (const auto& [path, file] : disk.files) size += file.bytes.size();
  CHECK(size < capture_of(run).size() * 5 / 2);
  CHECK((read_disk(disk, "a.hbcap").told == payloads_of(run)));
}

TEST_CASE("whichever call fails, the run ends, the counts add up, and what is read was told") {
  const auto run = wild_run(53, 260);
  const auto told = payloads_of(run);
  constexpr std::uint64_t rotate = 22'000;
  for (std::size_t call = 0; call < call_count; ++call) {
    for (const int error : {EIO, ENOSPC}) {
      for (const bool once : {true, false}) {
        for (int number = 1;; ++number) {
          CAPTURE(call, error, once, number);
          REQUIRE(number < 400);
          Disk disk;
          disk.fault = {static_cast<Call>(call), number, error, once};
          Acknowledged acknowledged;
          const auto counts = write_in_steps(run, disk, rotate, &acknowledged);
          REQUIRE(disk.left_open() == 0);
          REQUIRE_FALSE(disk.called_after_error);
          REQUIRE(counts.appended == told.size());
          REQUIRE(counts.files.written + counts.dropped == told.size());
          REQUIRE(counts.files.synced <= counts.files.written);
          REQUIRE(acknowledged.last_written == counts.files.written);
          REQUIRE(acknowledged.last_synced == counts.files.synced);
          REQUIRE_FALSE(acknowledged.went_back);
          // What a run is said to go on in is there.
          if (counts.files.files > 0) {
            REQUIRE(disk.files.contains(counts.files.last_file));
            REQUIRE_FALSE(disk.files.at(counts.files.last_file).removed);
          }
          const auto read = read_disk(disk, "a.hbcap");
          REQUIRE(read.told.size() == counts.files.written);
          REQUIRE(is_subsequence(read.told, told));
          REQUIRE(read.damaged == 0);
          if (counts.dropped == 0) REQUIRE((read.told == told));
          // If the end could be written, so could the number of what is missing.
          if (read.run_ended) REQUIRE(read.dropped == counts.dropped);
          if (!disk.hit) {
            REQUIRE(counts.files.error == 0);
            break;
          }
          const auto which = static_cast<Call>(call);
          if (which == Call::close || which == Call::remove) {
            REQUIRE(counts.files.error == 0);
          } else {
            REQUIRE(counts.files.error == error);
          }
          // One failure costs no record: the next file is begun at once.
          if (once && !(which == Call::open && number == 1)) REQUIRE(counts.dropped == 0);
        }
      }
    }
  }
}

TEST_CASE("short and interrupted writes lose nothing") {
  const auto run = wild_run(54, 500);
  for (const std::size_t most : {std::size_t{1}, std::size_t{777}, std::size_t{65'535}}) {
    Disk disk;
    disk.most_at_once = most;
    disk.interrupts = true;
    const auto counts = write_in_steps(run, disk, 40'000, nullptr);
    CHECK(counts.files.error == 0);
    CHECK((read_disk(disk, "a.hbcap").told == payloads_of(run)));
  }
}

TEST_CASE("a failure in the middle of short writes tears one record, which is whole in the next file") {
  const auto run = wild_run(55, 200);
  for (int number = 1; number < 120; number += 3) {
    CAPTURE(number);
    Disk disk;
    disk.most_at_once = 501;
    disk.fault = {Call::write, number, EIO, true};
    const auto counts = write_in_steps(run, disk, 0, nullptr);
    if (!disk.hit) break;
    CHECK(counts.dropped == 0);
    const auto read = read_disk(disk, "a.hbcap");
    CHECK((read.told == payloads_of(run)));
    CHECK(read.damaged == 0);
    CHECK(read.files <= 2);
  }
}

TEST_CASE("a full disk is asked again now and then, and what is missing is told once there is room") {
  const auto run = wild_run(56, 2000);
  const auto told = payloads_of(run);
  std::atomic<Nanos> now{0};
  const auto plan = real_time_plan([&now] { return now.load(); });
  Disk disk;
  disk.room = 60'000;
  CaptureWriter writer(disk, "a.hbcap", origin(), plan);
  writer.begin(run.info);
  const auto opens = [&] { return disk.calls[static_cast<std::size_t>(Call::open)]; };
  std::size_t event = 0;
  const auto some = [&](std::size_t count) {
    for (std::size_t i = 0; i < count; ++i) run.tell_event(event++, writer);
    writer.drain();
  };
  while (writer.dropped() == 0) some(10);
  CHECK(writer.error() == ENOSPC);
  CHECK(opens() == 2);
  some(100);
  CHECK(opens() == 2);  // not for each record
  for (int i = 0; i < 5; ++i) {
    now += plan.try_again_every;
    some(20);
    CHECK(opens() == 3 + i);
  }
  // A file that did not even take its head is not left lying about.
  CHECK(std::count_if(disk.files.begin(), disk.files.end(), [](const auto& f) { return !f.second.removed; }) == 1);
  disk.room = ~std::size_t{0};
  now += plan.try_again_every - 1;
  some(20);
  CHECK(opens() == 7);
  now += 1;
  const auto dropped = writer.dropped();
  while (event < run.events.size()) some(10);
  writer.end(run.until, run.lateness);
  CHECK(writer.dropped() == dropped);
  CHECK(dropped > 200);
  const auto read = read_disk(disk, "a.hbcap");
  CHECK(read.files == 2);
  CHECK(read.dropped == dropped);
  CHECK(read.told.size() + dropped == told.size());
  CHECK(is_subsequence(read.told, told));
  CHECK(read.run_ended);
}

TEST_CASE("where room is kept for it, a file whose disk was full is whole, and says itself what is missing") {
  const auto run = wild_run(57, 1500);
  const auto told = payloads_of(run);
  const auto size = capture_of(run).size();
  std::size_t full = 0;
  for (std::size_t room = 20'000; room < size + 300'000; room += 9'973) {
    for (const std::uint64_t rotate : {0U, 40'000U}) {
      CAPTURE(room, rotate);
      Disk disk;
      disk.keeps_room = true;
      disk.room = room;
      const auto counts = write_in_steps(run, disk, rotate, nullptr);
      const auto read = read_disk(disk, "a.hbcap");
      CHECK(read.run_ended);
      CHECK(read.damaged == 0);
      CHECK(read.broken_off == 0);
      CHECK(read.dropped == counts.dropped);
      CHECK(read.told.size() + read.dropped == told.size());
      CHECK(is_subsequence(read.told, told));
      if (counts.dropped > 0) CHECK(counts.files.error == ENOSPC);
      CHECK_FALSE(disk.called_after_error);
      full += counts.dropped > 0 ? 1 : 0;
      for (const auto& [path, file] : disk.files) CHECK(file.reserved == 0);  // given back
    }
  }
  CHECK(full > 10);
}

TEST_CASE("room that comes free is used in the same file, and what was missing until then is told in it") {
  const auto run = wild_run(58, 1500);
  const auto told = payloads_of(run);
  std::atomic<Nanos> now{0};
  Disk disk;
  disk.keeps_room = true;
  disk.room = 60'000;
  CaptureWriter writer(disk, "a.hbcap", origin(), real_time_plan([&now] { return now.load(); }));
  writer.begin(run.info);
  for (std::size_t event = 0; event < run.events.size(); ++event) {
    run.tell_event(event, writer);
    if (event == 1000) disk.room = ~std::size_t{0};
    if (event % 10 == 0) writer.drain();
  }
  writer.end(run.until, run.lateness);
  const auto read = read_disk(disk, "a.hbcap");
  CHECK(read.files == 1);
  CHECK(read.run_ended);
  CHECK(read.damaged == 0);
  CHECK(read.dropped > 100);
  CHECK(read.dropped == writer.dropped());
  CHECK(read.told.size() + read.dropped == told.size());
  CHECK(read.told.back() == told.back());
  CHECK(read.told.size() > 500);
}

TEST_CASE("what a drop record says is when and why") {
  const auto info = ring(3);
  std::atomic<Nanos> now{0};
  auto plan = real_time_plan([&now] { return now.load(); });
  Disk disk;
  CaptureWriter writer(disk, "a.hbcap", origin(), plan);
  writer.begin(info);
  for (std::uint64_t i = 0; i < 3; ++i) {
    if (i == 1) disk.fault = {Call::write, 2, ENOSPC, false};
    if (i == 2) {
      disk.fault = {};
      now += plan.try_again_every;
    }
    clean_exchange(info, i, static_cast<Nanos>(i) * second).tell(writer);
    writer.drain();
  }
  writer.end(10 * second, {});
  const auto lost = clean_exchange(info, 1, second).fixed;
  CaptureReader reader(std::make_unique<MemorySource>(disk.files.at("a.0001.hbcap").bytes));
  Record record;
  int seen = 0;
  while (reader.next(record)) {
    if (record.kind != RecordKind::dropped) continue;
    ++seen;
    CHECK(record.number == 2);
    const Dropped dropped = record.dropped.seen();
    CHECK(dropped.records == 1);
    CHECK(dropped.from == lost.start);
    CHECK(dropped.to == lost.closed);
    CHECK(std::string(dropped.why) == "a write failed: No space left on device");
  }
  CHECK(seen == 1);
}

TEST_CASE("after a failed sync the file is left alone, and the next one says so") {
  const auto run = wild_run(57, 300);
  Disk disk;
  disk.fault = {Call::sync, 1, EIO, true};
  const auto counts = write_in_steps(run, disk, 0, nullptr);
  CHECK(counts.files.error == EIO);
  CHECK(counts.dropped == 0);
  CHECK(counts.files.files == 2);
  const auto& first = disk.files.at("a.hbcap");
  CHECK(first.synced == 0);
  const auto before = read_segment(first.bytes, 0);
  // What the system may have forgotten is never told to be safe.
  CHECK(counts.files.synced == counts.files.written - before.told.size());
  const auto next = read_segment(disk.files.at("a.0001.hbcap").bytes, 1);
  CHECK(next.drop_records == 1);
  CHECK(next.dropped == 0);
}

TEST_CASE("a directory that cannot be synced leaves nothing that is told to be synced") {
  const auto run = wild_run(58, 100);
  Disk disk;
  disk.fault = {Call::sync_directory, 1, EIO, false};
  const auto counts = write_in_steps(run, disk, 0, nullptr);
  CHECK(counts.files.error == EIO);
  CHECK(counts.files.synced == 0);
  CHECK(counts.files.written == run.events.size() + 3);
}

TEST_CASE("nothing that is there already becomes part of a capture") {
  const auto run = wild_run(59, 300);
  Disk leftover;
  leftover.files["a.0001.hbcap"].bytes = {1, 2, 3};
  CaptureWriter refused(leftover, "a.hbcap", origin(), still_plan());
  CHECK(refused.error() == EEXIST);
  CHECK(refused.counts().files.last_file == "a.0001.hbcap");
  CHECK(leftover.files.count("a.hbcap") == 0);

  Disk later;
  later.files["a.0002.hbcap"].bytes = {1, 2, 3};
  const auto counts = write_in_steps(run, later, 22'000, nullptr);
  CHECK(counts.files.error == 0);
  CHECK(later.files["a.0002.hbcap"].bytes.size() == 3);
  CHECK(later.files.count("a.0003.hbcap") == 1);
  const auto header = read_block_header(std::span(later.files["a.0003.hbcap"].bytes).first<block_header_bytes>());
  REQUIRE(header);
  CHECK(header->segment == 3);
}

TEST_CASE("if the next file cannot be made, the one that is full gets longer") {
  const auto run = wild_run(60, 600);
  Disk disk;
  disk.fault = {Call::open, 2, EACCES, false};
  const auto counts = write_in_steps(run, disk, 30'000, nullptr);
  CHECK(counts.files.error == EACCES);
  CHECK(counts.dropped == 0);
  CHECK(counts.files.files == 1);
  CHECK(disk.files["a.hbcap"].bytes.size() > 60'000);
  CHECK((read_disk(disk, "a.hbcap").told == payloads_of(run)));
}

TEST_CASE("the names of further files") {
  CHECK(segment_path("a.hbcap", 0) == "a.hbcap");
  CHECK(segment_path("a.hbcap", 1) == "a.0001.hbcap");
  CHECK(segment_path("d.d/a.b.hbcap", 12) == "d.d/a.b.0012.hbcap");
  CHECK(segment_path("d.d/a", 3) == "d.d/a.0003");
  CHECK(segment_path("d/.a", 3) == "d/.a.0003");
  CHECK(segment_path("a.hbcap", 12345) == "a.12345.hbcap");
}
