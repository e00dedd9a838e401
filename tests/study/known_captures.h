// Scenarios in which one mechanism alone makes replies go missing, and what explain should make of them.
#pragma once

#include <cstdint>
#include <string>
#include <utility>
#include <vector>

#include "study/explanation.h"
#include "study/tallies.h"

namespace hopbench {

struct KnownCapture {
  std::string name;
  Mechanism mechanism = Mechanism::bit_noise;
  std::vector<Mechanism> group;     // what it may be confused with from every hop, as docs/explain.md states
  std::string scenario;             // text
  std::vector<std::uint16_t> hops;  // where it is, if it is at one place
};

/// Those that the chain models.
const std::vector<KnownCapture>& known_captures();

/// The same on a chain that is longer and faster. `hops` do not hold there.
std::string on_another_chain(std::string scenario);

/// Says of balancing, or of what comes only with it, that it is why.
bool accuses_balancing(const Explanation& explanation);

enum class Eyes : std::uint8_t { every_hop, controller };

/// Runs it and explains what was observed. Throws std::runtime_error if the text is no scenario.
Explanation explain_scenario(const std::string& text, std::uint64_t seed, Eyes eyes);

/// The same from every hop, with frames kept to compare failures with.
Explanation explain_with_rules(const std::string& text, std::uint64_t seed);

/// From every hop, of a run that was thinned to one in so many healthy exchanges (1: not at all; 0: to none of them).
std::pair<Explanation, Tallies> explain_thinned(const std::string& text, std::uint64_t seed, std::uint32_t one_in);

/// The mechanisms that the largest case puts first and cannot tell apart; empty without a case.
std::vector<Mechanism> first_ones(const Explanation& explanation);

/// Mechanisms of which few failures look alike: single bits, short bursts and contacts that open for a few bits; and
/// what makes a station fall silent for a while.
bool leave_the_same(Mechanism one, Mechanism other);

/// Whether the mechanism, or one of its group, is among them. From every hop at most four are, and nothing else but
/// what leaves the same.
bool right(const KnownCapture& known, const Explanation& explanation, Eyes eyes);

}  // namespace hopbench
