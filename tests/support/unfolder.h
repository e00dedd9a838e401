// A listener that takes repeats as repeats, and says of each what it stands for.
#pragma once

#include <string>
#include <vector>

#include "seen/ignoring_sink.h"
#include "support/collector.h"

namespace hopbench {

/// describe() without the bytes, which a repeat does not carry.
std::string without_bytes(KeptExchange exchange);

class Unfolder final : public IgnoringSink {
 public:
  /// `whole_one_in`: wants one exchange in so many whole; 0: none. `whole_before`: and so many before one that can be
  /// no repeat.
  explicit Unfolder(std::uint64_t whole_one_in, std::uint32_t whole_before = 0)
      : whole_one_in_(whole_one_in), whole_before_(whole_before) {}

  std::vector<std::string> lines;  // without_bytes() of each exchange, told whole or repeated
  std::vector<std::string> whole;  // describe() of each that was told whole; empty for a repeat
  std::uint64_t repeated = 0;
  std::uint64_t too_many = 0;  // repeats of what was wanted whole

  void exchange(const ExchangeObs& seen, const ExchangeTruth* truth) override;
  [[nodiscard]] std::uint64_t whole_from() const override {
    return whole_one_in_ > 0 ? next_whole_ : ~std::uint64_t{0};
  }
  [[nodiscard]] std::uint32_t whole_before() const override { return whole_before_; }
  void again(std::span<const ExchangeObs> models, std::span<const Repeat> repeats) override;

 private:
  std::uint64_t whole_one_in_;
  std::uint32_t whole_before_;
  std::uint64_t next_whole_ = 0;
};

}  // namespace hopbench
