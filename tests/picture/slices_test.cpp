#include "picture/slices.h"

#include "measure/sample_run.h"
#include "measure/thinner.h"
#include "picture/index.h"
#include "record/crc32c.h"
#include "support/catch.h"

using namespace hopbench;

namespace {

RunInfo four_hops() {
  RunInfo run;
  run.scenario = "made up";
  run.controller = "controller";
  run.nodes = {"a", "b", "c"};
  run.cells = {1, 8, 1};
  run.links = {{1, "controller", "a"}, {2, "a", "b"}, {3, "b", "c"}, {4, "c", "controller"}};
  run.entries = {{"cells/a", "a", "readings", 0, 1}, {"cells/b", "b", "readings", 0, 8}};
  return run;
}

/// An exchange of one try with a frame on each hop, 1 ms each; damaged on one, or stopped after one.
struct Made {
  std::vector<HopRow> rows;
  std::vector<Attempt> attempts;
  ExchangeObs obs;

  Made(std::uint64_t number, Nanos start, int damaged, int stopped_after) {
    for (std::uint16_t link = 0; link < 4; ++link) {
      if (stopped_after >= 0 && link > stopped_after) break;
      HopRow row;
      row.start = start + link * 2 * millisecond;
      row.end = row.start + millisecond;
      row.link = link;
      row.symptom = link == damaged ? Symptom::check : Symptom::none;
      row.inherited = damaged >= 0 && link > damaged;
      rows.push_back(row);
    }
    const bool good = damaged < 0 && stopped_after < 0;
    attempts.push_back({start, start + millisecond, good ? Outcome::answered : Outcome::lost});
    obs.number = number;
    obs.entry = number % 2;
    obs.node = static_cast<std::uint16_t>(number % 2);
    obs.start = start;
    obs.decided = obs.closed = start + 8 * millisecond;
    obs.round_trip = good ? 8 * millisecond : -1;
    obs.outcome = attempts.front().outcome;
    obs.attempts = attempts;
    obs.rows = rows;
  }
  Made(const Made&) = delete;
};

/// Some thousand exchanges over `span`, one in ten with trouble, and conditions now and then.
template <class To>
void tell(To& to, std::uint64_t seed, std::uint64_t count, Nanos span) {
  sample::Dice dice(seed);
  for (std::uint64_t i = 0; i < count; ++i) {
    const Nanos start = span / static_cast<Nanos>(count) * static_cast<Nanos>(i);
    if (dice.chance(20)) {
      State state;
      state.at = start;
      state.cells_balancing = static_cast<std::uint32_t>(dice.below(9));
      state.charge_ma = static_cast<std::int32_t>(dice.below(5000));
      std::vector<NodeState> nodes(3);
      for (auto& node : nodes) node.board_mc = static_cast<std::int32_t>(20'000 + dice.below(30'000));
      state.nodes = nodes;
      to.state(state);
    }
    const bool trouble = dice.chance(10);
    const auto where = static_cast<int>(dice.below(3));
    const bool damage = dice.chance(2);
    const Made made(i, start, trouble && damage ? where : -1, trouble && !damage ? where : -1);
    to.exchange(made.obs, nullptr);
  }
}

}  // namespace

TEST_CASE("slices that were joined hold what slices of that length would have held from the start") {
  for (const Nanos span : {2 * second, 300 * second, 50'000 * second}) {
    Slices all{Filter{}};
    all.begin(four_hops());
    tell(all, 1, 5000, span);
    CAPTURE(span, all.slice_span());
    const Nanos length = all.slice_span();
    const auto count = static_cast<std::size_t>(slot_of(all.until(), length) + 1);
    CHECK(count <= bounds_for(four_hops()).slices);
    Slices same{Filter{}, 0, length, count};
    same.begin(four_hops());
    tell(same, 1, 5000, span);
    for (std::size_t i = 0; i < count; ++i) {
      const Nanos from = length * static_cast<Nanos>(i);
      const auto a = all.sum(from, from + length);
      const auto b = same.sum(from, from + length);
      REQUIRE(a.links == b.links);
      REQUIRE(a.tried == b.tried);
      REQUIRE(a.trips == b.trips);
    }
  }
}

TEST_CASE("the sum of all slices and of all parts is what was told") {
  Slices all{Filter{}};
  all.begin(four_hops());
  tell(all, 2, 20'000, 400'000 * second);
  MeasureFold fold;
  fold.begin(four_hops());
  struct Both {
    MeasureFold& fold;
    void state(const State& state) { fold.state(state); }
    void exchange(const ExchangeObs& obs, const ExchangeTruth*) { fold.exchange(obs, nullptr); }
  } both{fold};
  tell(both, 2, 20'000, 400'000 * second);
  const auto sum = all.sum(0, 400'000 * second);
  const auto& measures = fold.measures();
  CHECK(sum.exchanges == 20'000);
  CHECK(sum.tried.all() == measures.all.tries);
  CHECK(sum.tried.failed() == measures.all.tries - measures.all[Outcome::answered]);
  for (std::size_t i = 0; i < 4; ++i) {
    CHECK(sum.links[i].frames() == measures.links[i].frames_in);
    CHECK(sum.links[i].of(Symptom::check) == measures.links[i].symptoms[static_cast<std::size_t>(Symptom::check)]);
  }
  const auto part = all.part(0, 400'000 * second);
  for (std::size_t i = 0; i < 4; ++i) CHECK(part.measures.links[i] == measures.links[i]);
  CHECK(part.measures.all == measures.all);
  CHECK(part.tried == sum.tried);
  CHECK(part.nodes.size() == 3);
}

TEST_CASE("a frame that was heard well and not passed on shows in the station that kept it") {
  Slices all{Filter{}};
  all.begin(four_hops());
  const Made made(0, 0, -1, 1);
  all.exchange(made.obs, nullptr);
  const auto sum = all.sum(0, second);
  CHECK(sum.links[1].bad() == 0);
  CHECK(sum.links[2].frames() == 0);  // nothing was on it that it could have lost
  CHECK(sum.tried.stations[1].of(StationTrouble::stopped) == 1);
  const MapPlace in_b{MapPlace::Kind::passing, 1};
  CHECK(troubles_at(sum, in_b) == 1);
  CHECK(chances_at(sum, all.stations(), in_b) == 1);
  CHECK(troubles_at(sum, {MapPlace::Kind::answering, 1}) == 0);
}

TEST_CASE("a late answer is put down to the station that held the frame longer than it was late") {
  auto run = four_hops();
  run.time_out = 10 * millisecond;
  for (const auto& [held, expected] : {std::pair<Nanos, bool>{30 * millisecond, true}, {2 * millisecond, false}}) {
    CAPTURE(held);
    Made made(0, 0, -1, -1);
    // The frame waits in b; in the second case every hop is slow instead.
    for (auto& row : made.rows) {
      if (row.link >= 2) row.start += held, row.end += held;
      if (!expected) row.start = row.link * 20 * millisecond, row.end = row.start + 19 * millisecond;
    }
    made.attempts[0].outcome = made.obs.outcome = Outcome::late;
    Slices all{Filter{}};
    all.begin(run);
    all.exchange(made.obs, nullptr);
    const auto sum = all.sum(0, second);
    CHECK(sum.tried.stations[1].of(StationTrouble::held) == (expected ? 1 : 0));
    CHECK(sum.tried.stations[0].of(StationTrouble::unplaced) == (expected ? 0 : 1));
  }
}

TEST_CASE("every failed try shows on a hop, in a station, or as one that nobody placed") {
  Slices all{Filter{}};
  const auto run = four_hops();
  all.begin(run);
  struct Placed {
    Slices& to;
    std::uint64_t missed = 0;
    std::uint64_t failed = 0;
    void state(const State&) {}
    void exchange(const ExchangeObs& obs, const ExchangeTruth*) {
      auto changed = obs;
      std::vector<Attempt> attempts(obs.attempts.begin(), obs.attempts.end());
      const auto kind = static_cast<Outcome>(obs.number % outcome_count);
      if (attempts[0].outcome != Outcome::answered && kind != Outcome::answered) attempts[0].outcome = kind;
      changed.attempts = attempts;
      if (attempts[0].outcome == Outcome::answered) return;
      ++failed;
      bool found = false;
      for (std::uint16_t i = 0; i < 5; ++i) {
        for (const auto where : {MapPlace::Kind::hop, MapPlace::Kind::passing, MapPlace::Kind::answering}) {
          found = found || to.stations().trouble_at(changed, {where, i});
        }
      }
      missed += found ? 0 : 1;
    }
  } placed{all};
  tell(placed, 9, 5000, 50'000 * second);
  CHECK(placed.failed > 300);
  CHECK(placed.missed == 0);
}

namespace {
std::optional<Nanos> near_failure(const Slices& slices, Nanos from, bool backwards) {
  return slices.next(from, backwards, [](const Slice& slice) { return slice.tried.failed() > 0; });
}
}  // namespace

TEST_CASE("failures are found forwards and backwards, to within a slice") {
  Slices all{Filter{}};
  all.begin(four_hops());
  for (std::uint64_t i = 0; i < 100; ++i) {
    const Made made(i, static_cast<Nanos>(i) * second, i == 40 || i == 70 ? 1 : -1, -1);
    all.exchange(made.obs, nullptr);
  }
  const auto near = [&](std::optional<Nanos> found, Nanos at) {
    return found && *found <= at && at < *found + all.slice_span();
  };
  CHECK(near(near_failure(all, 0, false), 40 * second));
  CHECK(near(near_failure(all, 41 * second, false), 70 * second));
  CHECK_FALSE(near_failure(all, 71 * second, false));
  CHECK(near(near_failure(all, 99 * second, true), 70 * second));
  CHECK(near(near_failure(all, 69 * second, true), 40 * second));
  CHECK_FALSE(near_failure(all, 39 * second, true));
}

TEST_CASE("conditions go on until they change") {
  Slices all{Filter{}};
  all.begin(four_hops());
  State state;
  state.cells_balancing = 5;
  all.state(state);
  for (std::uint64_t i = 0; i < 10; ++i) all.exchange(Made(i, static_cast<Nanos>(i) * second, -1, -1).obs, nullptr);
  state.at = 5 * second;
  state.cells_balancing = 2;
  all.state(state);
  all.end(20 * second, {});
  CHECK(all.sum(3 * second, 3 * second + 1).cells_balancing == 5);
  CHECK(all.sum(15 * second, 15 * second + 1).cells_balancing == 2);
  CHECK(all.sum(15 * second, 15 * second + 1).known);
}

TEST_CASE("in a closer look conditions go on until they change as well") {
  constexpr std::size_t count = 300;
  Slices close{Filter{}, 0, second, count};
  close.begin(four_hops());
  State state;
  state.cells_balancing = 5;
  close.state(state);
  state.at = 200 * second;
  state.cells_balancing = 2;
  close.state(state);
  for (Nanos i = 0; i < 200; ++i) {
    const auto slice = close.sum(i * second, (i + 1) * second);
    REQUIRE(slice.known);
    REQUIRE(slice.cells_balancing == 5);
  }
  CHECK(close.sum(200 * second, 201 * second).cells_balancing == 2);
}

TEST_CASE("instants as far apart as they can be are kept apart, and memory stays bounded") {
  Slices all{Filter{}};
  all.begin(four_hops());
  for (const Nanos start : {Nanos{0}, farthest_instant - 100 * second, -4'000'000 * second, second}) {
    all.exchange(Made(1, start, -1, -1).obs, nullptr);
  }
  all.gap({-farthest_instant, farthest_instant, ""});
  CHECK(all.sum(-farthest_instant, farthest_instant + 1).exchanges == 4);
  CHECK(index_bytes(all, {}).size() < 1'000'000);
}

TEST_CASE("an index gives back what went in, and goes on from there") {
  const auto run = four_hops();
  struct Half {
    Slices& to;
    std::uint64_t from, until, count = 0;
    void state(const State& state) {
      if (count >= from && count < until) to.state(state);
    }
    void exchange(const ExchangeObs& obs, const ExchangeTruth*) {
      if (count >= from && count < until) to.exchange(obs, nullptr);
      ++count;
    }
  };
  Slices whole{Filter{}};
  whole.begin(run);
  tell(whole, 5, 4000, 90'000 * second);
  Slices first{Filter{}};
  first.begin(run);
  Half half{first, 0, 2345};
  tell(half, 5, 4000, 90'000 * second);
  const IndexPlace place{77, 5 * second, 2344, false, {}, {{{1, 2, -3, 4, 5, 6}, {7, 8, 9, 10, 11, 12}}, 13}, "1.2"};
  const auto bytes = index_bytes(first, place);
  Slices second_half{Filter{}};
  IndexPlace read;
  REQUIRE(read_index(bytes, run, 77, second_half, read));
  CHECK(read == place);
  CHECK(second_half.sum(0, 90'000 * second) == first.sum(0, 90'000 * second));
  Half rest{second_half, 2345, 4000};
  tell(rest, 5, 4000, 90'000 * second);
  CHECK(second_half.slice_span() == whole.slice_span());
  for (Nanos from = 0; from < 90'000 * second; from += whole.slice_span()) {
    REQUIRE(second_half.sum(from, from + 1) == whole.sum(from, from + 1));
  }
  CHECK(second_half.part(0, 90'000 * second).measures.links == whole.part(0, 90'000 * second).measures.links);
  CHECK(second_half.part(0, 90'000 * second).tried == whole.part(0, 90'000 * second).tried);
  CHECK(second_half.part(0, 90'000 * second).stays == whole.part(0, 90'000 * second).stays);
}

TEST_CASE("a thinned run has the same totals, whatever was kept for others") {
  const auto run = four_hops();
  Slices whole{Filter{}};
  whole.begin(run);
  tell(whole, 6, 3000, 500 * second);
  for (const std::uint32_t one_in : {0U, 7U}) {
    Slices thin{Filter{}};
    Thinner thinner(thin, one_in, 0);
    thinner.begin(run);
    tell(thinner, 6, 3000, 500 * second);
    thinner.end(500 * second, {});
    const auto is = thin.sum(0, 600 * second);
    const auto was = whole.sum(0, 600 * second);
    CHECK(is.exchanges == was.exchanges);
    CHECK(is.tried.all() == was.tried.all());
    CHECK(is.tried.failed() == was.tried.failed());
    for (std::size_t i = 0; i < run.links.size(); ++i) {
      CHECK(is.links[i].frames() == was.links[i].frames());
      CHECK(is.links[i].bad() == was.links[i].bad());
    }
  }
}

TEST_CASE("an index that is damaged, cut, or of another run is not used") {
  const auto run = four_hops();
  Slices slices{Filter{}};
  slices.begin(run);
  tell(slices, 6, 300, 500 * second);
  const auto bytes = index_bytes(slices, {77, 5 * second, 299, true, {}, {}, "1"});
  Slices read{Filter{}};
  IndexPlace place;
  REQUIRE(read_index(bytes, run, 77, read, place));
  CHECK_FALSE(read_index(bytes, run, 78, read, place));
  CHECK(read.empty());
  auto other = run;
  other.links.pop_back();
  CHECK_FALSE(read_index(bytes, other, 77, read, place));
  for (std::size_t i = 0; i < bytes.size(); i += 1 + bytes.size() / 400) {
    auto damaged = bytes;
    damaged[i] ^= 0x10U;
    REQUIRE_FALSE(read_index(damaged, run, 77, read, place));
    REQUIRE_FALSE(read_index(std::span(bytes).first(i), run, 77, read, place));
  }
}

TEST_CASE("whatever stands in an index, reading it ends well") {
  // The check value made to fit, so that what is inside is looked at.
  const auto run = four_hops();
  Slices slices{Filter{}};
  slices.begin(run);
  tell(slices, 6, 300, 500 * second);
  const auto bytes = index_bytes(slices, {77, 5 * second, 299, true, {}, {}, "1"});
  sample::Dice dice(1);
  for (int i = 0; i < 3000; ++i) {
    auto changed = std::vector<std::uint8_t>(bytes.begin(), bytes.end() - 4);
    for (std::uint64_t n = dice.below(4) + 1; n > 0; --n) {
      changed[8 + dice.below(changed.size() - 8)] = static_cast<std::uint8_t>(dice.next());
    }
    if (dice.chance(4)) changed.resize(8 + dice.below(changed.size() - 8));
    const auto crc = Crc32c().feed(changed).value();
    for (unsigned shift = 0; shift < 32; shift += 8) changed.push_back(static_cast<std::uint8_t>(crc >> shift));
    Slices read{Filter{}};
    IndexPlace place;
    if (!read_index(changed, run, 77, read, place)) continue;
    // What could be read can be looked at and added to.
    (void)read.sum(0, 500 * second);
    (void)read.part(0, 500 * second);
    read.exchange(Made(1, 600 * second, -1, -1).obs, nullptr);
  }
}
