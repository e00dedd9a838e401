#include "stations/processor.h"

#include <numeric>

#include "support/catch.h"

using namespace hopbench;

namespace {

DutySpec duty(std::string name, Nanos every, Nanos takes, bool masks) {
  DutySpec spec;
  spec.name = std::move(name);
  spec.every = every;
  spec.takes = takes;
  spec.masks = masks;
  return spec;
}

/// Instants at which characters of a millisecond end.
std::vector<Nanos> ends_from(Nanos first, std::size_t count) {
  std::vector<Nanos> ends;
  for (std::size_t i = 0; i < count; ++i) ends.push_back(first + static_cast<Nanos>(i) * millisecond);
  return ends;
}

/// Start of the first run after `at` of a processor with one duty.
Nanos next_start(const Processor& processor, Nanos at) { return processor.calm_until(at); }

}  // namespace

TEST_CASE("a duty comes round in its period and takes its time; between duties the processor is free") {
  ProcessorSpec spec;
  spec.duties = {duty("service", 100 * millisecond, 7 * millisecond, false)};
  const Processor processor(spec, Luck(3), name_hash("n1"));
  const Nanos start = next_start(processor, 0);
  REQUIRE(start < 100 * millisecond);
  CHECK(processor.free_at(start - 1) == start - 1);
  CHECK(processor.free_at(start) == start + 7 * millisecond);
  CHECK(processor.free_at(start + 3 * millisecond) == start + 7 * millisecond);
  CHECK(processor.free_at(start + 7 * millisecond) == start + 7 * millisecond);
  CHECK(processor.calm_until(start + 2 * millisecond) == start + 2 * millisecond);
  CHECK(processor.calm_until(start + 7 * millisecond) == start + 100 * millisecond);
  // Another station's duty of that name comes at another time.
  CHECK(next_start(Processor(spec, Luck(3), name_hash("n2")), 0) != start);
}

TEST_CASE("bleeding makes a duty longer by so much a cell") {
  ProcessorSpec spec;
  spec.duties = {duty("bleed", 100 * millisecond, 0, false)};
  spec.duties.front().per_bleeding_cell = 2 * millisecond;
  Processor processor(spec, Luck(3), name_hash("n1"));
  CHECK(processor.calm_until(0) == never);
  processor.set_bleeding(12);
  const Nanos start = next_start(processor, 0);
  CHECK(processor.free_at(start) == start + 24 * millisecond);
  processor.set_bleeding(0);
  CHECK(processor.free_at(start) == start);
}

TEST_CASE("drawn lengths lie between their bounds, over all of it, and jitter makes starts later only") {
  ProcessorSpec spec;
  spec.duties = {duty("erase", second, 20 * millisecond, true)};
  spec.duties.front().takes_up_to = 400 * millisecond;
  spec.duties.front().jitter = 50 * millisecond;
  const Processor processor(spec, Luck(9), name_hash("n1"));
  std::vector<double> lengths;
  Nanos at = 0;
  for (int i = 0; i < 2'000; ++i) {
    const Nanos start = next_start(processor, at);
    const Nanos end = processor.free_at(start);
    lengths.push_back(static_cast<double>(end - start) / 1e6);
    CHECK(end - start >= 20 * millisecond);
    CHECK(end - start <= 400 * millisecond);
    at = end;
  }
  // Uniform on [20, 400]: mean 210, standard error of 2000 of them 2.5.
  const double mean = std::accumulate(lengths.begin(), lengths.end(), 0.0) / static_cast<double>(lengths.size());
  CHECK(mean == Approx(210).margin(10));
}

TEST_CASE("a receiver keeps as many characters as its FIFO has room for while nobody fetches any") {
  ProcessorSpec spec;
  spec.fifo_chars = 3;
  spec.duties = {duty("masked", second, 10 * millisecond, true)};
  const Processor processor(spec, Luck(5), name_hash("n1"));
  const Nanos start = next_start(processor, 0);
  // Twenty characters, the third of which ends as the masked stretch begins: ten end within it, three are kept.
  std::vector<std::uint32_t> lost;
  processor.unfetched(ends_from(start - 2 * millisecond, 20), lost);
  CHECK(lost == std::vector<std::uint32_t>{5, 6, 7, 8, 9, 10, 11});
  lost.clear();
  processor.unfetched(ends_from(start + 10 * millisecond, 20), lost);
  CHECK(lost.empty());
  // What does not mask, or a FIFO without limit, loses nothing.
  spec.duties.front().masks = false;
  Processor(spec, Luck(5), name_hash("n1")).unfetched(ends_from(start - 2 * millisecond, 20), lost);
  CHECK(lost.empty());
  spec.duties.front().masks = true;
  spec.fifo_chars = 0;
  Processor(spec, Luck(5), name_hash("n1")).unfetched(ends_from(start - 2 * millisecond, 20), lost);
  CHECK(lost.empty());
}

TEST_CASE("the watchdog bites in the middle of a duty that takes longer, and in no other") {
  ProcessorSpec spec;
  spec.watchdog = 250 * millisecond;
  spec.duties = {duty("erase", 2 * second, 400 * millisecond, true), duty("short", second, 250 * millisecond, false)};
  const Processor processor(spec, Luck(5), name_hash("n1"));
  std::vector<Nanos> bites;
  processor.watchdog_in(0, 100 * second, bites);
  REQUIRE(bites.size() == 50);
  for (std::size_t i = 1; i < bites.size(); ++i) CHECK(bites[i] - bites[i - 1] == 2 * second);
  // In pieces the same, none twice.
  std::vector<Nanos> pieces;
  for (Nanos at = 0; at < 100 * second; at += 7 * second)
    processor.watchdog_in(at, std::min(at + 7 * second, 100 * second), pieces);
  CHECK(pieces == bites);
}
