// A healthy chain, and frames of it that are made to fail by a rule: what was seen is what a simulated chain without
// any mechanism does, but for the frames that the rule takes.
#pragma once

#include <cstdint>
#include <functional>
#include <memory>
#include <string>

#include "bus/protocol.h"
#include "study/observed.h"

namespace hopbench::planted {

/// A frame on a link, as the rule may look at it.
struct Passing {
  const ExchangeObs* exchange = nullptr;
  const ExchangeObs* before = nullptr;  // the exchange before; its spans are of no use
  HopRow row;
  std::uint64_t count = 0;  // of the frames on this link
  Nanos since_frame = -1;
};

/// How likely it is to fail.
using Fails = std::function<double(const Passing&)>;

struct Told {
  std::uint64_t frames = 0;  // that the rule could take
  std::uint64_t failed = 0;
};

/// What else was seen of frames that fail.
struct Seen {
  bool replies = false;                                  // what was replied, on the hops before
  std::function<RowDamage(const Passing&)> damage = {};  // where in the frame; `row` is filled in
};

/// Runs `scenario` and tells `observer` what was seen. A frame that fails ends its exchange, which is then lost.
/// `certain`: what counts as taken by the rule has at least this chance.
Told run(const std::string& scenario, std::uint64_t exchanges, std::uint64_t seed, const Fails& fails, double certain,
         Observer& observer, const Seen& seen = {});

/// The bus of the scenarios used here.
const Protocol& bench_bus();

}  // namespace hopbench::planted
