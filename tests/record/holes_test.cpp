// Records that are missing leave a hole in time, and are not passed over in silence.
#include <map>

#include "cli/program.h"
#include "record/capture_tools.h"
#include "record/segment_files.h"
#include "seen/ignoring_sink.h"
#include "support/catch.h"

using namespace hopbench;
using namespace hopbench::sample;

namespace {

/// Exchanges and holes, as they come.
class Seen final : public IgnoringSink {
 public:
  std::vector<std::uint64_t> numbers;
  std::vector<std::pair<Nanos, Nanos>> holes;
  std::uint64_t told_missing = 0;
  bool ended = false;

  void exchange(const ExchangeObs& obs, const ExchangeTruth*) override { numbers.push_back(obs.number); }
  void end(Nanos, const Lateness&) override { ended = true; }
  void dropped(const Dropped& dropped) override {
    CHECK(dropped.why == damage_reason);
    CHECK(dropped.from <= dropped.to);
    holes.emplace_back(dropped.from, dropped.to);
    told_missing += dropped.records;
  }

  [[nodiscard]] bool in_hole(Nanos at) const {
    return std::any_of(holes.begin(), holes.end(),
                       [&](const auto& hole) { return hole.first <= at && at <= hole.second; });
  }
};

/// One exchange a second, with nodes enough to have none alike.
Run steady_run(std::uint64_t exchanges) {
  Run run;
  run.info = ring(7);
  for (std::uint64_t i = 0; i < exchanges; ++i) {
    run.events.emplace_back(clean_exchange(run.info, i, static_cast<Nanos>(i) * second));
  }
  run.until = static_cast<Nanos>(exchanges) * second;
  return run;
}

/// Every exchange that is not given lies in a hole, if something came after it.
void check_all_told(const Seen& seen, std::uint64_t exchanges, const CaptureDamage& damage) {
  std::uint64_t missing = 0;
  std::size_t at = 0;
  for (std::uint64_t number = 0; number < exchanges; ++number) {
    if (at < seen.numbers.size() && seen.numbers[at] == number) {
      ++at;
      continue;
    }
    ++missing;
    if (at == seen.numbers.size() && !seen.ended) continue;
    INFO("exchange " << number);
    CHECK(seen.in_hole(static_cast<Nanos>(number) * second));
  }
  CHECK(at == seen.numbers.size());
  if (missing > 0 && seen.ended) CHECK(damage.in_the_middle());
  CHECK(seen.told_missing <= damage.records_missing);
}

}  // namespace

TEST_CASE("whatever is damaged, what is missing lies in a hole, and a sound capture has none") {
  const auto run = steady_run(3000);
  const auto whole = capture_of(run);
  REQUIRE(whole.size() > 4 * block_bytes);
  Dice dice(11);
  std::size_t holes = 0;
  for (int i = 0; i < 300; ++i) {
    CAPTURE(i);
    auto bytes = whole;
    for (std::uint64_t n = dice.below(3); n > 0; --n) {
      const auto from = block_bytes / 2 + dice.below(bytes.size() - block_bytes / 2);
      const auto size = dice.chance(2) ? 1 : dice.below(150'000);
      for (std::size_t at = from; at < std::min<std::size_t>(bytes.size(), from + size); ++at) bytes[at] ^= 0x55U;
    }
    for (const bool repeats : {false, true}) {
      CaptureReader reader(std::make_unique<MemorySource>(bytes));
      Seen seen;
      Record record;
      if (repeats) {
        replay_observations(reader, seen);
      } else {
        while (reader.next(record)) pass_on(record, seen);
      }
      check_all_told(seen, 3000, reader.damage());
      if (bytes == whole) CHECK(seen.holes.empty());
      holes += seen.holes.size();
    }
  }
  CHECK(holes > 200);
}

TEST_CASE("a search that comes to a place in a hole is told so") {
  const auto run = steady_run(3000);
  auto bytes = capture_of(run);
  // From the middle of one block to the middle of the next.
  for (std::size_t at = 2 * block_bytes + 1000; at < 3 * block_bytes + 1000; ++at) bytes[at] ^= 0x55U;
  CaptureReader reader(std::make_unique<MemorySource>(bytes));
  Seen all;
  Record record;
  while (reader.next(record)) pass_on(record, all);
  REQUIRE(all.holes.size() == 1);
  const auto [from, to] = all.holes.front();
  REQUIRE(to - from > 300 * second);
  for (const bool around : {false, true}) {
    for (Nanos at = from - 20 * second; at < to + 20 * second; at += 7 * second + 1) {
      CAPTURE(at, around);
      around ? reader.seek_before(at) : reader.seek(at);
      bool told = false;
      Nanos first = -1;
      while (first < at && reader.next(record)) {
        told = told || record.kind == RecordKind::hole;
        if (record.kind == RecordKind::hole) CHECK(record.dropped.to == to);
        if (record.is_exchange()) first = record.exchange.fixed.closed;
      }
      // A search that ends before the hole has not come to it yet; one that ends after it need not tell of it.
      if (at > from + 2 * second && at < to) CHECK(told);
      if (at < from - 2 * second) CHECK_FALSE(told);
    }
  }
}

TEST_CASE("a file that is missing in a capture of several leaves a hole") {
  const auto run = steady_run(600);
  for (const std::uint32_t gone : {1U, 2U, 3U}) {
    CAPTURE(gone);
    auto files = numbered(Files(capture_of(run), {100, 250, 400, 500}).files);
    files.erase(gone);
    CaptureReader reader(std::make_unique<MemorySource>(files.at(0)), std::make_unique<MemorySegments>(files));
    Seen seen;
    replay_observations(reader, seen);
    CHECK(seen.holes.size() == 1);
    check_all_told(seen, 600, reader.damage());
  }
}

TEST_CASE("what is copied from a damaged capture tells of the same holes, where they are") {
  const program::Folder folder;
  const auto run = steady_run(3000);
  auto bytes = capture_of(run);
  for (std::size_t at = 2 * block_bytes + 1000; at < 2 * block_bytes + 90'000; ++at) bytes[at] ^= 0x55U;
  Seen original;
  {
    CaptureReader reader(std::make_unique<MemorySource>(bytes));
    replay_observations(reader, original);
  }
  REQUIRE(original.holes.size() == 1);
  folder.write("c.hbcap", std::string(bytes.begin(), bytes.end()));
  for (const std::string command :
       {"cut c.hbcap o.hbcap", "join o.hbcap c.hbcap", "thin c.hbcap o.hbcap --keep-one-in 1"}) {
    CAPTURE(command);
    CHECK(folder.run("capture " + command).exit_code == 4);
    std::string why;
    const auto reader = open_capture(folder.file("o.hbcap"), why);
    REQUIRE(reader);
    Seen copied;
    replay_observations(*reader, copied);
    CHECK(copied.holes == original.holes);
    CHECK(copied.numbers == original.numbers);
    CHECK(copied.told_missing == original.told_missing);
    CHECK_FALSE(reader->damage().in_the_middle());
    std::filesystem::remove(folder.file("o.hbcap"));
  }
}
