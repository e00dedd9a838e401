#include "made_up.h"

#include <algorithm>
#include <cmath>
#include <string>

#include "support/shares.h"

namespace hopbench::made_up {
namespace {

RunInfo ring(const Plan& plan) {
  RunInfo run;
  run.scenario = "made up";
  run.seed = plan.seed;
  run.controller = "controller";
  for (std::size_t i = 0; i < plan.nodes; ++i) {
    const auto name = "n" + std::to_string(i + 1);
    run.nodes.push_back(name);
    run.cells.push_back(4);
    run.entries.push_back({"cells/" + name, name, "readings"});
  }
  for (std::size_t i = 0; i <= plan.nodes; ++i) {
    run.links.push_back({static_cast<std::uint16_t>(i + 1), i == 0 ? run.controller : run.nodes[i - 1],
                         i == plan.nodes ? run.controller : run.nodes[i], false, Vantage::simulated});
  }
  return run;
}

}  // namespace

void tell(const Plan& plan, Observer& observer) {
  const auto run = ring(plan);
  observer.begin(run);
  Shares dice(plan.seed);
  const Nanos day = 86'400 * second;
  std::vector<NodeConditions> boards(plan.nodes);
  Around around;
  double warm = 0;  // by bleeding
  Around told{-1, 99, true, -99};
  std::uint64_t number = 0;
  double charge_from = 0;
  double charge_to = 0;
  double most = 0;
  std::uint32_t last_day = ~0U;
  const Nanos end = plan.days * day;
  for (Nanos at = 0; at < end; at += plan.every) {
    const auto today = static_cast<std::uint32_t>(at / day);
    if (today != last_day) {
      last_day = today;
      charge_from = 8 + 2 * dice.next();
      charge_to = charge_from + 5 + 2 * dice.next();
      most = plan.always_together ? 15 : 12 + 16 * dice.next();
    }
    around.hour = static_cast<double>(at % day) / (3600.0 * 1e9);
    around.charging = around.hour >= charge_from && around.hour < charge_to;
    const double from = plan.always_together ? charge_from : charge_to - plan.balance_before;
    const double to = plan.always_together ? charge_to : charge_to + plan.balance_after;
    const bool balancing = around.hour >= from && around.hour < to;
    const double rise = std::sin(3.14159265 * (around.hour - from) / (to - from));
    around.cells = balancing ? static_cast<std::uint32_t>(1 + most * (plan.always_together ? 1 : rise)) : 0;
    warm += (0.8 * around.cells - warm) * 0.01;
    around.board = std::round(4 * (22 + 4 * std::sin(3.14159265 * (around.hour - 8) / 12) + warm)) / 4;
    if (around.cells != told.cells || around.charging != told.charging || around.board != told.board) {
      for (auto& board : boards) board = {static_cast<std::int32_t>(1000 * around.board), 13'000, false};
      State state;
      state.at = at;
      state.cells_balancing = around.cells;
      state.charge_ma = around.charging ? 20'000 : -1000;
      observer.conditions(in_force(state, boards));
      told = around;
    }
    const std::size_t node = number % plan.nodes;
    std::vector<HopRow> rows;
    Nanos now = at;
    bool dead = false;
    Nanos ask_end = at;
    for (std::size_t link = 0; link <= plan.nodes && !dead; ++link) {
      HopRow row;
      row.link = static_cast<std::uint16_t>(link);
      row.answering = link > node;
      row.chars = row.answering ? 20 : 14;
      row.start = now;
      row.end = now + static_cast<Nanos>(row.chars * 1'000'000 * (1 + plan.slow(link, around)));
      if (link == 0) ask_end = row.end;
      if (dice.next() < plan.damage(link, around)) {
        row.symptom = dice.next() < plan.stop_bits ? Symptom::framing : Symptom::check;
        dead = true;
      }
      now = row.end + 300'000;
      rows.push_back(row);
    }
    const Attempt attempt{at, ask_end, dead ? Outcome::lost : Outcome::answered};
    ExchangeObs obs;
    obs.number = number;
    obs.entry = static_cast<std::uint32_t>(node);
    obs.turn = number / plan.nodes;
    obs.node = static_cast<std::uint16_t>(node);
    obs.start = at;
    obs.decided = dead ? ask_end + second : now;
    obs.closed = obs.decided;
    obs.round_trip = dead ? -1 : now - at;
    obs.since_last = number == 0 ? -1 : plan.every - second;
    obs.outcome = attempt.outcome;
    obs.attempts = {&attempt, 1};
    obs.rows = rows;
    observer.exchange(obs);
    ++number;
  }
  observer.end(end);
}

}  // namespace hopbench::made_up
