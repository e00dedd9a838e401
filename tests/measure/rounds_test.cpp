// Polling rounds, and how late answers were. Expected values are worked out by hand from the instants that each test
// puts in.
#include "measure/rounds.h"

#include "measure/sample_run.h"
#include "support/catch.h"

using namespace hopbench;
using namespace hopbench::sample;

namespace {

/// Node 0 is asked at these seconds, and another node half a second after each.
void ask_at(Sink& fold, const RunInfo& info, std::initializer_list<Nanos> seconds) {
  for (const Nanos at : seconds) {
    clean_exchange(info, 0, at * second).tell(fold);
    clean_exchange(info, 1, at * second + second / 2).tell(fold);
  }
}

}  // namespace

TEST_CASE("a round lasts from one ask of its entry to the next") {
  const RunInfo info = ring(2);
  RoundFold fold("cells/n1");
  fold.begin(info);
  ask_at(fold, info, {0, 3, 7, 17});
  const Histogram& lengths = fold.measures().lengths;
  CHECK(lengths.count() == 3);
  CHECK(lengths.least() == 3 * second);
  CHECK(lengths.most() == 10 * second);
  CHECK(lengths.bucket_low(*lengths.percentile(500'000)) == lengths.bucket_low(4 * second));
}

TEST_CASE("an entry that the run does not have tells no round") {
  const RunInfo info = ring(2);
  for (const char* name : {"", "cells/n3"}) {
    RoundFold fold(name);
    fold.begin(info);
    ask_at(fold, info, {0, 3, 7});
    CHECK(fold.measures() == RoundMeasures{});
  }
}

TEST_CASE("a round in which something was unseen does not count") {
  const RunInfo info = ring(2);
  for (const int what : {0, 1, 2}) {
    CAPTURE(what);
    RoundFold fold("cells/n1");
    fold.begin(info);
    ask_at(fold, info, {0, 3});
    if (what == 0) fold.gap({5 * second, 6 * second, "the port was away"});
    if (what == 1) fold.dropped({5 * second, 6 * second, 3, "no room"});
    if (what == 2) fold.tally({});
    ask_at(fold, info, {10, 12});
    CHECK(fold.measures().lengths.count() == 2);
    CHECK(fold.measures().lengths.most() == 3 * second);
    CHECK(fold.measures().lengths.least() == 2 * second);
  }
}

TEST_CASE("repeats tell rounds as whole exchanges do") {
  const RunInfo info = ring(2);
  RoundFold fold("cells/n1");
  fold.begin(info);
  const OwnedExchange models[] = {clean_exchange(info, 0, 0), clean_exchange(info, 1, 0)};
  std::vector<ExchangeObs> observed;
  for (const auto& model : models) observed.push_back(model.fixed);
  const Repeat repeats[] = {
      {0, 2, 1, second, -1}, {1, 3, 1, 2 * second, -1}, {0, 4, 2, 5 * second, -1}, {9, 5, 2, 0, -1}};
  fold.again(observed, repeats);
  CHECK(fold.measures().lengths.count() == 1);
  CHECK(fold.measures().lengths.most() == 4 * second);
}

TEST_CASE("a late answer is late by what it came after the time-out") {
  RunInfo info = ring(2);
  info.time_out = 30 * millisecond;
  auto exchange = clean_exchange(info, 0, 0);
  // The ask leaves at 12.5 ms; the time is out at 42.5 ms. The answer is home at 54.9 ms: three frames of 12.5, 20.8
  // and 20.8 ms, 0.5 and 0.2 ms between them.
  exchange.fixed.outcome = Outcome::late;
  exchange.attempts[0].outcome = Outcome::late;
  RoundFold fold("");
  fold.begin(info);
  exchange.tell(fold);
  REQUIRE(fold.measures().late_by.count() == 1);
  CHECK(static_cast<double>(*fold.measures().late_by.most()) == Approx(12.37e6).epsilon(0.001));
  info.time_out.reset();
  fold.begin(info);
  exchange.tell(fold);
  CHECK(fold.measures().late_by.count() == 0);
}
