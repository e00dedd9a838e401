// Most exchanges of a capture are like an earlier one but for their time: read as that, they need not be taken apart.
#pragma once

#include <cstdint>
#include <memory>
#include <span>
#include <vector>

#include "record/records.h"
#include "seen/observation.h"

namespace hopbench {

/// Exchanges that were read whole, one for each entry of the plan.
class RepeatModels {
 public:
  RepeatModels();
  ~RepeatModels();
  RepeatModels(const RepeatModels&) = delete;
  RepeatModels& operator=(const RepeatModels&) = delete;

  /// Whether a payload of kind clean_exchange is that of an exchange like a model; then `repeat` says how.
  bool repeat_of(std::span<const std::uint8_t> payload, Repeat& repeat);
  /// Takes it as the model for its entry from now on, if it may be one.
  void learn(const Record& record);
  void clear() {
    models_.clear();
    seen_.clear();
  }
  /// Valid until learn() and clear().
  [[nodiscard]] std::span<const ExchangeObs> models() const { return seen_; }

 private:
  struct Message;
  struct Model {
    bool known = false;
    std::uint32_t node_plus_1 = 0;
    Nanos decided_after = 0;
    Nanos closed_after = 0;
    Nanos round_trip = 0;
    Attempt attempt;  // of an exchange that began at 0
    std::string columns;
    std::vector<Attempt> attempts;
    std::vector<HopRow> rows;
  };
  // What a made-up capture can make it keep is bounded.
  static constexpr std::size_t most_models = 1024;
  static constexpr std::size_t most_rows = 600;

  std::unique_ptr<Message> message_;
  std::vector<Model> models_;      // by entry
  std::vector<ExchangeObs> seen_;  // the same
};

}  // namespace hopbench
