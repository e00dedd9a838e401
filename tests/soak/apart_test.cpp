// What does not count against a chain in a soak test in real time: gaps, and exchanges that the computer's own lateness
// may have decided.
#include <array>
#include <memory>
#include <variant>
#include <vector>

#include "seen/lateness.h"
#include "soak/soak.h"
#include "support/catch.h"
#include "support/dice.h"
#include "text/property_terms.h"

namespace hopbench {
namespace {

Requirement limit(const std::string& that) {
  Requirement made;
  made.that = that;
  made.term = std::get<std::vector<PropertyTerm>>(parse_property(that)).front();
  return made;
}

/// One node of one cell, asked once a second.
class Asked {
 public:
  Asked() : soak_(std::make_unique<Soak>(requirements(), 0, until, 0)) {
    run_.nodes = {"n"};
    run_.cells = {1};
    EntryInfo entry;
    entry.node = "n";
    entry.topic = "cells";
    entry.cells = 1;
    EntryInfo other;
    other.topic = "limits";
    run_.entries = {entry, other};
    soak_->sink().begin(run_);
  }

  void ask(Nanos at, Outcome outcome, bool doubtful, std::uint32_t entry = 0) {
    const std::array<Attempt, 1> attempts{Attempt{at, at + millisecond, outcome}};
    ExchangeObs obs;
    obs.number = ++number_;
    obs.entry = entry;
    obs.start = at;
    obs.decided = obs.closed = at + 100 * millisecond;
    obs.round_trip = outcome == Outcome::answered ? 50 * millisecond : -1;
    obs.outcome = outcome;
    obs.attempts = attempts;
    obs.doubtful = doubtful;
    obs.port_late = doubtful ? 30 * millisecond : 0;
    soak_->sink().exchange(obs, nullptr);
  }
  void gap(Nanos from, Nanos to) { soak_->sink().gap({from, to, "the port was gone"}); }

  /// As when the process is ended and begun again.
  void saved_and_taken_up() {
    Archive down;
    soak_->keep(down);
    down.end();
    const auto bytes = down.bytes();
    soak_ = std::make_unique<Soak>(requirements(), 0, until, 0);
    Archive up(bytes);
    soak_->keep(up);
    up.end();
    REQUIRE(up.good());
    soak_->sink().begin(run_);
  }

  Soak& soak() { return *soak_; }
  static std::vector<Requirement> requirements() { return {limit("failed <= 2"), limit("unseen <= 5s")}; }
  static constexpr Nanos until = 600 * second;

 private:
  RunInfo run_;
  std::unique_ptr<Soak> soak_;
  std::uint64_t number_ = 0;
};

/// With the truth, as a simulated chain tells it: a controller that waits for 100 ms, a hop there and a hop back.
class MeasuredSoak {
 public:
  struct Asked {
    Nanos at = 0;
    Nanos late = 0;    // the port
    Nanos waited = 0;  // by the chain's time, from the end of the ask
    Cause cause = Cause::none;
  };
  MeasuredSoak() : soak_({}, 0, 86'400 * second, 0) {
    RunInfo run;
    run.simulated = false;
    run.time_out = 100 * millisecond;
    run.nodes = {"n"};
    run.cells = {1};
    run.links.resize(2);
    run.entries.resize(1);
    soak_.sink().begin(run);
  }
  void ask(const Asked& asked) {
    const bool answer_comes = asked.cause == Cause::none || asked.cause == Cause::injected_delay;
    const Outcome outcome = asked.cause == Cause::none ? Outcome::answered
                            : answer_comes             ? Outcome::late
                                                       : Outcome::lost;
    const std::array<Attempt, 1> attempts{Attempt{asked.at, asked.at + millisecond, outcome}};
    std::vector<HopRow> rows{{asked.at, asked.at + millisecond, 0, 8, 0, false, 0, Symptom::none, false}};
    const Nanos came = asked.at + millisecond + asked.waited;
    if (answer_comes) rows.push_back({came - millisecond, came, 1, 8, 0, true, 0, Symptom::none, false});
    ExchangeObs obs;
    obs.number = ++number_;
    obs.start = asked.at;
    obs.decided = obs.closed = asked.at + 500 * millisecond;
    obs.round_trip = outcome == Outcome::answered ? millisecond + asked.waited : -1;
    obs.outcome = outcome;
    obs.attempts = attempts;
    obs.rows = rows;
    obs.port_late = asked.late;
    obs.doubtful = lateness_may_decide(obs, 100 * millisecond);
    const std::array<AttemptTruth, 1> causes{AttemptTruth{asked.cause, 0xffff, 0xffff, 0xffffffff}};
    const ExchangeTruth truth{{}, causes, {}};
    soak_.sink().exchange(obs, &truth);
  }
  [[nodiscard]] const Soak& soak() const { return soak_; }

 private:
  Soak soak_;
  std::uint64_t number_ = 0;
};

Nanos longest_unseen(const Soak& soak) {
  const Measures measures = soak.measures();
  return measures.longest_unseen(measures.cells.at(0)).span;
}

}  // namespace

TEST_CASE("soak: what a late computer may have decided is counted apart, and held against nothing") {
  Asked asked;
  // Ten in a row: as failures of the chain they would break both requirements.
  for (int i = 0; i < 30; ++i) {
    const bool late = i >= 10 && i < 20;
    asked.ask(i * second, late ? Outcome::lost : Outcome::answered, late);
  }
  Soak& soak = asked.soak();
  soak.sink().end(30 * second, {});
  CHECK(soak.apart() == 10);
  CHECK(soak.measures().all.asked == 20);
  CHECK(soak.measures().all[Outcome::lost] == 0);
  CHECK(longest_unseen(soak) < 2 * second);
  soak.decide(Asked::until);
  CHECK(soak.verdict() == Ruling::accepted);
}

TEST_CASE("soak: lateness moves no share of failures that the chain has by itself") {
  Dice dice("soak lateness", 1);
  std::uint64_t failed = 0;
  std::uint64_t in_time = 0;
  std::uint64_t cut_off = 0;
  MeasuredSoak measured;
  for (int i = 0; i < 4000; ++i) {
    MeasuredSoak::Asked asked;
    asked.at = i * second;
    asked.late = dice.between(0, 2) == 0 ? dice.between(1, 40) * millisecond : 0;
    // A quarter is lost on the way, held up by a fault for longer than anybody waits, or sent to nobody.
    const auto fate = dice.between(0, 15);
    asked.cause = fate == 0   ? Cause::bit_noise
                  : fate == 1 ? Cause::no_address
                  : fate == 2 ? Cause::injected_delay
                              : Cause::none;
    asked.waited = fate == 2 ? 300 * millisecond : dice.between(10, 90) * millisecond;
    const bool too_late_for_controller = asked.cause == Cause::none && asked.late + asked.waited > 100 * millisecond;
    failed += asked.cause != Cause::none ? 1 : 0;
    in_time += asked.cause == Cause::none && !too_late_for_controller ? 1 : 0;
    cut_off += too_late_for_controller ? 1 : 0;
    measured.ask(asked);
  }
  CHECK(measured.soak().measures().all.asked - measured.soak().measures().all[Outcome::answered] == failed);
  CHECK(measured.soak().measures().all[Outcome::answered] == in_time);
  CHECK(measured.soak().apart() == cut_off);
  CHECK(failed > 500);
  CHECK(cut_off > 50);
}

TEST_CASE("soak: what is apart hides no cell that nobody reads") {
  Asked asked;
  // Node n is never asked for its cell again; the other entry is, and some of that is apart.
  asked.ask(0, Outcome::answered, false);
  for (int i = 1; i < 60; ++i) asked.ask(i * second, i % 3 == 0 ? Outcome::lost : Outcome::answered, i % 3 == 0, 1);
  asked.soak().sink().end(60 * second, {});
  CHECK(asked.soak().apart() == 19);
  CHECK(longest_unseen(asked.soak()) > 59 * second);
}

TEST_CASE("soak: where nothing was tested nothing is kept") {
  Asked asked;
  asked.gap(0, Asked::until);
  asked.soak().sink().end(Asked::until, {});
  asked.soak().decide(Asked::until);
  CHECK(asked.soak().verdict() == Ruling::undecided);
}

TEST_CASE("soak: a gap told in parts is one gap, and no border in it counts against a cell") {
  Asked asked;
  asked.ask(0, Outcome::answered, false);
  for (int i = 1; i < 100; ++i) {
    asked.gap(i * second, (i + 1) * second);
    if (i % 30 == 0) asked.saved_and_taken_up();
  }
  asked.ask(100 * second, Outcome::answered, false);
  asked.soak().sink().end(101 * second, {});
  CHECK(asked.soak().coverage().gap_time == 99 * second);
  // One, and one more for each time that the process was another.
  CHECK(asked.soak().coverage().gaps == 4);
  CHECK(longest_unseen(asked.soak()) < 2 * second);
}

TEST_CASE("soak: the same failures of a computer that was in time count") {
  Asked asked;
  for (int i = 0; i < 30; ++i) asked.ask(i * second, i >= 10 && i < 20 ? Outcome::lost : Outcome::answered, false);
  Soak& soak = asked.soak();
  soak.sink().end(30 * second, {});
  CHECK(soak.apart() == 0);
  CHECK(longest_unseen(soak) > 10 * second);
  soak.decide(Asked::until);
  CHECK(soak.verdict() == Ruling::rejected);
}

TEST_CASE("soak: in a gap no cell is unseen, and what is apart and in gaps outlives the process") {
  Asked asked;
  asked.ask(0, Outcome::answered, false);
  asked.gap(second, 60 * second);
  asked.ask(61 * second, Outcome::answered, false);
  asked.ask(62 * second, Outcome::lost, true);
  asked.saved_and_taken_up();
  asked.gap(63 * second, 100 * second);
  asked.ask(101 * second, Outcome::answered, false);
  asked.soak().sink().end(102 * second, {});
  CHECK(longest_unseen(asked.soak()) < 2 * second);
  CHECK(asked.soak().apart() == 1);
  CHECK(asked.soak().coverage().gaps == 2);
  CHECK(asked.soak().coverage().gap_time == 96 * second);
  CHECK(asked.soak().measures().all.asked == 3);
}

}  // namespace hopbench
