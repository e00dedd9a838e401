// Framings whose frames are stretches: up to a boundary byte, a fixed number, or up to a pause.
#include <algorithm>

#include "bus/decoder.h"
#include "bus/stuffing.h"

namespace hopbench {
namespace {

Stuffing stuffing_of(FramingKind kind) {
  return kind == FramingKind::cobs ? Stuffing::cobs : kind == FramingKind::slip ? Stuffing::slip : Stuffing::hdlc;
}

void add_marks(Finding& finding, const HeardChar& character) {
  finding.framing_error = finding.framing_error || character.framing_error;
  finding.parity_error = finding.parity_error || character.parity_error;
  finding.overrun = finding.overrun || character.overrun;
}

}  // namespace

void Decoder::hold_or_count(const HeardChar& character) {
  if (held_.size() < limit_) return hold(character);
  HeardChar last = character;
  if (uncounted_ != 0) {
    last.framing_error = last.framing_error || last_uncounted_.framing_error;
    last.parity_error = last.parity_error || last_uncounted_.parity_error;
    last.overrun = last.overrun || last_uncounted_.overrun;
  }
  last_uncounted_ = last;
  ++uncounted_;
}

void Decoder::add_uncounted(Finding& finding) const {
  if (led_) {
    finding.first_edge = boundary_->start;
    finding.first_tag = boundary_->tag;
    finding.chars += 1;
    add_marks(finding, *boundary_);
  }
  if (uncounted_ == 0) return;
  add_marks(finding, last_uncounted_);
  finding.end = last_uncounted_.end;
  finding.last_tag = last_uncounted_.tag;
  finding.chars += uncounted_;
}

void Decoder::take_stuffed(const HeardChar& character, std::vector<Finding>& findings) {
  if (character.byte != boundary_of(stuffing_of(kind_))) {
    // A boundary belongs to what follows only if it follows at once.
    if (held_.empty()) led_ = boundary_ && character.start - boundary_->end <= char_time_;
    return hold_or_count(character);
  }
  if (!held_.empty()) return close_stuffed(character, findings);
  if (protocol_->description().framing.leading_boundary) boundary_ = character;
}

void Decoder::close_stuffed(const HeardChar& boundary, std::vector<Finding>& findings) {
  Finding& finding = report(0, held_.size(), Damage::malformed, boundary.end, findings);
  add_uncounted(finding);
  add_marks(finding, boundary);
  finding.end = boundary.end;
  finding.last_tag = boundary.tag;
  finding.chars += 1;
  std::size_t size = 0;
  const bool well = unstuff(stuffing_of(kind_), bytes(0, held_.size()), finding.content, size);
  if (uncounted_ != 0 || size > protocol_->most_content()) {
    finding.damage = Damage::too_long;
  } else if (well) {
    finding.damage = protocol_->parse(finding.content.view(), finding.frame);
  }
  reset();
}

void Decoder::take_fixed(const HeardChar& character, std::vector<Finding>& findings) {
  hold(character);
  if (held_.size() < limit_) return;
  Finding& finding = report(0, held_.size(), Damage::none, character.end, findings);
  finding.damage = protocol_->parse(finding.content.view(), finding.frame);
  drop(held_.size());
}

void Decoder::take_silence(const HeardChar& character, std::vector<Finding>&) { hold_or_count(character); }

void Decoder::close_silence(Nanos known_at, std::vector<Finding>& findings) {
  Finding& finding = report(0, held_.size(), Damage::too_long, known_at, findings);
  if (uncounted_ == 0) finding.damage = protocol_->parse(finding.content.view(), finding.frame);
  add_uncounted(finding);
  reset();
}

}  // namespace hopbench
