// Frames that begin with a marker and tell their size. A receiver in step believes the size; one that has lost step
// tries every place in what it holds, so that damage costs the frames it lies in and no more.
#include "bus/decoder.h"

namespace hopbench {

void Decoder::drop_hunted(std::size_t count) {
  drop(count);
  told_ = told_ > count ? told_ - count : 0;
  place_ = place_ > count ? place_ - count : 0;
  scanned_ = scanned_ > count ? scanned_ - count : 0;
}

/// First place from `first` on where a whole good frame lies; looks only at frames that end after scanned_.
std::optional<std::size_t> Decoder::good_frame_from(std::size_t first, Frame& frame) {
  const std::size_t end = held_.size();
  for (std::size_t at = first; at < end; ++at) {
    const auto length = protocol_->sized_length(bytes(at, end));
    if (!length || *length == 0 || *length > end - at || at + *length <= scanned_) continue;
    if (protocol_->parse(bytes(at, at + *length), frame) != Damage::none) continue;
    if (protocol_->is_checked(frame))
      return at;  // out of step a single character is as likely a byte of something else
  }
  scanned_ = end;
  return std::nullopt;
}

/// Reports the good frame at `from`, what lies untold before it, and forgets both.
void Decoder::report_frame(const Frame& frame, std::size_t from, std::size_t length, Nanos known_at, bool silent,
                           std::vector<Finding>& findings) {
  if (told_ < from) report(told_, from, Damage::malformed, known_at, findings).abandoned = silent;
  report(from, from + length, Damage::none, known_at, findings).frame = frame;
  drop_hunted(from + length);
  place_ = 0;
  wanted_ = 0;
  lost_ = false;
}

void Decoder::hunt(Nanos known_at, bool silent, std::vector<Finding>& findings) {
  const bool checked = !protocol_->description().framing.header_check.empty();
  Frame frame;
  while (place_ < held_.size()) {
    if (wanted_ == 0) {
      const auto length = protocol_->sized_length(bytes(place_, held_.size()));
      if (!length) {
        ++place_;
        lost_ = true;
        continue;
      }
      wanted_ = *length;
    }
    const std::size_t length = wanted_;
    if (length == 0 || held_.size() - place_ < length) {  // the rest is still to come
      if (lost_) {
        if (const auto good = good_frame_from(place_ + 1, frame)) {
          report_frame(frame, *good, *protocol_->sized_length(bytes(*good, held_.size())), known_at, silent, findings);
          continue;
        }
      }
      if (!silent) break;
      ++place_;
      wanted_ = 0;
      lost_ = true;
      continue;
    }
    const Damage damage = protocol_->parse(bytes(place_, place_ + length), frame);
    if (damage == Damage::none && lost_ && !protocol_->is_checked(frame)) {
      ++place_;
      wanted_ = 0;
      continue;
    }
    if (damage == Damage::none) {
      report_frame(frame, place_, length, known_at, silent, findings);
      continue;
    }
    // Bad. Out of step, only a header check makes such a place a frame and not just a likeness of one.
    std::size_t next = place_ + 1;
    if (!lost_ || (checked && told_ <= place_)) {
      std::size_t end = place_ + length;
      if (!lost_) scanned_ = 0;
      Frame later;
      const auto good = good_frame_from(place_ + 1, later);
      if (good && *good < end) {  // it claimed bytes of a later frame
        end = *good;
        next = *good;
      }
      if (told_ < place_) report(told_, place_, Damage::malformed, known_at, findings).abandoned = silent;
      Finding& finding = report(place_, end, damage, known_at, findings);
      finding.frame = frame;
      told_ = end;
    }
    place_ = next;
    wanted_ = 0;
    lost_ = true;
  }
  if (silent) {
    if (told_ < held_.size()) {
      const bool begun = protocol_->sized_length(bytes(told_, held_.size())).has_value();
      Finding& finding = report(told_, held_.size(), begun ? Damage::too_short : Damage::malformed, known_at, findings);
      finding.abandoned = true;
    }
    reset();
    return;
  }
  if (place_ == held_.size() && told_ == place_) {
    reset();  // nothing held can begin a frame, and all of it has been told
    return;
  }
  if (place_ > told_ && place_ - told_ >= limit_) {
    report(told_, place_, Damage::malformed, known_at, findings);
    told_ = place_;
  }
  const std::size_t done = told_ < place_ ? told_ : place_;
  if (done != 0) drop_hunted(done);
}

}  // namespace hopbench
