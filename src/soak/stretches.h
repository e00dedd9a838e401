// What was counted for a requirement, stretch of time by stretch of time.
#pragma once

#include <cstddef>
#include <cstdint>
#include <span>
#include <vector>

#include "base/archive.h"
#include "base/time.h"
#include "judge/difference.h"

namespace hopbench {

/// Since the soak began.
struct SoakCount {
  std::uint64_t hits = 0;
  std::uint64_t trials = 0;
  std::uint64_t runs = 0;  // bursts of failures in the same exchanges; 0 where nobody counts them
  void keep(Archive& archive);
  friend bool operator==(const SoakCount&, const SoakCount&) = default;
};

/// Stretches of equal length, each with its own counts. Where the chain goes through cycles (the battery's, or the
/// days of the air around it) a stretch is one of them. Elsewhere it is a minute. When there are more than 512, each
/// two neighbours become one: memory and time do not grow with the soak, and failures that come together stay together.
class Stretches {
 public:
  /// `cycle`: 0 if the chain goes through none.
  Stretches(std::size_t requirements, Nanos start, Nanos cycle);

  [[nodiscard]] Nanos next_border() const { return start_ + static_cast<Nanos>(count_ + 1) * length(); }
  /// To be called when all up to next_border() is counted, with what that comes to for each requirement.
  void pass_border(std::span<const SoakCount> so_far);

  [[nodiscard]] bool cycles() const { return cycles_; }
  /// Of one; of cycles: of one or several whole ones.
  [[nodiscard]] Nanos length() const { return unit_ << doublings_; }
  [[nodiscard]] std::size_t count() const { return count_; }
  /// Whole cycles so far in which anything was tested; 0 if there are none to go through.
  [[nodiscard]] std::uint64_t whole_cycles() const {
    return cycles_ ? (std::uint64_t{count_} << doublings_) - untested_ : 0;
  }
  /// Of one cycle, or of the shortest stretch.
  [[nodiscard]] Nanos unit() const { return unit_; }
  [[nodiscard]] std::span<const Counted> of(std::size_t requirement) const { return rows_[requirement].counted; }
  /// At the last border.
  [[nodiscard]] const SoakCount& at_border(std::size_t requirement) const { return rows_[requirement].at_border; }

  void keep(Archive& archive);

 private:
  struct Row {
    std::vector<Counted> counted;
    SoakCount at_border;
  };
  static constexpr std::size_t most = 512;

  std::vector<Row> rows_;
  bool cycles_;
  Nanos start_;
  Nanos unit_;
  unsigned doublings_ = 0;
  std::size_t count_ = 0;
  std::uint64_t untested_ = 0;  // cycles, or shortest stretches
};

}  // namespace hopbench
