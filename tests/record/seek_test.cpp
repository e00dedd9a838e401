#include <algorithm>
#include <array>

#include "record/block_search.h"
#include "record/capture_tools.h"
#include "support/catch.h"

using namespace hopbench;
using namespace hopbench::sample;

namespace {

/// Reads, and counts how often.
class CountedSource final : public ByteSource {
 public:
  CountedSource(const std::vector<std::uint8_t>& bytes, std::uint64_t& reads) : bytes_(bytes), reads_(reads) {}
  std::size_t read(std::uint64_t position, std::span<std::uint8_t> to) override {
    ++reads_;
    return bytes_.read(position, to);
  }
  std::uint64_t size() override { return bytes_.size(); }

 private:
  MemorySource bytes_;
  std::uint64_t& reads_;
};

struct Told {
  std::optional<Nanos> time;
  bool is_end = false;
  std::string line;
  Nanos until = 0;
};

std::vector<Told> all_of(CaptureReader& reader, std::size_t most = ~std::size_t{0}) {
  std::vector<Told> all;
  Record record;
  Listing listing;
  while (all.size() < most && reader.next(record)) {
    listing.lines.clear();
    pass_on(record, listing);
    // How many records are missing a search need not know.
    if (record.kind == RecordKind::hole) listing.lines = {fmt::format("dropped to {} damaged", record.dropped.to)};
    all.push_back({time_of(record), record.kind == RecordKind::end, listing.lines.empty() ? "" : listing.lines[0],
                   ends_at(record).value_or(0)});
  }
  return all;
}

/// So many records are compared from each place found.
constexpr std::size_t compared = 25;

/// The first of a list from the one on that belongs to that time; with the last hole before it that reaches that time.
std::vector<std::string> from_time(const std::vector<Told>& all, Nanos time) {
  auto at = std::find_if(all.begin(), all.end(), [&](const Told& told) { return told.is_end || told.time >= time; });
  std::vector<std::string> lines;
  for (auto before = at; before != all.begin() && !std::prev(before)->time; --before) {
    if (!is_hole(std::prev(before)->line) || std::prev(before)->until < time) continue;
    lines.push_back(std::prev(before)->line);
    break;
  }
  for (; at != all.end() && lines.size() < compared; ++at) lines.push_back(at->line);
  return lines;
}

std::vector<std::string> sought(const std::vector<std::uint8_t>& bytes, Nanos time) {
  CaptureReader reader(std::make_unique<MemorySource>(bytes));
  reader.seek(time);
  std::vector<std::string> lines;
  for (auto& told : all_of(reader, compared)) lines.push_back(std::move(told.line));
  return lines;
}

/// Exchanges in the order of closing, as a chain tells them, and tallies; some records are longer than a block.
std::vector<std::uint8_t> in_order(std::uint64_t seed, std::size_t events, Nanos& until) {
  auto full = full_run(seed, events);
  Nanos closed = 0;
  Dice dice(seed);
  for (auto& event : full.run.events) {
    if (auto* exchange = std::get_if<OwnedExchange>(&event)) {
      closed = std::max(closed, exchange->fixed.closed);
      exchange->fixed.closed = closed;
    }
    auto* arrival = std::get_if<OwnedArrival>(&event);
    if (arrival != nullptr && dice.chance(60)) {
      arrival->bytes = dice.bytes(dice.below(300'000));
      arrival->flags.clear();
    }
    auto* exchange = std::get_if<OwnedExchange>(&event);
    if (exchange != nullptr && dice.chance(100)) exchange->answered = dice.bytes(dice.below(200'000));
  }
  until = full.run.until;
  return capture_of(full);
}

void check_seeks(const std::vector<std::uint8_t>& bytes, Nanos until, Dice& dice, int times) {
  CaptureReader linear(std::make_unique<MemorySource>(bytes));
  const auto all = all_of(linear);
  for (int i = 0; i < times; ++i) {
    auto time = static_cast<Nanos>(dice.below(static_cast<std::uint64_t>(until) * 11 / 10));
    // Just at, before and after the time of a record, where off by one would show.
    if (const auto& told = all[dice.below(all.size())]; told.time && dice.chance(2))
      time = *told.time + static_cast<Nanos>(dice.below(3)) - 1;
    CAPTURE(time);
    REQUIRE(difference(sought(bytes, time), from_time(all, time)) == "");
  }
}

}  // namespace

TEST_CASE("a search by time comes to the same record as reading from the start") {
  Dice dice(81);
  for (std::uint64_t seed = 1; seed <= 12; ++seed) {
    CAPTURE(seed);
    Nanos until = 0;
    const auto bytes = in_order(seed, 400 + 200 * seed, until);
    check_seeks(bytes, until, dice, 12);
    CHECK(sought(bytes, until * 2).size() == 1);  // the end
  }
}

TEST_CASE("a search by time in a damaged capture comes to what reading it from the start comes to") {
  Dice dice(82);
  for (std::uint64_t seed = 20; seed <= 80; ++seed) {
    CAPTURE(seed);
    Nanos until = 0;
    auto bytes = in_order(seed, 1500, until);
    const std::size_t blocks = bytes.size() / block_bytes;
    REQUIRE(blocks > 4);
    for (std::uint64_t n = dice.below(4); n > 0; --n) {
      const std::size_t at = dice.below(bytes.size());
      bytes[at] = static_cast<std::uint8_t>(bytes[at] ^ (1U << dice.below(8)));
    }
    // Headers are what a search reads: damage these on purpose.
    for (std::uint64_t n = dice.below(blocks); n > 0; --n)
      bytes[(1 + dice.below(blocks - 1)) * block_bytes + dice.below(block_header_bytes)] ^= 0x10;
    check_seeks(bytes, until, dice, 8);
  }
}

TEST_CASE("a search reads a number of headers that grows as the logarithm of the blocks") {
  Run run;
  run.info = ring(16);
  for (std::uint64_t i = 0; i < 60'000; ++i)
    run.events.emplace_back(clean_exchange(run.info, i, static_cast<Nanos>(i) * second));
  run.until = 60'001 * second;
  const auto bytes = capture_of(run);
  const std::size_t blocks = bytes.size() / block_bytes;
  REQUIRE(blocks > 90);
  Dice dice(83);
  for (int i = 0; i < 20; ++i) {
    std::uint64_t reads = 0;
    CaptureReader reader(std::make_unique<CountedSource>(bytes, reads));
    reader.seek(static_cast<Nanos>(dice.below(60'000)) * second);
    // One for the run id, 8 for 2^8 > blocks, two to step back over a record, two blocks, and the end of a file.
    CHECK(reads <= 14);
  }
}

TEST_CASE("after a search the bytes not read are not called damage") {
  Nanos until = 0;
  const auto bytes = in_order(50, 1500, until);
  for (int part = 0; part < 10; ++part) {
    CaptureReader reader(std::make_unique<MemorySource>(bytes));
    reader.seek(until / 10 * part);
    Record record;
    while (reader.next(record)) {
    }
    CHECK_FALSE(reader.damage().in_the_middle());
    CHECK_FALSE(reader.damage().unclosed);
    CHECK(reader.damage().torn_bytes == 0);
  }
}

TEST_CASE("a reader may search back and forth") {
  Nanos until = 0;
  const auto bytes = in_order(51, 1500, until);
  CaptureReader linear(std::make_unique<MemorySource>(bytes));
  const auto all = all_of(linear);
  CaptureReader reader(std::make_unique<MemorySource>(bytes));
  Dice dice(84);
  for (int i = 0; i < 30; ++i) {
    const auto time = static_cast<Nanos>(dice.below(static_cast<std::uint64_t>(until)));
    reader.seek(time);
    Record record;
    REQUIRE(reader.next(record));
    Listing listing;
    pass_on(record, listing);
    REQUIRE(listing.lines[0] == from_time(all, time)[0]);
  }
}

TEST_CASE("a search in what is no capture, or an empty one, finds nothing") {
  Dice dice(85);
  for (const std::size_t size : {0U, 10U, 44U, 200'000U}) {
    const auto bytes = dice.bytes(size);
    CaptureReader reader(std::make_unique<MemorySource>(bytes));
    reader.seek(1000);
    Record record;
    CHECK_FALSE(reader.next(record));
  }
}

TEST_CASE("the last place below a time is found whatever is known of the places between") {
  Dice dice(86);
  for (int i = 0; i < 2000; ++i) {
    std::vector<Nanos> floors(1 + dice.below(40));
    std::vector<bool> known(floors.size());
    Nanos floor = 0;
    for (std::size_t k = 0; k < floors.size(); ++k) {
      floors[k] = floor += static_cast<Nanos>(dice.below(3));
      known[k] = k == 0 || !dice.chance(3);
    }
    const auto time = static_cast<Nanos>(dice.below(60));
    std::uint64_t expected = 0;
    for (std::size_t k = 0; k < floors.size(); ++k) {
      if (known[k] && floors[k] < time) expected = k;
    }
    const auto found = last_below(
        floors.size(), time, [&](std::uint64_t at) { return known[at] ? std::optional(floors[at]) : std::nullopt; });
    REQUIRE(found == expected);
  }
}
