// How the controller's plan keeps its time: how long a round takes, and how late answers are that come too late.
#pragma once

#include <cstdint>
#include <optional>
#include <string>
#include <vector>

#include "base/time.h"
#include "measure/histogram.h"
#include "seen/ignoring_sink.h"

namespace hopbench {

/// A round lasts from an ask of the plan's first entry that is asked in every round to its next one, pauses and retries
/// included. Late by: from the time-out to the last edge of the answer at the controller, for each try that was late.
struct RoundMeasures {
  Histogram lengths;  // ns
  Histogram late_by;  // ns; empty where the time-out is not known

  /// Adds another run; no round goes on across.
  void merge(const RoundMeasures& other) {
    lengths.merge(other.lengths);
    late_by.merge(other.late_by);
  }
  friend bool operator==(const RoundMeasures&, const RoundMeasures&) = default;
};

/// Folds observations into RoundMeasures. Apart from Measures, since tallies do not tell when rounds began: of a
/// thinned capture only rounds without a tally in them are known.
class RoundFold final : public IgnoringSink {
 public:
  /// `entry`: name of the plan entry that tells rounds; empty: none is known, as with a controller that is not ours.
  explicit RoundFold(std::string entry) : entry_name_(std::move(entry)) {}

  [[nodiscard]] const RoundMeasures& measures() const { return measures_; }

  void begin(const RunInfo& run) override;
  void exchange(const ExchangeObs& obs, const ExchangeTruth* truth) override;
  [[nodiscard]] std::uint64_t whole_from() const override { return ~std::uint64_t{0}; }
  void again(std::span<const ExchangeObs> models, std::span<const Repeat> repeats) override;
  void tally(const Tally&) override { last_.reset(); }
  void gap(const Gap&) override { last_.reset(); }
  void dropped(const Dropped&) override { last_.reset(); }

 private:
  void asked(std::uint32_t entry, Nanos start);

  std::string entry_name_;
  std::optional<std::uint32_t> entry_;
  std::optional<Nanos> time_out_;
  std::vector<bool> leads_home_;  // by link: to the controller
  std::optional<Nanos> last_;     // start of the round at hand, if nothing was unseen since
  RoundMeasures measures_;
};

}  // namespace hopbench
