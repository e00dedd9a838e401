// A receiver against a sender of another speed: the verbs that the tests of clock mismatch share.
#pragma once

#include <cstdint>
#include <vector>

#include "line/receiver.h"

namespace hopbench {

struct Reception {
  bool exact = true;      // every byte as sent, no error mark
  bool unanimous = true;  // and no vote was divided
};

/// Sends `bytes` back to back at bits of `sent`, from `start` on, to a receiver with bits of `own`.
Reception receive(const LineCoding& line, const ReceiverSpec& spec, Period own, Period sent, Nanos start,
                  const std::vector<std::uint8_t>& bytes);

/// The worst over all phases of the sampling grid (both ends of it included) and over data that has every edge which
/// matters.
Reception worst_reception(const LineCoding& line, const ReceiverSpec& spec, Period own, Period sent);

/// Sender's bits for a sender that runs at `percent` of the receiver's speed: under 100 it is the slower one. The data
/// sheets' ratios are meant so (some tables print the opposite sign as the error).
Period sent_at(Period own, double percent);

}  // namespace hopbench
