// Records that are missing, as a stretch of time: what nobody saw must not look as if nothing had happened.
#pragma once

#include <algorithm>
#include <optional>

#include "record/record_time.h"

namespace hopbench {

/// Why a hole is one; in a copy of a damaged capture it stands in a Dropped record.
inline constexpr const char* damage_reason = "damaged";

/// Is told of what is there and of what is missing, and says where the missing records were.
class Holes {
 public:
  /// At least so many records are missing here; 0: nobody knows how many.
  void missed(std::uint64_t records) {
    open_ = true;
    records_ += records;
  }
  [[nodiscard]] bool open() const { return open_; }
  /// A record that is there. What is missing before it is told once: from the last instant told of to its first one.
  std::optional<DroppedRecord> close(const Record& next) {
    std::optional<DroppedRecord> hole;
    if (const auto begins = begins_at(next); open_ && begins) {
      const Nanos from = until_.value_or(std::min<Nanos>(0, *begins));
      hole = {from, std::max(from, *begins), records_, damage_reason};
      forget();
    }
    given_until(ends_at(next));
    return hole;
  }
  /// The same after all that is there.
  [[nodiscard]] std::optional<DroppedRecord> at_end() const {
    if (!open_) return std::nullopt;
    return DroppedRecord{until_.value_or(0), until_.value_or(0), records_, damage_reason};
  }
  void given_until(std::optional<Nanos> at) {
    if (at) until_ = std::max(until_.value_or(*at), *at);
  }
  /// What comes next lies at `at` or later, and what is missing before that is no matter.
  void jump_to(Nanos at) {
    until_ = at;
    forget();
  }
  void forget() {
    open_ = false;
    records_ = 0;
  }

 private:
  std::optional<Nanos> until_;
  bool open_ = false;
  std::uint64_t records_ = 0;
};

}  // namespace hopbench
