// Repeats folded at once give what each by itself would.
#include <rapidcheck.h>

#include "measure/causes.h"
#include "measure/value_run.h"
#include "support/catch.h"

using namespace hopbench;
using namespace hopbench::sample;

namespace {

/// A repeat written out in full: everything as far from its start as in the model.
OwnedExchange whole(const OwnedExchange& model, const Repeat& repeat) {
  OwnedExchange exchange = model;
  const auto shift = static_cast<std::uint64_t>(repeat.start) - static_cast<std::uint64_t>(model.fixed.start);
  const auto move = [&](Nanos& at) { at = static_cast<Nanos>(static_cast<std::uint64_t>(at) + shift); };
  exchange.fixed.number = repeat.number;
  exchange.fixed.turn = repeat.turn;
  exchange.fixed.since_last = repeat.since_last;
  move(exchange.fixed.start);
  move(exchange.fixed.decided);
  move(exchange.fixed.closed);
  for (auto& attempt : exchange.attempts) {
    move(attempt.start);
    move(attempt.ask_end);
  }
  for (auto& row : exchange.rows) {
    move(row.start);
    move(row.end);
  }
  return exchange;
}

std::vector<ExchangeObs> observed(const std::vector<OwnedExchange>& models) {
  std::vector<ExchangeObs> result;
  for (const auto& model : models) {
    result.push_back(model.fixed);
    result.back().attempts = model.attempts;
    result.back().rows = model.rows;
  }
  return result;
}

}  // namespace

TEST_CASE("repeats give exactly what the exchanges would have given") {
  CHECK(rc::check("again == exchange", [] {
    const std::uint64_t seed = *rc::gen::inRange<std::uint64_t>(0, 1'000'000);
    const bool healthy = *rc::gen::arbitrary<bool>();
    Dice dice(seed);
    const Run run = run_with_cells(seed, 0);
    std::vector<OwnedExchange> models;
    const auto count = 1 + dice.below(30);
    for (std::uint64_t i = 0; i < count; ++i) {
      const auto start = static_cast<Nanos>(i) * second;
      models.push_back(healthy || dice.chance(2) ? clean_exchange(run.info, i, start)
                                                 : wild_exchange(dice, run.info, i, start));
    }
    MeasureFold at_once;
    MeasureFold one_by_one;
    at_once.begin(run.info);
    one_by_one.begin(run.info);
    Nanos at = 100 * second;
    for (int call = 0; call < 3; ++call) {
      std::vector<Repeat> repeats;
      for (auto n = dice.below(40); n > 0; --n) {
        at += static_cast<Nanos>(dice.below(3'000'000'000));
        repeats.push_back({static_cast<std::uint32_t>(dice.below(count)), dice.next(), dice.next(), at, -1});
        whole(models[repeats.back().model], repeats.back()).tell(one_by_one);
      }
      at_once.again(observed(models), repeats);
      // Not always: what is added up when measures are asked for is not there any more when a model becomes another.
      if (dice.chance(2)) RC_ASSERT(at_once.measures() == one_by_one.measures());
      for (auto& model : models) {  // from now on some are told at other instants, and a few take longer somewhere
        if (!dice.chance(3)) continue;
        model.fixed.number = dice.next();
        const auto later = static_cast<Nanos>(dice.below(1'000'000));
        for (auto& row : model.rows) {
          row.start += later;
          row.end += later;
          if (dice.chance(50)) row.end += 1'000'000;
        }
        if (model.fixed.round_trip >= 0) model.fixed.round_trip += later;
        model.fixed.decided += later;
        model.fixed.closed += later;
      }
      if (dice.chance(2)) continue;
      // Whole ones in between.
      models[0].tell(at_once);
      models[0].tell(one_by_one);
    }
    RC_ASSERT(at_once.measures() == one_by_one.measures());
  }));
}

TEST_CASE("measures and causes need no whole exchanges, and pass over a model that is not there") {
  MeasureFold fold;
  CHECK(fold.whole_from() == ~std::uint64_t{0});
  CHECK(CauseFold().whole_from() == ~std::uint64_t{0});
  const RunInfo info = ring(2);
  fold.begin(info);
  const std::vector<OwnedExchange> models{clean_exchange(info, 0, 0)};
  const Repeat repeats[] = {{7, 1, 1, second, -1}, {0, 2, 1, 2 * second, -1}};
  fold.again(observed(models), repeats);
  CHECK(fold.measures().all.asked == 1);
}
