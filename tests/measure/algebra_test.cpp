// Measures as a value: joining, merging, taking away, writing and reading.
#include <rapidcheck.h>

#include "measure/value_run.h"
#include "support/catch.h"

using namespace hopbench;
using namespace hopbench::sample;

namespace {

std::uint64_t drawn(std::uint64_t from, std::uint64_t to) { return *rc::gen::inRange(from, to + 1); }

Run drawn_run(std::size_t events = 60) { return run_with_cells(drawn(0, 1'000'000), drawn(0, events)); }

}  // namespace

TEST_CASE("parts of a run, joined in any order of joining, give the whole") {
  CHECK(rc::check("append is associative and exact", [] {
    const Run run = drawn_run();
    const auto a = drawn(0, run.events.size());
    const auto b = drawn(a, run.events.size());
    const Measures first = part(run, 0, a, false);
    const Measures second = part(run, a, b, false);
    const Measures third = part(run, b, run.events.size(), true);
    const Measures whole = part(run, 0, run.events.size());
    RC_ASSERT(joined(joined(first, second), third) == whole);
    RC_ASSERT(joined(first, joined(second, third)) == whole);
  }));
}

TEST_CASE("merging runs is associative, nothing changes nothing, and counts add up") {
  CHECK(rc::check("merge", [] {
    Run run = drawn_run();
    const Measures a = part(run, 0, run.events.size());
    const auto half = run.events.size() / 2;
    const Measures b = part(run, 0, half);
    const Measures c = part(run, half, run.events.size());
    RC_ASSERT(merged(merged(a, b), c) == merged(a, merged(b, c)));
    RC_ASSERT(merged(a, Measures{}) == a);
    RC_ASSERT(merged(Measures{}, a) == a);
    const Measures both = merged(b, c);
    RC_ASSERT(both.all == a.all);
    RC_ASSERT(both.links == a.links);
    RC_ASSERT(both.by_topic == a.by_topic);
    RC_ASSERT(both.runs == 2U);
    RC_ASSERT(both.covered() == b.covered() + c.covered());
    RC_ASSERT(merged(b, c).bursts.lengths() == merged(c, b).bursts.lengths());
  }));
}

TEST_CASE("what is written is read back, merged and taken away measures too") {
  CHECK(rc::check("parse(serialise(x)) == x", [] {
    const Run run = drawn_run();
    Measures x = part(run, 0, run.events.size());
    const auto cut = drawn(0, run.events.size());
    if (drawn(0, 3) == 0) x.merge(part(run, 0, cut));
    if (drawn(0, 3) == 0 && x.runs == 1) x.minus(part(run, 0, cut));
    Measures y;
    RC_ASSERT(Measures::parse(bytes_of(x), y));
    RC_ASSERT(y == x);
    RC_ASSERT(bytes_of(y) == bytes_of(x));
  }));
  Measures nothing;
  REQUIRE(Measures::parse(bytes_of(Measures{}), nothing));
  CHECK(nothing == Measures{});
}

TEST_CASE("what is left when an earlier state is taken away has the counts of what came after") {
  CHECK(rc::check("minus(append(a, b), a) counts as b", [] {
    const Run run = drawn_run();
    const auto cut = drawn(0, run.events.size());
    const Measures a = part(run, 0, cut);
    const Measures b = part(run, cut, run.events.size());
    Measures rest = joined(a, b);
    rest.minus(a);
    RC_ASSERT(rest.all.asked == b.all.asked);
    RC_ASSERT(rest.all.tries == b.all.tries);
    RC_ASSERT(rest.all.outcomes == b.all.outcomes);
    RC_ASSERT(rest.arrivals == b.arrivals);
    const auto same_but_ends = [](const Histogram& left, const Histogram& right) {
      RC_ASSERT(left.count() == right.count());
      if (right.count() == 0) return;
      RC_ASSERT(*left.least() <= *right.least());
      RC_ASSERT(*left.most() >= *right.most());
      RC_ASSERT(left.bucket_low(*left.least()) == right.bucket_low(*right.least()));
      RC_ASSERT(left.bucket_low(*left.most()) == right.bucket_low(*right.most()));
      for (const std::uint32_t ppm : {250'000U, 500'000U, 750'000U}) {
        RC_ASSERT(left.bucket_low(*left.percentile(ppm)) == right.bucket_low(*right.percentile(ppm)));
      }
    };
    same_but_ends(rest.all.round_trip, b.all.round_trip);
    for (std::size_t i = 0; i < b.links.size(); ++i) {
      RC_ASSERT(rest.links[i].symptoms == b.links[i].symptoms);
      RC_ASSERT(rest.links[i].frames_in == b.links[i].frames_in);
      RC_ASSERT(rest.links[i].strays == b.links[i].strays);
      same_but_ends(rest.links[i].transit, b.links[i].transit);
    }
    const auto open = a.bursts.broken ? a.bursts.tail.length : a.bursts.head.length;
    if (open == 0) RC_ASSERT(rest.bursts.lengths() == b.bursts.lengths());
    const auto longest = b.bursts.longest_of_all();
    if (longest) RC_ASSERT(rest.bursts.longest_of_all()->length >= longest->length);
    RC_ASSERT(rest.cells.empty());
  }));
}

TEST_CASE("bytes that are flipped, cut or made up are refused, or read as measures that can be written again") {
  Dice dice(77);
  const Run run = run_with_cells(5, 40);
  const auto good = bytes_of(part(run, 0, run.events.size()));
  std::size_t refused = 0;
  const auto feed = [&](const std::vector<std::uint8_t>& bytes) {
    Measures read;
    if (!Measures::parse(bytes, read)) {
      ++refused;
      CHECK(read == Measures{});
      return;
    }
    Measures again;
    REQUIRE(Measures::parse(bytes_of(read), again));
    CHECK(again == read);
  };
  for (std::size_t i = 0; i < good.size() * 8; ++i) {
    auto bytes = good;
    bytes[i / 8] ^= static_cast<std::uint8_t>(1U << (i % 8));
    feed(bytes);
  }
  CHECK(refused > 0);
  for (std::size_t size = 0; size < good.size(); ++size) {
    Measures read;
    CHECK_FALSE(Measures::parse(std::span(good).first(size), read));
  }
  auto longer = good;
  longer.push_back(0);
  Measures read;
  CHECK_FALSE(Measures::parse(longer, read));
  for (int i = 0; i < 20'000; ++i) {
    auto bytes = dice.bytes(dice.below(200));
    if (!bytes.empty()) bytes[0] = 1;  // the version, or nothing of it would be looked at
    feed(bytes);
  }
}

TEST_CASE("a few hundred healthy exchanges of sixteen nodes take less than a kilobyte") {
  RunInfo info = ring(16);
  for (auto& entry : info.entries) entry.cells = 1;
  MeasureFold fold;
  fold.begin(info);
  Dice dice(3);
  const Nanos later = 80 * 86'400 * second;
  for (std::uint64_t i = 0; i < 400; ++i) {
    // Not quite as regular as a simulation is.
    clean_exchange(info, i, later + static_cast<Nanos>(i) * 800 * millisecond + static_cast<Nanos>(dice.below(300'000)))
        .tell(fold);
  }
  CHECK(bytes_of(fold.measures()).size() < 1000);
}

TEST_CASE("all measures of 250 nodes take a few megabytes") {
  RunInfo info = ring(250);
  MeasureFold fold;
  fold.begin(info);
  for (std::uint64_t i = 0; i < 500; ++i) clean_exchange(info, i, static_cast<Nanos>(i) * 20 * second).tell(fold);
  std::size_t bytes = 0;
  for (const auto& link : fold.measures().links) bytes += sizeof(link) + link.transit.bucket_bytes();
  for (const auto& node : fold.measures().nodes) bytes += sizeof(node) + node.round_trip.bucket_bytes();
  CHECK(bytes < 4'000'000);
}
