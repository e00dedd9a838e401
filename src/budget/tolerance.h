// How far the clocks of a sender and a receiver may be apart, and how far they can be.
#pragma once

#include <cstdint>
#include <vector>

#include "bus/protocol.h"
#include "scenario/description.h"

namespace hopbench {

/// A sender's rate in percent of the receiver's own, at which it is still heard well at every phase of the sampling
/// grid. Below 100 the sender is the slower one. (Data sheets print these ratios; as errors they give them either
/// sign.)
struct ReceiverLimits {
  double slow_percent = 0;           // first vote over the stop bit
  double fast_percent = 0;           // last vote over it
  double fast_majority_percent = 0;  // most of the votes: what data sheets count
};
ReceiverLimits receiver_limits(const LineCoding& line, const ReceiverSpec& receiver);

/// What is left between the votes over the bit that is hardest to sample and that bit's edges, as a share of the
/// receiver's bit; below 0 if a vote may fall outside. `stretch`: by which low levels are longer than sent.
double vote_margin(const LineCoding& line, const ReceiverSpec& receiver, Period own, Period sent, Nanos stretch);

/// A station and one that hears its edges: neighbours, or with none but electrically passing nodes between.
struct ClockPair {
  std::uint16_t from = 0;  // nobody: the controller
  std::uint16_t to = 0;
  std::uint16_t first_link = 0;
  std::uint16_t last_link = 0;
  double stated = 0;     // vote_margin() by error and divisor alone
  double least = 0;      // over trim, temperature and supply of both
  double apart_ppm = 0;  // the most that the sender can be quicker (positive) or slower than the receiver
};
std::vector<ClockPair> clock_pairs(const Protocol& protocol, const ChainDescription& chain);

/// A clock whose rate is made by dividing an oscillator's.
struct DivisorBudget {
  std::vector<std::uint16_t> stations;  // that have it; nobody: the controller
  std::uint64_t oscillator_hz = 0;
  std::uint32_t oversampling = 16;
  std::uint32_t divisor = 1;
  std::uint32_t nearest = 1;
  double error_percent = 0;  // rate / bus's rate - 1
  double nearest_error_percent = 0;
};
double divisor_error_percent(std::uint64_t oscillator_hz, std::uint32_t oversampling, std::uint32_t divisor,
                             std::uint64_t baud);
std::vector<DivisorBudget> divisor_budgets(const Protocol& protocol, const ChainDescription& chain);

}  // namespace hopbench
