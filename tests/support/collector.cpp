#include "support/collector.h"

#include <algorithm>
#include <sstream>

namespace hopbench {
namespace {

void hex(std::ostream& out, const std::vector<std::uint8_t>& bytes) {
  static constexpr char digits[] = "0123456789abcdef";
  for (const std::uint8_t byte : bytes) out << digits[byte >> 4U] << digits[byte & 15U];
}

}  // namespace

std::string describe(const KeptExchange& e) {
  std::ostringstream out;
  out << "exchange " << e.seen.number << " entry " << e.seen.entry << " turn " << e.seen.turn << " node " << e.seen.node
      << " start " << e.seen.start << " decided " << e.seen.decided << " closed " << e.seen.closed << " trip "
      << e.seen.round_trip << " since " << e.seen.since_last << " " << name_of(e.seen.outcome) << " asked ";
  hex(out, e.asked);
  out << " answered ";
  hex(out, e.answered);
  if (!e.replied.empty()) out << " replied ";
  hex(out, e.replied);
  for (const Attempt& each : e.attempts)
    out << "\n  try " << each.start << " " << each.ask_end << " " << name_of(each.outcome);
  for (const HopRow& row : e.rows) {
    out << "\n  row " << row.start << ".." << row.end << " link " << row.link << " chars " << row.chars << " try "
        << int{row.attempt} << (row.answering ? " answer" : " ask") << " copy " << int{row.copy} << " "
        << name_of(row.symptom) << (row.inherited ? " inherited" : "");
  }
  for (const RowDamage& damage : e.damage)
    out << "\n  damaged row " << damage.row << " at " << damage.at << " bits " << int{damage.bits};
  for (const RowTruth& truth : e.row_truths) {
    out << "\n  because row " << truth.row << " " << name_of(truth.cause) << " fault " << truth.fault << " bit "
        << truth.bit << (truth.undetected ? " undetected" : "");
  }
  for (const AttemptTruth& truth : e.attempt_truths) {
    out << "\n  ended " << name_of(truth.cause) << " station " << truth.station << " link " << truth.link << " fault "
        << truth.fault;
  }
  for (const FaultStrike& strike : e.strikes) {
    out << "\n  struck by " << strike.fault << " link " << strike.link << " try " << int{strike.attempt}
        << (strike.answering ? " answer" : " ask") << " copy " << int{strike.copy};
  }
  return out.str();
}

void Collector::exchange(const ExchangeObs& seen, const ExchangeTruth* truth) {
  KeptExchange kept;
  kept.seen = seen;
  kept.attempts.assign(seen.attempts.begin(), seen.attempts.end());
  kept.rows.assign(seen.rows.begin(), seen.rows.end());
  kept.asked.assign(seen.asked.begin(), seen.asked.end());
  kept.answered.assign(seen.answered.begin(), seen.answered.end());
  kept.replied.assign(seen.replied.begin(), seen.replied.end());
  kept.damage.assign(seen.damage.begin(), seen.damage.end());
  if (truth != nullptr) {
    kept.row_truths.assign(truth->rows.begin(), truth->rows.end());
    kept.attempt_truths.assign(truth->attempts.begin(), truth->attempts.end());
    kept.strikes.assign(truth->strikes.begin(), truth->strikes.end());
  }
  kept.seen.attempts = {};
  kept.seen.rows = {};
  kept.seen.asked = {};
  kept.seen.answered = {};
  kept.seen.replied = {};
  kept.seen.damage = {};
  exchanges.push_back(std::move(kept));
}

void Collector::stray(const Stray& stray) {
  std::ostringstream out;
  out << "stray " << stray.at << " link " << stray.link << " " << name_of(stray.symptom) << " of " << stray.belongs_to
      << " ";
  hex(out, {stray.heard.begin(), stray.heard.end()});
  strays.push_back(out.str());
  strays_at.push_back(stray.at);
}

void Collector::state(const State& state) {
  std::ostringstream out;
  out << "after " << exchanges.size() << " at " << state.at << " balancing " << state.cells_balancing << " charge "
      << state.charge_ma;
  for (const NodeState& node : state.nodes) {
    out << " | " << node.board_mc << " " << node.supply_mv << " " << node.clock_ppb << " " << node.flags;
  }
  states.push_back(out.str());
}

void Collector::end(Nanos until, const Lateness& /*lateness*/) { ended = until; }

std::size_t Collector::count(Outcome outcome) const {
  return static_cast<std::size_t>(std::count_if(exchanges.begin(), exchanges.end(),
                                                [&](const KeptExchange& e) { return e.seen.outcome == outcome; }));
}

std::size_t Collector::count(Symptom symptom, std::uint16_t link) const {
  std::size_t n = 0;
  for (const KeptExchange& e : exchanges) {
    n += static_cast<std::size_t>(std::count_if(
        e.rows.begin(), e.rows.end(), [&](const HopRow& row) { return row.symptom == symptom && row.link == link; }));
  }
  return n;
}

std::size_t Collector::count(Cause cause) const {
  std::size_t n = 0;
  for (const KeptExchange& e : exchanges) {
    n += static_cast<std::size_t>(std::count_if(e.attempt_truths.begin(), e.attempt_truths.end(),
                                                [&](const AttemptTruth& truth) { return truth.cause == cause; }));
  }
  return n;
}

}  // namespace hopbench
