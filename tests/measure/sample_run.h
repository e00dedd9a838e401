// Invented runs for tests: whatever values the types allow, from a seed.
#pragma once

#include <algorithm>
#include <cstdint>
#include <string>
#include <variant>
#include <vector>

#include "seen/observation.h"

namespace hopbench::sample {

/// splitmix64 (Steele, Lea, Flood 2014): a few lines, and the same everywhere.
class Dice {
 public:
  explicit Dice(std::uint64_t seed) : state_(seed) {}
  std::uint64_t next() {
    std::uint64_t z = (state_ += 0x9e3779b97f4a7c15U);
    z = (z ^ (z >> 30U)) * 0xbf58476d1ce4e5b9U;
    z = (z ^ (z >> 27U)) * 0x94d049bb133111ebU;
    return z ^ (z >> 31U);
  }
  std::uint64_t below(std::uint64_t bound) { return next() % bound; }
  bool chance(std::uint64_t one_in) { return below(one_in) == 0; }
  /// Anywhere in the range that a run may have.
  Nanos instant() {
    return static_cast<Nanos>(below(2 * static_cast<std::uint64_t>(farthest_instant) + 1)) - farthest_instant;
  }
  std::vector<std::uint8_t> bytes(std::size_t count) {
    std::vector<std::uint8_t> result(count);
    for (auto& byte : result) byte = static_cast<std::uint8_t>(next());
    return result;
  }

 private:
  std::uint64_t state_;
};

struct OwnedExchange {
  ExchangeObs fixed;
  std::vector<Attempt> attempts;
  std::vector<HopRow> rows;
  std::vector<std::uint8_t> asked, answered, replied;
  std::vector<RowDamage> damage;
  bool has_truth = true;
  std::vector<RowTruth> row_truth;
  std::vector<AttemptTruth> attempt_truth;
  std::vector<FaultStrike> strikes;

  void tell(Sink& sink) const {
    ExchangeObs obs = fixed;
    obs.attempts = attempts;
    obs.rows = rows;
    obs.asked = asked;
    obs.answered = answered;
    obs.replied = replied;
    obs.damage = damage;
    const ExchangeTruth truth{row_truth, attempt_truth, strikes};
    sink.exchange(obs, has_truth ? &truth : nullptr);
  }
};
struct OwnedStray {
  Stray fixed;
  std::vector<std::uint8_t> heard;
  void tell(Sink& sink) const {
    Stray stray = fixed;
    stray.heard = heard;
    sink.stray(stray);
  }
};
struct OwnedArrival {
  Arrival fixed;
  std::vector<std::uint8_t> bytes, flags;
  void tell(Sink& sink) const {
    Arrival arrival = fixed;
    arrival.bytes = bytes;
    arrival.flags = flags;
    sink.arrival(arrival);
  }
};
using Event = std::variant<OwnedExchange, OwnedStray, OwnedArrival>;

struct Run {
  RunInfo info;
  std::vector<Event> events;
  Nanos until = 0;
  Lateness lateness;

  void tell_event(std::size_t i, Sink& sink) const {
    std::visit([&](const auto& event) { event.tell(sink); }, events[i]);
  }
  void tell(Sink& sink) const {
    sink.begin(info);
    for (std::size_t i = 0; i < events.size(); ++i) tell_event(i, sink);
    sink.end(until, lateness);
  }
};

inline RunInfo ring(std::size_t nodes) {
  RunInfo info;
  info.scenario = "invented ring";
  info.seed = 7;
  info.controller = "controller";
  for (std::size_t i = 0; i < nodes; ++i) {
    info.nodes.push_back("n" + std::to_string(i + 1));
    info.cells.push_back(1);
    info.entries.push_back({"cells/n" + std::to_string(i + 1), info.nodes.back(), i % 3 == 2 ? "limits" : "readings"});
  }
  for (std::size_t i = 0; i <= nodes; ++i) {
    info.links.push_back({static_cast<std::uint16_t>(i + 1), i == 0 ? "controller" : info.nodes[i - 1],
                          i == nodes ? "controller" : info.nodes[i], false, Vantage::simulated});
  }
  info.faults = {"a fault", "another"};
  return info;
}

/// The exchange with node `node` of a healthy ring of stored-whole forwarding at 9600 Bd: the ask (12 characters) goes
/// on to it, the answer (20) goes on from it, each hop after 200 us.
inline OwnedExchange clean_exchange(const RunInfo& info, std::uint64_t number, Nanos start) {
  OwnedExchange exchange;
  const std::size_t nodes = info.nodes.size();
  const std::size_t node = number % nodes;
  Nanos at = start;
  for (std::size_t link = 0; link <= nodes; ++link) {
    const bool answering = link > node;
    HopRow row;
    row.start = at;
    row.chars = answering ? 20 : 12;
    row.end = at + (answering ? 20'833'333 : 12'500'000);
    row.link = static_cast<std::uint16_t>(link);
    row.answering = answering;
    exchange.rows.push_back(row);
    at = row.end + (link == node ? 500'000 : 200'000);
  }
  const Nanos end = exchange.rows.back().end;
  exchange.attempts.push_back({start, start + 12'500'000, Outcome::answered});
  exchange.attempt_truth.push_back({});
  exchange.fixed.number = number;
  exchange.fixed.entry = static_cast<std::uint32_t>(node);
  exchange.fixed.turn = number / nodes;
  exchange.fixed.node = static_cast<std::uint16_t>(node);
  exchange.fixed.start = start;
  exchange.fixed.decided = end;
  exchange.fixed.closed = end;
  exchange.fixed.round_trip = end - start;
  exchange.fixed.since_last = number == 0 ? -1 : 1'000'000'000;
  exchange.fixed.outcome = Outcome::answered;
  exchange.asked = {0xb5, 16, 0x21, 5, 0, 0, 0x3c, 0x12, 0x34, 2, 0xaa, 0x55};
  exchange.answered = {0xb5, 3, 0x22, 0, 5, 8, 0x3c, 0x12, 0x34, 2, 0, 1, 0, 9, 0x0c, 0xe4, 0x0c, 0xe5, 0xaa, 0x55};
  return exchange;
}

/// Anything that a record may hold.
inline OwnedExchange wild_exchange(Dice& dice, const RunInfo& info, std::uint64_t number, Nanos start) {
  OwnedExchange exchange;
  auto& fixed = exchange.fixed;
  fixed.number = number;
  fixed.entry = static_cast<std::uint32_t>(dice.below(info.entries.size()));
  fixed.turn = dice.next() >> dice.below(60);
  fixed.node = dice.chance(5) ? std::uint16_t{0xffff} : static_cast<std::uint16_t>(dice.below(info.nodes.size()));
  fixed.start = start;
  fixed.decided = start + static_cast<Nanos>(dice.below(1'000'000'000));
  fixed.closed = fixed.decided + static_cast<Nanos>(dice.chance(2) ? 0 : dice.below(1'000'000'000));
  fixed.round_trip = dice.chance(3) ? -1 : static_cast<Nanos>(dice.below(2'000'000'000));
  fixed.since_last = dice.chance(9) ? -1 : static_cast<Nanos>(dice.below(2'000'000'000));
  fixed.outcome = static_cast<Outcome>(dice.below(outcome_count));
  const auto tries = dice.below(4);
  for (std::uint64_t i = 0; i < tries; ++i) {
    const Nanos ask = start + static_cast<Nanos>(dice.below(1'000'000'000));
    exchange.attempts.push_back(
        {ask, ask + static_cast<Nanos>(dice.below(100'000'000)), static_cast<Outcome>(dice.below(outcome_count))});
    AttemptTruth truth;
    if (dice.chance(2)) {
      const auto place = [&](std::size_t places) {
        return dice.chance(3) ? std::uint16_t{0xffff} : static_cast<std::uint16_t>(dice.below(places));
      };
      truth = {static_cast<Cause>(dice.below(51)), place(info.nodes.size()), place(info.links.size()),
               dice.chance(2) ? 0xffffffffU : static_cast<std::uint32_t>(dice.below(info.faults.size()))};
    }
    exchange.attempt_truth.push_back(truth);
  }
  const auto rows = dice.below(40);
  for (std::uint64_t i = 0; i < rows; ++i) {
    HopRow row;
    // Now and then the ends of the range.
    row.start = dice.chance(20) ? dice.instant() : start + static_cast<Nanos>(dice.below(500'000'000));
    row.end = dice.chance(20) ? dice.instant()
                              : std::min(farthest_instant, row.start + static_cast<Nanos>(dice.below(30'000'000)));
    row.link = static_cast<std::uint16_t>(dice.below(info.links.size()));
    row.chars = static_cast<std::uint16_t>(dice.chance(20) ? dice.next() : 12);
    row.attempt = static_cast<std::uint8_t>(dice.below(4));
    row.answering = dice.chance(2);
    row.copy = static_cast<std::uint8_t>(dice.chance(10) ? dice.next() : 0);
    row.symptom = static_cast<Symptom>(dice.chance(3) ? dice.below(symptom_count) : 0);
    row.inherited = dice.chance(6);
    exchange.rows.push_back(row);
    if (dice.chance(4)) {
      exchange.row_truth.push_back({static_cast<std::uint32_t>(i), static_cast<Cause>(dice.below(51)),
                                    dice.chance(2) ? 0xffffffffU : static_cast<std::uint32_t>(dice.below(2)),
                                    dice.chance(2) ? 0xffffffffU : static_cast<std::uint32_t>(dice.below(2000)),
                                    dice.chance(9)});
    }
  }
  for (auto strikes = dice.chance(4) ? dice.below(5) : 0; strikes > 0; --strikes) {
    exchange.strikes.push_back(
        {static_cast<std::uint32_t>(dice.below(2)),
         dice.chance(4) ? std::uint16_t{0xffff} : static_cast<std::uint16_t>(dice.below(info.links.size())),
         static_cast<std::uint8_t>(dice.below(4)), dice.chance(2),
         static_cast<std::uint8_t>(dice.chance(10) ? dice.next() : 0)});
  }
  fixed.ambiguous = dice.chance(10);
  fixed.doubtful = dice.chance(10);
  fixed.port_late = dice.chance(5) ? static_cast<Nanos>(dice.below(100'000'000)) : 0;
  exchange.asked = dice.bytes(dice.below(40));
  exchange.answered = dice.bytes(dice.below(200));
  if (dice.chance(20)) exchange.replied = dice.bytes(dice.below(200));
  for (std::uint32_t row = 0; row < exchange.rows.size(); ++row) {
    if (dice.chance(5))
      exchange.damage.push_back(
          {row, static_cast<std::uint16_t>(1 + dice.below(200)), static_cast<std::uint8_t>(dice.below(256))});
  }
  exchange.has_truth = !dice.chance(6);
  return exchange;
}

inline Run wild_run(std::uint64_t seed, std::size_t events) {
  Dice dice(seed);
  Run run;
  run.info = ring(1 + dice.below(20));
  run.info.seed = seed;
  run.info.simulated = dice.chance(2);
  Nanos at = 0;
  std::uint64_t number = 0;
  for (std::size_t i = 0; i < events; ++i) {
    at += static_cast<Nanos>(dice.below(1'500'000'000));
    switch (dice.below(8)) {
      case 0:
        run.events.emplace_back(OwnedStray{{at,
                                            static_cast<std::uint16_t>(dice.below(run.info.links.size())),
                                            {},
                                            static_cast<Symptom>(dice.below(symptom_count)),
                                            dice.chance(2) ? ~std::uint64_t{0} : dice.below(number + 1)},
                                           dice.bytes(dice.below(30))});
        break;
      case 1: {
        const auto size = dice.below(50);
        run.events.emplace_back(
            OwnedArrival{{at, dice.chance(2), {}, {}}, dice.bytes(size), dice.bytes(dice.chance(2) ? size : 0)});
        break;
      }
      case 2:
      case 3:
      case 4:
        run.events.emplace_back(wild_exchange(dice, run.info, number++, at));
        break;
      default:
        run.events.emplace_back(clean_exchange(run.info, number++, at));
        break;
    }
  }
  run.until = at + 1'000'000'000;
  run.lateness = {dice.below(1000), static_cast<Nanos>(dice.below(1'000'000)),
                  static_cast<Nanos>(dice.below(100'000'000))};
  if (dice.below(2) == 0) {
    run.lateness.stalls = dice.below(1000);
    run.lateness.worst_stall = static_cast<Nanos>(dice.below(1'000'000'000));
    run.lateness.stalled = static_cast<Nanos>(dice.below(10'000'000'000));
    run.lateness.not_fetched = dice.below(100'000);
    run.lateness.nobody_there = dice.below(100'000);
    run.lateness.port_median = static_cast<Nanos>(dice.below(100'000));
    run.lateness.port_99 = static_cast<Nanos>(dice.below(10'000'000));
  }
  return run;
}

}  // namespace hopbench::sample
