// A capture in several files of which some are not what they were: told, or read as before, never believed.
#include <algorithm>

#include "record/capture_tools.h"
#include "record/segment_files.h"
#include "support/catch.h"

using namespace hopbench;
using namespace hopbench::sample;

namespace {

using Set = std::map<std::uint32_t, Bytes>;

ReadBack read_set(const Set& files) {
  CaptureReader reader(std::make_unique<MemorySource>(files.at(0)), std::make_unique<MemorySegments>(files));
  return read_back(reader);
}

/// Closed in order, each later than the one before, as a chain tells them: so each file reaches further.
FullRun in_order(std::uint64_t seed, std::size_t events) {
  auto full = full_run(seed, events);
  Nanos closed = 0;
  for (auto& event : full.run.events) {
    if (auto* exchange = std::get_if<OwnedExchange>(&event)) {
      closed = std::max(closed + 1, exchange->fixed.closed);
      exchange->fixed.closed = closed;
    }
  }
  return full;
}

/// Where the files after the first begin: at exchanges, so that each holds some.
std::vector<std::uint64_t> starts_in(const Bytes& whole, std::size_t files, Dice& dice) {
  CaptureReader reader(std::make_unique<MemorySource>(whole));
  std::vector<std::uint64_t> exchanges;
  BlockReader::Raw raw;
  while (reader.next_raw(raw)) {
    const auto kind = static_cast<RecordKind>(raw.kind);
    if (kind == RecordKind::clean_exchange || kind == RecordKind::touched_exchange) exchanges.push_back(raw.number);
  }
  std::vector<std::uint64_t> starts;
  for (std::size_t i = 1; i < files; ++i) {
    const std::size_t room = exchanges.size() / files;
    starts.push_back(exchanges[i * room + dice.below(room / 2)]);
  }
  return starts;
}

}  // namespace

TEST_CASE("a file of a capture that is emptied, another run's, doubled, swapped or cut short is told") {
  Dice dice(401);
  for (std::uint64_t seed = 1; seed <= 12; ++seed) {
    CAPTURE(seed);
    const auto run = in_order(seed, 300);
    const auto lines = listing_of(run);
    const auto whole = capture_of(run);
    const Set good = numbered(Files(whole, starts_in(whole, 5, dice)).files);
    REQUIRE(good.size() == 5);
    const auto sound = read_set(good);
    REQUIRE(difference(sound.lines, lines) == "");
    REQUIRE_FALSE(sound.damage.in_the_middle());
    const auto other_whole = capture_of(in_order(seed + 50, 300), origin(99));
    for (std::uint32_t at = 1; at < 5; ++at) {
      CAPTURE(at);
      auto files = good;
      files[at].clear();
      auto back = read_set(files);
      CHECK(back.damage.segments_missing == 1);
      CHECK(back.damage.first_bad_segment == at);
      CHECK(back.lines.size() < lines.size());

      files = good;
      files[at] = other_whole;
      back = read_set(files);
      CHECK(back.damage.segments_missing == 1);
      CHECK(back.lines.size() < lines.size());

      files = good;
      files[at] = good.at(at - 1);
      back = read_set(files);
      CHECK(back.damage.segments_misplaced == 1);
      CHECK(back.damage.in_the_middle());

      files = good;
      std::swap(files[at], files[at - 1]);
      back = read_set(files);
      CHECK(back.damage.segments_misplaced == 2);

      files = good;
      auto& cut = files[at - 1];
      cut.resize(cut.size() - 1 - dice.below(cut.size() / 2));
      back = read_set(files);
      CHECK(back.damage.segments_cut == 1);
      CHECK(back.damage.first_bad_segment == at - 1);

      files = good;
      files.erase(at);
      back = read_set(files);
      CHECK(back.damage.segments_missing == 1);
      CHECK(back.damage.first_bad_segment == at);
    }
  }
}

TEST_CASE("a file of the same run that was cut elsewhere is told, and nothing counts twice") {
  Dice dice(402);
  for (std::uint64_t seed = 1; seed <= 12; ++seed) {
    CAPTURE(seed);
    const auto run = in_order(seed, 300);
    const auto lines = listing_of(run);
    const auto whole = capture_of(run);
    const Set good = numbered(Files(whole, starts_in(whole, 5, dice)).files);
    const Set other = numbered(Files(whole, starts_in(whole, 4, dice)).files);
    for (std::uint32_t at = 1; at < 4; ++at) {
      auto files = good;
      files[at] = other.at(at);
      const auto back = read_set(files);
      if (difference(back.lines, lines).empty()) continue;
      CHECK(back.damage.in_the_middle());
      CHECK(back.lines.size() <= lines.size());
    }
  }
}

TEST_CASE("whatever becomes of the files of a capture, they are read as before or said to be amiss") {
  Dice dice(403);
  for (std::uint64_t seed = 100; seed < 160; ++seed) {
    CAPTURE(seed);
    const auto run = in_order(seed, 200);
    const auto lines = listing_of(run);
    const auto whole = capture_of(run);
    const auto count = 2 + dice.below(4);
    const Set good = numbered(Files(whole, starts_in(whole, count, dice)).files);
    const Set other = numbered(Files(whole, starts_in(whole, 2 + dice.below(4), dice)).files);
    const auto foreign = capture_of(wild_run(seed, 20), origin(99));
    for (int turn = 0; turn < 20; ++turn) {
      auto files = good;
      for (auto strikes = 1 + dice.below(3); strikes > 0; --strikes) {
        const auto at = static_cast<std::uint32_t>(dice.below(count));
        const auto from = static_cast<std::uint32_t>(dice.below(count));
        if (!files.contains(at)) continue;
        switch (dice.below(6)) {
          case 0:
            if (at > 0) files.erase(at);
            break;
          case 1:
            if (!files[at].empty()) files[at].resize(dice.below(files[at].size()));
            break;
          case 2:
            files[at] = good.at(from);
            break;
          case 3:
            if (files.contains(from)) std::swap(files[at], files[from]);
            break;
          case 4:
            if (other.contains(at)) files[at] = other.at(at);
            break;
          default:
            if (at > 0) files[at] = foreign;
            break;
        }
      }
      // A part by itself is a capture of that part; a capture of another run is one of that.
      if (files.size() == 1 || files.at(0) == foreign) continue;
      const auto back = read_set(files);
      const bool all_there = difference(back.lines, lines).empty();
      // The first file gone altogether is no capture; one that nothing follows may have been left open.
      const bool open = back.damage.unclosed || back.lines.empty();
      CAPTURE(turn);
      std::string what;
      for (const auto& [number, bytes] : files) {
        what += fmt::format("{}: {} bytes of part {}; ", number, bytes.size(), bytes.size() < 44 ? 999 : bytes[16]);
      }
      CAPTURE(what, back.lines.size(), lines.size());
      CHECK((all_there || back.damage.in_the_middle() || open));
      if (!all_there && !back.damage.in_the_middle()) {
        // What was read is the beginning of the run, in one piece.
        CHECK(back.lines.size() <= lines.size());
        CHECK(std::equal(back.lines.begin(), back.lines.end(), lines.begin()));
      }
      auto sorted = back.lines;
      std::sort(sorted.begin(), sorted.end());
      auto all = lines;
      std::sort(all.begin(), all.end());
      const bool none_twice = std::includes(all.begin(), all.end(), sorted.begin(), sorted.end());
      CHECK((none_twice || back.damage.in_the_middle()));
    }
  }
}

TEST_CASE("a search by time passes over files that are not in their place") {
  Dice dice(404);
  const auto run = in_order(7, 300);
  const auto whole = capture_of(run);
  Set files = numbered(Files(whole, starts_in(whole, 5, dice)).files);
  std::swap(files[2], files[3]);
  for (int i = 0; i <= 20; ++i) {
    CaptureReader reader(std::make_unique<MemorySource>(files.at(0)), std::make_unique<MemorySegments>(files));
    reader.seek(run.run.until / 20 * i);
    Listing listing;
    replay(reader, listing);
    auto sorted = listing.lines;
    std::sort(sorted.begin(), sorted.end());
    CHECK(std::adjacent_find(sorted.begin(), sorted.end()) == sorted.end());
    CHECK(listing.lines.back().starts_with("end "));
  }
}

TEST_CASE("the last file of a capture that is being begun is waited for, and one in the middle is not") {
  Dice dice(405);
  const auto run = in_order(8, 100);
  const auto whole = capture_of(run);
  const Set good = numbered(Files(whole, starts_in(whole, 3, dice)).files);
  Set files = good;
  files.erase(2);
  files[1].resize(20);  // not even a header
  files[0].resize(files[0].size() - 10);
  CHECK_FALSE(read_set(files).damage.in_the_middle());
  files[2] = good.at(2);
  CHECK(read_set(files).damage.segments_missing == 1);
  // A header alone that says it is another part.
  files = good;
  set_number(files[1], 7);
  CHECK(read_set(files).damage.segments_misplaced == 1);
}

TEST_CASE("files from a later one on are a part of the run, and what is missing among them is told") {
  Dice dice(406);
  for (std::uint64_t seed = 1; seed <= 12; ++seed) {
    CAPTURE(seed);
    const auto run = in_order(seed, 300);
    const auto lines = listing_of(run);
    const Set good = numbered(Files(capture_of(run), starts_in(capture_of(run), 5, dice)).files);
    for (std::uint32_t first = 1; first < 5; ++first) {
      for (std::uint32_t left_out = first + 1; left_out <= 5; ++left_out) {
        CAPTURE(first, left_out);
        Set files = good;
        for (std::uint32_t at = 0; at < first; ++at) files.erase(at);
        files.erase(left_out);
        const auto begin = files.extract(first).mapped();
        CaptureReader reader(std::make_unique<MemorySource>(begin), std::make_unique<MemorySegments>(files), first);
        const auto back = read_back(reader);
        CHECK(back.damage.segments_missing == (left_out < 5 ? 1 : 0));
        CHECK(back.damage.in_the_middle() == (left_out < 5));
        // The run's end, or that it goes on in a file that is not there.
        CHECK(reader.ended_at().has_value());
        CHECK(reader.goes_on() == (left_out == 4));
        CHECK(reader.last_missing() == (left_out == 4));
        // The head, and then the end of what was told.
        REQUIRE(back.lines.size() > 2);
        if (left_out < 5) continue;
        CHECK(std::equal(back.lines.rbegin(), back.lines.rend() - 1, lines.rbegin()));
      }
    }
  }
}

TEST_CASE("a search for the end counts nothing of the files that it passes over") {
  Dice dice(407);
  const auto run = in_order(9, 300);
  const auto whole = capture_of(run);
  const Set good = numbered(Files(whole, starts_in(whole, 5, dice)).files);
  CaptureReader reader(std::make_unique<MemorySource>(good.at(0)), std::make_unique<MemorySegments>(good));
  reader.latest();
  CHECK(reader.damage().torn_bytes == 0);
  for (int i = 20; i >= 0; --i) {
    reader.seek(run.run.until / 20 * i);
    Listing listing;
    replay(reader, listing);
    CHECK(reader.damage().torn_bytes == 0);
  }
}
