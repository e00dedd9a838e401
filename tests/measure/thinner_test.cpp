#include "measure/thinner.h"

#include <string>

#include "measure/causes.h"
#include "measure/fan_out.h"
#include "measure/value_run.h"
#include "seen/ignoring_sink.h"
#include "support/catch.h"

using namespace hopbench;
using namespace hopbench::sample;

namespace {

/// Writes down what comes, in short: e17 an exchange, e17/10 one that stands for ten, t3-9 a tally, s a stray, ...
class Listing final : public IgnoringSink {
 public:
  std::string text;
  std::uint64_t longest_tally = 0;
  Nanos longest_tally_span = 0;

  void begin(const RunInfo&) override { text = "b"; }
  void exchange(const ExchangeObs& obs, const ExchangeTruth*) override {
    add("e" + std::to_string(obs.number) + (obs.kept_one_in > 1 ? "/" + std::to_string(obs.kept_one_in) : ""));
  }
  void stray(const Stray&) override { add("s"); }
  void arrival(const Arrival&) override { add("a"); }
  void end(Nanos, const Lateness&) override { add("."); }
  void tally(const Tally& tally) override {
    add("t" + std::to_string(tally.first_number) + "-" + std::to_string(tally.last_number));
    longest_tally = std::max(longest_tally, tally.exchanges);
    longest_tally_span = std::max(longest_tally_span, tally.to - tally.from);
  }
  void note(const Remark& note) override { add("n:" + std::string(note.text)); }

 private:
  void add(const std::string& what) { text += " " + what; }
};

OwnedExchange failed(const RunInfo& info, std::uint64_t number, Nanos start) {
  auto exchange = clean_exchange(info, number, start);
  exchange.fixed.outcome = Outcome::lost;
  exchange.fixed.round_trip = -1;
  return exchange;
}

/// Twenty exchanges, one a second, of which those named failed; a stray after number 12.
Run twenty(std::initializer_list<std::uint64_t> failures) {
  Run run;
  run.info = ring(3);
  for (std::uint64_t i = 0; i < 20; ++i) {
    const Nanos start = static_cast<Nanos>(i) * second;
    const bool fails = std::find(failures.begin(), failures.end(), i) != failures.end();
    run.events.emplace_back(fails ? failed(run.info, i, start) : clean_exchange(run.info, i, start));
    if (i == 12) run.events.emplace_back(OwnedStray{{start + second / 2, 3, {}, Symptom::none, i}, {9}});
  }
  run.until = 20 * second;
  return run;
}

std::string thinned(const Run& run, std::uint32_t keep_one_in, std::uint32_t around) {
  Listing listing;
  Thinner thinner(listing, keep_one_in, around);
  run.tell(thinner);
  return listing.text;
}

}  // namespace

TEST_CASE("failures are kept with what was around them, the rest as tallies in their place") {
  CHECK(thinned(twenty({8}), 0, 0) == "b t0-7 e8 t9-12 s t13-19 .");
  CHECK(thinned(twenty({8}), 0, 2) == "b t0-5 e6 e7 e8 e9 e10 t11-12 s t13-19 .");
  CHECK(thinned(twenty({8}), 6, 0) == "b e0/6 t1-5 e6/6 t7-7 e8 t9-11 e12/6 s t13-17 e18/6 t19-19 .");
  // Kept for a failure near by, an exchange stands for itself alone.
  CHECK(thinned(twenty({8}), 6, 2) == "b e0/6 t1-5 e6 e7 e8 e9 e10 t11-11 e12/6 s t13-17 e18/6 t19-19 .");
  // The stray lies between exchanges that are still held.
  CHECK(thinned(twenty({14}), 0, 3) == "b t0-10 e11 e12 s e13 e14 e15 e16 e17 t18-19 .");
  CHECK(thinned(twenty({0, 1, 19}), 0, 1) == "b e0 e1 e2 t3-12 s t13-17 e18 e19 .");
}

TEST_CASE("not healthy is: tried twice, a frame not heard well or copied, or a cause where it is known") {
  for (int what = 0; what < 5; ++what) {
    auto run = twenty({});
    auto& odd = std::get<OwnedExchange>(run.events[5]);
    if (what == 0) odd.attempts.insert(odd.attempts.begin(), {0, 0, Outcome::lost});
    if (what == 1) odd.rows[1].symptom = Symptom::check;
    if (what == 2) odd.row_truth = {{1, Cause::bit_noise, 0, 0, true}};
    if (what == 3) odd.attempt_truth[0].cause = Cause::measuring;
    if (what == 4) odd.rows[1].copy = 1;
    CHECK(thinned(run, 0, 0) == "b t0-4 e5 t6-12 s t13-19 .");
  }
}

TEST_CASE("an exchange to which a stray belongs is not healthy") {
  auto run = twenty({});  // its stray comes after number 12
  auto& stray = std::get<OwnedStray>(run.events[13]);
  stray.fixed.belongs_to = 13;
  CHECK(thinned(run, 0, 0) == "b t0-12 s e13 t14-19 .");
  stray.fixed.belongs_to = 12;  // told already
  CHECK(thinned(run, 0, 0) == "b t0-12 s t13-19 .");
}

TEST_CASE("the measures of a thinned run are those of the whole, field for field") {
  for (std::uint64_t seed = 0; seed < 60; ++seed) {
    CAPTURE(seed);
    const Run run = run_with_cells(seed, 300);
    const auto whole = part(run, 0, run.events.size());
    for (const std::uint32_t around : {0U, 1U, 5U}) {
      MeasureFold fold;
      Thinner thinner(fold, seed % 3 == 0 ? 0 : static_cast<std::uint32_t>(seed), around);
      run.tell(thinner);
      CHECK(fold.measures() == whole);
      CHECK(fold.coverage().tallied == thinner.tallied());
      CHECK(fold.coverage().unreadable == 0);
      CHECK(thinner.kept() + thinner.tallied() == whole.all.asked);
      // And once more.
      MeasureFold twice;
      Thinner outer(twice, 7, 0);
      Thinner inner(outer, 3, around);
      run.tell(inner);
      CHECK(twice.measures() == whole);
    }
  }
}

TEST_CASE("a run that is thinned twice keeps numbers divisible by both") {
  Listing listing;
  Thinner outer(listing, 4, 0);
  Thinner inner(outer, 6, 0);
  twenty({}).tell(inner);
  CHECK(listing.text == "b e0/12 t1-11 e12/12 s t13-19 .");
}

TEST_CASE("a tally ends after a thousand exchanges or ten minutes") {
  Run run;
  run.info = ring(2);
  for (std::uint64_t i = 0; i < 2500; ++i) {
    run.events.emplace_back(clean_exchange(run.info, i, static_cast<Nanos>(i) * 100 * millisecond));
  }
  Listing often;
  Thinner thinner(often, 0, 0);
  run.tell(thinner);
  CHECK(often.text == "b t0-999 t1000-1999 t2000-2499 .");
  for (std::size_t i = 0; i < 30; ++i) {
    run.events[i] = clean_exchange(run.info, i, static_cast<Nanos>(i) * 61 * second);
  }
  run.events.resize(30);
  Listing seldom;
  Thinner other(seldom, 0, 0);
  run.tell(other);
  CHECK(seldom.text == "b t0-10 t11-21 t22-29 .");
}

TEST_CASE("repeats come as tallies, up to the next exchange that is kept") {
  const RunInfo info = ring(2);
  const auto model = clean_exchange(info, 0, 0);
  Listing listing;
  MeasureFold fold;
  FanOut both{&listing, &fold};
  Thinner thinner(both, 100, 0);
  thinner.begin(info);
  CHECK(thinner.whole_from() == 0);
  model.tell(thinner);
  CHECK(thinner.whole_from() == 100);
  ExchangeObs obs = model.fixed;
  obs.attempts = model.attempts;
  obs.rows = model.rows;
  std::vector<Repeat> repeats;
  for (std::uint64_t i = 1; i < 100; ++i) repeats.push_back({0, i, i, static_cast<Nanos>(i) * 100 * millisecond, -1});
  thinner.again({&obs, 1}, repeats);
  CHECK(thinner.whole_from() == 100);
  clean_exchange(info, 100, 10 * second).tell(thinner);
  CHECK(thinner.whole_from() == 200);
  thinner.end(20 * second, {});
  CHECK(listing.text == "b e0/100 t1-99 e100/100 .");
  CHECK(fold.measures().all.asked == 101);
  CHECK(thinner.whole_before() == 0);
  CHECK(Thinner(listing, 0, 0).whole_from() == ~std::uint64_t{0});
}

TEST_CASE("around a failure exchanges are wanted whole, elsewhere repeats will do") {
  const RunInfo info = ring(2);
  Listing listing;
  Thinner thinner(listing, 0, 2);
  thinner.begin(info);
  CHECK(thinner.whole_from() == ~std::uint64_t{0});
  CHECK(thinner.whole_before() == 2);
  failed(info, 0, 0).tell(thinner);
  for (std::uint64_t i = 1; i <= 2; ++i) {
    CHECK(thinner.whole_from() == 0);
    clean_exchange(info, i, static_cast<Nanos>(i) * second).tell(thinner);
  }
  CHECK(thinner.whole_from() == ~std::uint64_t{0});
}

TEST_CASE("what is held is bounded, and text that is held is a copy") {
  Listing listing;
  Thinner thinner(listing, 0, 5);
  const RunInfo info = ring(2);
  thinner.begin(info);
  clean_exchange(info, 0, 0).tell(thinner);
  for (int i = 0; i < 64; ++i) {
    std::string text = "x";
    thinner.note({second, text});
    text = "y";
  }
  CHECK(listing.text == "b");
  thinner.note({second, "z"});
  // The exchange was let go, and all that had only waited for it.
  CHECK(listing.text.starts_with("b t0-0 n:x n:x"));
  CHECK(listing.text.ends_with("n:x n:z"));
}

TEST_CASE("a tally that cannot be read is counted as such and changes no measure") {
  MeasureFold fold;
  fold.begin(ring(2));
  const auto before = fold.measures();
  const std::vector<std::uint8_t> odd{1, 2, 3};
  fold.tally({0, second, 12, 0, 11, odd});
  // Of another chain.
  MeasureFold other;
  other.begin(ring(3));
  const auto strange = bytes_of(other.measures());
  fold.tally({0, second, 0, 0, 0, strange});
  fold.tally({0, second, 5, 0, 0, strange});
  CHECK(fold.measures() == before);
  CHECK(fold.coverage().unreadable == 17);
  CHECK(fold.coverage().tallied == 0);
}
