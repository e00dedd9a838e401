// A listener to whom a repeat is not enough.
#pragma once

#include <stdexcept>

#include "seen/observation.h"

namespace hopbench {

/// Wants every exchange whole. Whoever tells it of repeats all the same has not asked whole_from(): they would be lost,
/// so that is an error of the program, and thrown.
class WholeSink : public Sink {
 public:
  [[nodiscard]] std::uint64_t whole_from() const override { return 0; }
  void again(std::span<const ExchangeObs> /*models*/, std::span<const Repeat> /*repeats*/) override {
    throw std::logic_error("repeats told to a listener that wants every exchange whole");
  }

 protected:
  ~WholeSink() = default;
};

}  // namespace hopbench
