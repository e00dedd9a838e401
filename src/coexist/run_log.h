// What a short run of a chain came to, exchange by exchange.
#pragma once

#include <cstdint>
#include <map>
#include <string>
#include <utility>
#include <vector>

#include "bus/protocol.h"
#include "scenario/description.h"
#include "scenario/quantity.h"
#include "seen/ignoring_sink.h"
#include "seen/symptom.h"

namespace hopbench {

/// What an answer told, by quantity and index.
using ToldValues = std::map<std::pair<Quantity, std::uint32_t>, std::int64_t>;

struct LoggedExchange {
  std::uint32_t entry = 0;  // into asked_entries()
  std::uint16_t node = 0xffff;
  Nanos start = 0;
  Nanos closed = 0;
  Nanos round_trip = -1;
  Outcome outcome = Outcome::lost;
  std::uint32_t tries = 0;
  std::uint32_t rows = 0;
  std::uint32_t answering_rows = 0;
  bool no_room = false;          // a frame was longer than the buffer behind its link:
  std::uint16_t no_room_on = 0;  // the first such link
  std::uint16_t no_room_chars = 0;
  bool undetected = false;  // damage that every check passed
  std::uint32_t strikes = 0;
  Cause cause = Cause::none;       // of the first try that came to nothing
  std::uint16_t station = 0xffff;  // where that was
  ToldValues told;

  [[nodiscard]] bool clean() const { return outcome == Outcome::answered && tries == 1; }
};

class RunLog final : public IgnoringSink {
 public:
  explicit RunLog(const Protocol& protocol) : protocol_(&protocol) {}

  std::vector<LoggedExchange> exchanges;  // as they were closed
  std::uint64_t frames = 0;               // on all links
  std::uint64_t strays = 0;
  std::vector<std::uint32_t> flags;         // of each node, as of the last state (NodeState.flags)
  std::vector<std::uint64_t> bleeds_moved;  // by node: times that it bled other cells than before
  bool stuck = false;

  void exchange(const ExchangeObs& obs, const ExchangeTruth* truth) override;
  void stray(const Stray&) override { ++strays; }
  void state(const State& state) override;

 private:
  const Protocol* protocol_;
};

/// Runs the chain by events, with the scenario's own controller, until so many exchanges are over; and for a while
/// longer, in which nothing is asked.
RunLog logged_exchanges(const Protocol& protocol, const ChainDescription& chain, std::uint64_t seed,
                        std::uint64_t exchanges, Nanos quiet_after = 0);
/// What an answer tells again and again, however often and whenever it is asked: counters and ages left out.
ToldValues lasting(const ToldValues& told);

/// "lost; the cause was short buffer at old2".
std::string fate_of(const LoggedExchange& exchange, const ChainDescription& chain);

}  // namespace hopbench
