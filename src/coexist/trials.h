// The trials of single promises. trial.h is the way in.
#pragma once

#include <vector>

#include "coexist/run_log.h"
#include "coexist/trial_ground.h"

namespace hopbench {

/// A chain to be tried, and what went before it.
struct TriedChain {
  ChainDescription chain;    // still; with orders to bleed before its plan, if it is to balance
  std::size_t first = 0;     // place in its plan of the first entry that is no such order
  std::uint64_t offers = 0;  // exchanges in which addresses are given out, before the plan
  std::uint32_t bled = 0;    // cells
  /// Exchanges until so many rounds of the plan are over.
  [[nodiscard]] std::uint64_t exchanges(std::uint64_t rounds) const;
};
TriedChain tried_chain(const TrialGround& ground, const KindOrder& order, bool balancing);
/// The name of the exchange with an entry, for sentences: "cells/new1".
std::string entry_name(const ChainDescription& chain, std::uint32_t entry);
/// So long an exchange can take at the most, retries apart, with something to spare.
Nanos roomy_exchange(const TrialGround& ground, const ChainDescription& chain);
/// Entries of the plan that are answered at once if nothing disturbs them. The others are another promise's matter.
std::vector<bool> answered_undisturbed(const TrialGround& ground, const TriedChain& tried);
void count_run(const RunLog& log, TrialCounts& counts);

/// Why nobody can try this promise whatever the chain; empty if trials can.
std::string not_triable(PromiseNumber promise, const TrialGround& ground);

Trial try_old_answers(const TrialGround& ground, const KindOrder& order, bool balancing);
Trial try_passes_on(const TrialGround& ground, const KindOrder& order, bool balancing);
Trial try_old_controller(const TrialGround& ground, const KindOrder& order, bool balancing);
Trial try_in_time(const TrialGround& ground, const KindOrder& order, bool balancing);
Trial try_room(const TrialGround& ground, const KindOrder& order, bool balancing);
Trial try_addresses(const TrialGround& ground, const KindOrder& order, bool balancing);
Trial try_to_everyone(const TrialGround& ground, const KindOrder& order, bool balancing);
Trial try_after_damage(const TrialGround& ground, const KindOrder& order, bool balancing);
Trial try_clocks(const TrialGround& ground, const KindOrder& order);
Trial try_restarts(const TrialGround& ground, const KindOrder& order, bool balancing);
Trial try_numbers(const TrialGround& ground, const KindOrder& order, bool balancing);
Trial try_cost(const TrialGround& ground, const KindOrder& order);

}  // namespace hopbench
