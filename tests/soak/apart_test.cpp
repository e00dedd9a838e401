// What does not count against a chain in a soak test in real time: gaps, and exchanges that the computer's own lateness
// may have decided.
#include <array>
#include <memory>
#include <variant>
#include <vector>

#include "soak/soak.h"
#include "support/catch.h"
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
    run_.entries = {entry};
    soak_->sink().begin(run_);
  }

  void ask(Nanos at, Outcome outcome, bool doubtful) {
    const std::array<Attempt, 1> attempts{Attempt{at, at + millisecond, outcome}};
    ExchangeObs obs;
    obs.number = ++number_;
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
