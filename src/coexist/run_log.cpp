#include "coexist/run_log.h"

#include <algorithm>
#include <iterator>
#include <string_view>

#include "chain/chain.h"
#include "study/words.h"

namespace hopbench {
namespace {

class Told final : public Protocol::RegisterWriter {
 public:
  explicit Told(ToldValues& into) : into_(&into) {}
  void write(std::string_view quantity, std::uint32_t index, std::int64_t value) override {
    if (const auto which = quantity_named(quantity)) (*into_)[{*which, index}] = value;
  }

 private:
  ToldValues* into_;
};

bool lasts(Quantity quantity) {
  switch (quantity) {
    case Quantity::snapshot_age_ms:
    case Quantity::uptime_s:
    case Quantity::frames_heard:
    case Quantity::check_failures:
    case Quantity::board_temp_mc:
    case Quantity::supply_mv:
      return false;
    default:
      return true;
  }
}

}  // namespace

void RunLog::exchange(const ExchangeObs& obs, const ExchangeTruth* truth) {
  LoggedExchange made;
  made.entry = obs.entry;
  made.node = obs.node;
  made.start = obs.start;
  made.closed = obs.closed;
  made.round_trip = obs.round_trip;
  made.outcome = obs.outcome;
  made.tries = static_cast<std::uint32_t>(obs.attempts.size());
  made.rows = static_cast<std::uint32_t>(obs.rows.size());
  frames += obs.rows.size();
  for (const HopRow& row : obs.rows) {
    made.answering_rows += row.answering ? 1 : 0;
    if (row.symptom == Symptom::no_room && !row.inherited && !made.no_room) {
      made.no_room = true;
      made.no_room_on = row.link;
      made.no_room_chars = row.chars;
    }
  }
  if (truth != nullptr) {
    made.strikes = static_cast<std::uint32_t>(truth->strikes.size());
    for (const RowTruth& row : truth->rows) made.undetected = made.undetected || row.undetected;
    const auto failed = std::find_if(truth->attempts.begin(), truth->attempts.end(),
                                     [](const AttemptTruth& each) { return each.cause != Cause::none; });
    if (failed != truth->attempts.end()) {
      made.cause = failed->cause;
      made.station = failed->station;
    }
  }
  Frame ask;
  Frame answer;
  if (!obs.answered.empty() && protocol_->parse(obs.answered, answer) == Damage::none &&
      protocol_->parse(obs.asked, ask) == Damage::none) {
    answer.role = Role::answer;
    Told told(made.told);
    (void)protocol_->told(answer, ask.payload.view(), told);
  }
  exchanges.push_back(std::move(made));
}

void RunLog::state(const State& state) {
  flags.resize(state.nodes.size());
  bleeds_moved.resize(state.nodes.size());
  for (std::size_t i = 0; i < state.nodes.size(); ++i) {
    const std::uint32_t now = state.nodes[i].flags;
    if (now >> 16U != flags[i] >> 16U) ++bleeds_moved[i];
    flags[i] = now;
  }
}

RunLog logged_exchanges(const Protocol& protocol, const ChainDescription& chain, std::uint64_t seed,
                        std::uint64_t exchanges, Nanos quiet_after) {
  RunLog log(protocol);
  Chain running(protocol, chain, seed, Way::events, Seat::simulated, log);
  log.stuck = !running.run_exchanges(exchanges);
  if (quiet_after > 0 && !log.stuck) log.stuck = !running.run_until(running.now() + quiet_after);
  running.finish({});
  if (log.exchanges.size() > exchanges) log.exchanges.resize(exchanges);
  return log;
}

ToldValues lasting(const ToldValues& told) {
  ToldValues kept;
  std::copy_if(told.begin(), told.end(), std::inserter(kept, kept.end()),
               [](const auto& each) { return lasts(each.first.first); });
  return kept;
}

std::string fate_of(const LoggedExchange& exchange, const ChainDescription& chain) {
  std::string fate = exchange.outcome == Outcome::answered && exchange.tries > 1
                         ? "answered only at try " + std::to_string(exchange.tries)
                         : words::spaced(name_of(exchange.outcome));
  if (exchange.cause == Cause::none) return fate;
  fate += "; the cause was " + words::spaced(name_of(exchange.cause));
  if (exchange.station < chain.nodes.size()) fate += " at " + chain.nodes[exchange.station].name;
  return fate;
}

}  // namespace hopbench
