// A soak test as it goes on: what was counted so far, and what it decides. It listens to a chain; who runs the chain
// tells it when the run has come to a border, and keeps its state where it likes.
#pragma once

#include <array>
#include <cstdint>
#include <optional>
#include <span>
#include <string>
#include <vector>

#include "measure/causes.h"
#include "measure/fan_out.h"
#include "measure/measures.h"
#include "scenario/description.h"
#include "seen/forwarding_sink.h"
#include "seen/ignoring_sink.h"
#include "soak/days.h"
#include "soak/stretches.h"
#include "soak/verdict.h"
#include "study/property.h"
#include "text/requirement.h"

namespace hopbench {

/// Period that the chain goes through again and again: a battery's charge cycles, or the days of the air around the
/// boards (the longer of the two); 0 if there is none.
Nanos cycle_of(const ChainDescription& chain);

class Soak {
 public:
  /// From `start` on the run's clock; limits hold only if they held up to `until`.
  Soak(std::vector<Requirement> requirements, Nanos start, Nanos until, Nanos cycle);
  Soak(const Soak&) = delete;
  Soak& operator=(const Soak&) = delete;

  /// What is to listen to the chain. A chain that goes on from a saved state begins anew with it.
  [[nodiscard]] Sink& sink() { return apart_; }

  /// The next instant at which the run has to stop and pass_border() to be called.
  [[nodiscard]] Nanos next_border() const;
  /// All up to there was told.
  void pass_border();
  /// Decides by what was told up to `now`. At the end of the run limits are accepted that held. Limits on
  /// times are looked at where a day is over.
  void decide(Nanos now, bool day_over = true);
  /// Each requirement is decided, or one is rejected.
  [[nodiscard]] bool decided() const;

  [[nodiscard]] Ruling verdict() const;
  [[nodiscard]] std::vector<RequirementState> states() const;
  [[nodiscard]] const std::vector<Requirement>& requirements() const { return requirements_; }
  [[nodiscard]] const Stretches& stretches() const { return stretches_; }
  /// Whole days, and what there is of the last one.
  [[nodiscard]] std::vector<SoakDay> days() const;
  [[nodiscard]] const std::vector<SoakDay>& whole_days() const { return days_; }
  /// What there is of the hour under way included.
  [[nodiscard]] SoakHours hours() const;

  /// Of the whole soak, as an unbroken run's.
  [[nodiscard]] Measures measures() const;
  [[nodiscard]] CauseCounts causes() const;
  /// Of the whole soak.
  [[nodiscard]] Coverage coverage() const;
  /// Exchanges in which the computer was so late at the port that this may have decided what came of them. They are in
  /// no measure and in no requirement.
  [[nodiscard]] std::uint64_t apart() const { return apart_.exchanges; }
  [[nodiscard]] const RunInfo& run() const { return fold_.run(); }

  /// All that has to outlive the process but for the chain. When it is put back, the soak was made with the same
  /// arguments, and the chain begins after that.
  void keep(Archive& archive);
  /// All that was told so far stays; another run, or a part of this one, begins after that.
  void settle();
  /// What was put back is of a chain such as the one that has begun. Otherwise nothing may be done with it.
  [[nodiscard]] bool fits() const;

 private:
  /// Takes out what may be the computer's own doing. Whether the cells that it asked for were read nobody knows.
  class Apart final : public ForwardingSink {
   public:
    Apart(Sink& to, MeasureFold& fold) : ForwardingSink({&to}), fold_(&fold) {}
    void begin(const RunInfo& run) override;
    void exchange(const ExchangeObs& obs, const ExchangeTruth* truth) override;
    std::uint64_t exchanges = 0;

   private:
    MeasureFold* fold_;
    std::optional<Nanos> time_out_;
    std::uint16_t home_ = 0;
  };

  /// Coldest and warmest board of the day.
  class Temperatures final : public IgnoringSink {
   public:
    void state(const State& state) override;
    [[nodiscard]] std::uint64_t whole_from() const override { return ~std::uint64_t{0}; }
    void again(std::span<const ExchangeObs>, std::span<const Repeat>) override {}
    std::optional<std::int32_t> coldest;
    std::optional<std::int32_t> warmest;
    std::optional<std::int32_t> last_coldest;  // of the last state told: it holds on
    std::optional<std::int32_t> last_warmest;
  };

  /// One after the other they are the whole soak so far.
  [[nodiscard]] std::array<const Measures*, 3> parts() const;
  [[nodiscard]] Nanos hour_ends() const;
  [[nodiscard]] Nanos day_ends() const;
  /// What a limit is held against.
  [[nodiscard]] std::optional<PropertyFigure> limit_figure(const PropertyTerm& term, const Measures& all) const;
  /// The fold begins anew; what it covered is kept.
  void begin_anew();
  [[nodiscard]] SoakHour this_hour() const;
  [[nodiscard]] std::size_t hour_of_day() const { return hours_over_ % 24; }
  void end_hour();
  void end_day();
  [[nodiscard]] SoakDay today() const;
  void decide_share(std::size_t index, Nanos now);
  void decide_limit(std::size_t index, Nanos now, const Measures& all);
  /// Since the soak began; of what adds up only.
  [[nodiscard]] SoakCount sum_of(const PropertyTerm& term) const;

  std::vector<Requirement> requirements_;
  Nanos start_;
  Nanos until_;
  Stretches stretches_;
  std::vector<Decided> decided_;

  Measures whole_;  // up to the last day's end
  Measures today_;  // since then, up to the last state that was kept
  CauseCounts causes_before_;
  MeasureFold fold_;  // since that
  CauseFold causes_;
  Temperatures temperatures_;
  FanOut all_;
  Apart apart_;
  Coverage covered_before_;  // the fold began anew since

  std::vector<SoakDay> days_;
  SoakHours hours_{};
  std::uint64_t asked_at_hour_ = 0;
  std::uint64_t failed_at_hour_ = 0;
  std::uint64_t hours_over_ = 0;
};

}  // namespace hopbench
