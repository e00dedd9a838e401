// Which exchanges of a simulated run failed, by their identity (plan entry and turn), so that runs of one scenario with
// and without something can be laid over each other exchange by exchange.
//
// That says something only where both runs asked the exchange at the same instant: noise hangs on the turn, but
// contacts, bursts and batteries go on in time. A controller that waits for a time-out and then goes straight on asks
// everything after it later; one with a steady pace does not. Whether two runs are in step is told for each block of
// turns.
#pragma once

#include <cstdint>
#include <functional>
#include <map>
#include <string>
#include <vector>

#include "bus/protocol.h"
#include "scenario/description.h"
#include "study/in_seat.h"

namespace hopbench {

/// How far a run goes: to an instant, or to a number of exchanges; just one of them is not 0.
struct RunBound {
  Nanos span = 0;
  std::uint64_t exchanges = 0;
};

/// controller: of the one in the seat (in_seat.h).
enum class RunEnd : std::uint8_t { done, stopped, stuck, nothing_more, too_many_failures, controller };

/// Exchanges that were not answered, and how far each entry got.
class FailureSet {
 public:
  struct Entry {
    std::uint64_t turns = 0;                // asked turns are those below, from the first of the run, which is 0
    std::map<std::uint64_t, Nanos> failed;  // turn, and when it was asked
    std::vector<std::uint64_t> steps;       // for each block of turns a sum over the instants at which they were asked

    void asked(std::uint64_t turn, Nanos at);
    /// Whether both asked this turn, and all turns of its block at the same instants.
    [[nodiscard]] bool in_step(const Entry& other, std::uint64_t turn) const;
    [[nodiscard]] std::uint64_t turns_in_step(const Entry& other) const;
  };
  std::map<std::string, Entry, std::less<>> entries;
  std::map<Nanos, std::uint64_t> by_unit;  // failures, by the start of the unit of time that they fell into
  std::uint64_t asked = 0;
  std::uint64_t failed = 0;
  RunEnd end = RunEnd::done;

  /// Asked in step with `other`, which answered it although it failed here (or the other way round).
  [[nodiscard]] bool goes_in(const FailureSet& other, const std::string& entry, std::uint64_t turn) const;
};

/// Which exchanges failed, or how many only: then `entries` stays empty, and there is no limit.
enum class Keep : std::uint8_t { identities, totals };

/// A run with more failures ends there: some tens of bytes are kept of each, for each of some dozens of runs.
inline constexpr std::uint64_t most_failures_kept = 200'000;

/// Runs the chain in virtual time. Failures are counted by units of time of length `unit`. `stop` is asked often, from
/// the calling thread, and ends the run if it says so. With somebody in the seat it goes to an instant only.
FailureSet failures_of(const Protocol& protocol, const ChainDescription& chain, std::uint64_t seed, RunBound bound,
                       Nanos unit, Keep keep, const InSeat& in_seat, const std::function<bool()>& stop);

}  // namespace hopbench
