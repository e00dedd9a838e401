#include <algorithm>

#include "record/capture_tools.h"
#include "support/catch.h"

using namespace hopbench;
using namespace hopbench::sample;

namespace {

bool is_prefix(const std::vector<std::string>& part, const std::vector<std::string>& whole) {
  return part.size() <= whole.size() && std::equal(part.begin(), part.end(), whole.begin());
}

bool is_subset_in_order(const std::vector<std::string>& part, const std::vector<std::string>& whole) {
  auto at = whole.begin();
  for (const auto& line : part) {
    at = std::find(at, whole.end(), line);
    if (at == whole.end()) return false;
    ++at;
  }
  return true;
}

void flip(std::vector<std::uint8_t>& bytes, std::size_t bit) {
  bytes[bit / 8] = static_cast<std::uint8_t>(bytes[bit / 8] ^ (1U << bit % 8));
}

}  // namespace

TEST_CASE("a capture cut at any byte gives the records before the cut and no error") {
  const auto run = full_run(21, 12);
  const auto whole = capture_of(run);
  const auto lines = listing_of(run);
  std::size_t most = 0;
  for (std::size_t size = 0; size < whole.size(); ++size) {
    const std::vector<std::uint8_t> cut(whole.begin(), whole.begin() + static_cast<std::ptrdiff_t>(size));
    const auto back = read_back(cut);
    if (!is_prefix(back.lines, lines) || back.lines.size() < most) FAIL("not a prefix at " << size);
    if (back.damage.in_the_middle() || !back.damage.unclosed) FAIL("called damaged at " << size);
    most = back.lines.size();
  }
  CHECK(most == lines.size() - 1);
}

TEST_CASE("a capture cut round the ends of its blocks is torn, not damaged") {
  // Two long arrivals bring the ends of blocks near with few records to read.
  auto run = wild_run(22, 30);
  run.events.insert(run.events.begin(), OwnedArrival{{}, std::vector<std::uint8_t>(59'000), {}});
  run.events.insert(run.events.begin() + 15, OwnedArrival{{}, std::vector<std::uint8_t>(63'000), {}});
  const auto whole = capture_of(run);
  const auto lines = listing_of(run);
  REQUIRE(whole.size() > 2 * block_bytes);
  for (std::size_t edge = block_bytes; edge < whole.size(); edge += block_bytes) {
    for (std::size_t size = edge - 100; size < std::min(edge + 100, whole.size()); ++size) {
      const auto back = read_back({whole.begin(), whole.begin() + static_cast<std::ptrdiff_t>(size)});
      if (!is_prefix(back.lines, lines)) FAIL("not a prefix at " << size);
      if (back.damage.in_the_middle()) FAIL("called damaged at " << size);
    }
  }
}

TEST_CASE("with any one bit wrong no record is wrong and the bytes passed over are told") {
  const auto run = full_run(23, 10);
  auto bytes = capture_of(run);
  const auto lines = listing_of(run);
  for (std::size_t bit = 0; bit < 8 * bytes.size(); ++bit) {
    flip(bytes, bit);
    const auto back = read_back(bytes);
    flip(bytes, bit);
    if (!is_subset_in_order(back.lines, lines)) FAIL("a wrong record for bit " << bit);
    if (back.damage.bytes_skipped == 0) FAIL("no bytes skipped for bit " << bit);
  }
}

TEST_CASE("one wrong bit costs the rest of its block and no other") {
  const auto run = wild_run(24, 3000);
  auto bytes = capture_of(run);
  const auto lines = listing_of(run);
  const std::size_t blocks = bytes.size() / block_bytes;
  REQUIRE(blocks > 4);
  Dice dice(1);
  for (int i = 0; i < 40; ++i) {
    const std::size_t bit = 8 * block_bytes + dice.below(8 * block_bytes * (blocks - 2));
    CAPTURE(bit);
    flip(bytes, bit);
    const auto back = read_back(bytes);
    flip(bytes, bit);
    REQUIRE(is_subset_in_order(back.lines, lines));
    REQUIRE(back.damage.bytes_skipped > 0);
    // A record that began in the block before is lost with what follows.
    REQUIRE(back.damage.bytes_skipped <= 2 * block_bytes);
    REQUIRE(back.lines.size() + back.damage.records_missing == lines.size());
    REQUIRE_FALSE(back.damage.unclosed);
  }
}

TEST_CASE("blocks that are missing, twice, swapped or from another run give no wrong record") {
  const auto run = wild_run(25, 3000);
  const auto bytes = capture_of(run);
  const auto lines = listing_of(run);
  const auto block = [](const std::vector<std::uint8_t>& of, std::size_t i) {
    return std::vector<std::uint8_t>(of.begin() + static_cast<std::ptrdiff_t>(i * block_bytes),
                                     of.begin() + static_cast<std::ptrdiff_t>((i + 1) * block_bytes));
  };
  const auto with = [&](std::size_t at, const std::vector<std::uint8_t>& other) {
    auto changed = bytes;
    std::copy(other.begin(), other.end(), changed.begin() + static_cast<std::ptrdiff_t>(at * block_bytes));
    return changed;
  };
  auto missing = bytes;
  missing.erase(missing.begin() + block_bytes, missing.begin() + 2 * block_bytes);
  const auto other_run = capture_of(run, origin(77));
  for (const auto& damaged : {missing, with(2, block(bytes, 1)), with(1, block(bytes, 2)), with(2, block(other_run, 2)),
                              with(2, std::vector<std::uint8_t>(block_bytes))}) {
    const auto back = read_back(damaged);
    CHECK(is_subset_in_order(back.lines, lines));
    CHECK(back.lines.size() < lines.size());
    CHECK(back.damage.bytes_skipped > 0);
  }
}

TEST_CASE("zeros at the end, as a power cut leaves them, are a torn end") {
  const auto run = full_run(26, 12);
  const auto whole = capture_of(run);
  const auto lines = listing_of(run);
  const auto all = read_back(whole).lines;
  for (std::size_t size = 0; size < whole.size(); size += 3) {
    std::vector<std::uint8_t> cut(whole.begin(), whole.begin() + static_cast<std::ptrdiff_t>(size));
    const auto before = read_back(cut);
    cut.resize(cut.size() + 4096);
    const auto after = read_back(cut);
    // If the bytes cut off were zeros themselves, the zeros make the record whole again.
    const std::size_t known = before.lines.size();
    if (after.lines.size() > known + 1 || after.lines.size() < known) FAIL("other records at " << size);
    if (!std::equal(after.lines.begin(), after.lines.end(), all.begin())) FAIL("wrong records at " << size);
    if (after.damage.in_the_middle() || after.damage.torn_bytes == 0) FAIL("called damaged at " << size);
    CHECK(after.damage.unclosed);
  }
}

TEST_CASE("a record that is broken off by the next one is missing, and no part of it is used") {
  // Made by hand: no writer does this.
  const std::vector<std::uint8_t> payload{0x08, 0x02};
  std::vector<std::uint8_t> bytes;
  const auto put = [&](const auto& part) { bytes.insert(bytes.end(), part.begin(), part.end()); };
  put(write_block_header({9, 0, 0, 0, 0}));
  put(write_fragment_header(9, bytes.size(), 0, Part::first, RecordKind::stray, payload));
  put(payload);
  put(write_fragment_header(9, bytes.size(), 1, Part::whole, RecordKind::stray, payload));
  put(payload);
  auto back = read_back(bytes);
  CHECK(back.lines.size() == 1);
  CHECK(back.damage.records_missing == 1);
  CHECK(back.damage.bytes_skipped == 10);
  CHECK(back.damage.torn_bytes == 0);
  // The end of a record that was not begun is of no use either.
  put(write_fragment_header(9, bytes.size(), 1, Part::last, RecordKind::stray, payload));
  put(payload);
  back = read_back(bytes);
  CHECK(back.lines.size() == 1);
  CHECK(back.damage.bytes_skipped == 20);
}

TEST_CASE("random bytes and random headers are no records") {
  Dice dice(9);
  for (int i = 0; i < 200; ++i) {
    auto bytes = dice.bytes(dice.below(200'000));
    const auto header = write_block_header({dice.next(), 0, 0, dice.next(), 0});
    if (bytes.size() > 2 * header.size()) std::copy(header.begin(), header.end(), bytes.begin());
    const auto back = read_back(bytes);
    CHECK(back.lines.empty());
  }
  CHECK(read_back({}).lines.empty());
}

TEST_CASE("a capture can be read while it grows") {
  const auto run = wild_run(27, 1500);
  MemoryFile file;
  CaptureWriter writer(file, "memory", origin(), still_plan());
  CaptureReader reader(std::make_unique<MemorySource>(file.bytes));
  Listing read;
  Listing told;
  const auto both = [&](auto tell) {
    tell(static_cast<Sink&>(writer));
    tell(static_cast<Sink&>(told));
  };
  both([&](Sink& sink) { sink.begin(run.info); });
  Dice dice(4);
  for (std::size_t i = 0; i < run.events.size(); ++i) {
    both([&](Sink& sink) { run.tell_event(i, sink); });
    if (dice.chance(3)) {
      writer.drain();
      replay(reader, read);
      REQUIRE(difference(read.lines, told.lines) == "");
    }
    if (dice.chance(10)) {
      writer.drain();
      replay(reader, read);
      REQUIRE(is_prefix(read.lines, told.lines));
    }
    REQUIRE_FALSE(reader.damage().in_the_middle());
  }
  both([&](Sink& sink) { sink.end(run.until, run.lateness); });
  replay(reader, read);
  CHECK(difference(read.lines, told.lines) == "");
  CHECK_FALSE(reader.damage().unclosed);
}

TEST_CASE("a reader that sees the file grow byte by byte never sees damage") {
  const auto run = wild_run(28, 6);
  const auto whole = capture_of(run);
  std::vector<std::uint8_t> growing;
  CaptureReader reader(std::make_unique<MemorySource>(growing));
  Listing read;
  for (const auto byte : whole) {
    growing.push_back(byte);
    replay(reader, read);
  }
  CHECK(difference(read.lines, listing_of(run)) == "");
  CHECK_FALSE(reader.damage().in_the_middle());
}

TEST_CASE("a file of a newer version is told apart from a damaged one") {
  auto bytes = capture_of(wild_run(29, 3));
  bytes[4] = 2;  // block version
  const auto sum = Crc32c().feed(std::span(bytes).first(40)).value();
  for (std::size_t i = 0; i < 4; ++i) bytes[40 + i] = static_cast<std::uint8_t>(sum >> (8 * i));
  const auto back = read_back(bytes);
  CHECK(back.lines.empty());
  CHECK(back.damage.newer);
}
