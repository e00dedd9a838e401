// Which exchanges of a simulated run failed, by their identity (plan entry and turn), so that runs of one scenario with
// and without something can be laid over each other exchange by exchange.
#pragma once

#include <cstdint>
#include <functional>
#include <map>
#include <string>
#include <string_view>

#include "bus/protocol.h"
#include "nodes/description.h"

namespace hopbench {

/// How far a run goes: to an instant, or to a number of exchanges; just one of them is not 0.
struct Bound {
  Nanos span = 0;
  std::uint64_t exchanges = 0;
};

enum class RunEnd : std::uint8_t { done, stopped, stuck, nothing_more, too_many_failures };

/// Exchanges that were not answered, and how far each entry got. Turns of an entry are 0, 1, 2, ...
class FailureSet {
 public:
  struct Entry {
    std::uint64_t turns = 0;                // asked turns are those below
    std::map<std::uint64_t, Nanos> failed;  // turn, and when it was asked
  };
  std::map<std::string, Entry, std::less<>> entries;
  std::uint64_t asked = 0;
  std::uint64_t failed = 0;
  RunEnd end = RunEnd::done;

  [[nodiscard]] bool has_asked(std::string_view entry, std::uint64_t turn) const;
  [[nodiscard]] bool has_failed(std::string_view entry, std::uint64_t turn) const;
};

/// More failures than that are not kept: the run ends there (some hundred MB).
inline constexpr std::uint64_t most_failures_kept = 2'000'000;

/// Runs the chain in virtual time. `stop` is asked often, from the calling thread, and ends the run if it says so.
FailureSet failures_of(const Protocol& protocol, const ChainDescription& chain, std::uint64_t seed, Bound bound,
                       const std::function<bool()>& stop);

}  // namespace hopbench
