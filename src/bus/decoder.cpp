#include "bus/decoder.h"

#include <algorithm>

#include "bus/stuffing.h"

namespace hopbench {
namespace {

/// Characters that a decoder holds for one stretch of this framing.
std::size_t limit_for(const Protocol& protocol) {
  const FramingSpec& framing = protocol.description().framing;
  const std::size_t most = protocol.most_content();
  switch (framing.kind) {
    case FramingKind::cobs:
      return most + most / 254 + 2;  // the last: an empty block after a full one
    case FramingKind::slip:
    case FramingKind::hdlc:
      return 2 * most;
    case FramingKind::marked:
      return framing.hex_text ? 2 * most : most;
    case FramingKind::sized:
    case FramingKind::fixed:
    case FramingKind::silence:
      break;
  }
  return most;
}

}  // namespace

Decoder::Decoder(const Protocol& protocol, Period period)
    : protocol_(&protocol), kind_(protocol.description().framing.kind), limit_(limit_for(protocol)) {
  // A frame that is being hunted for, and as much again that lies untold before it.
  held_.reserve(2 * limit_);
  bytes_.reserve(2 * limit_);
  set_period(period);
  reset();
}

void Decoder::set_period(Period period) {
  pause_ = kind_ == FramingKind::silence ? protocol_->end_silence(period) : protocol_->abandon_silence(period);
  char_time_ = span_of_bits(protocol_->line().char_half_bits(), period) / 2;
}

void Decoder::reset() {
  held_.clear();
  bytes_.clear();
  last_end_ = 0;
  boundary_.reset();
  led_ = false;
  uncounted_ = 0;
  last_uncounted_ = {};
  told_ = 0;
  place_ = 0;
  wanted_ = 0;
  scanned_ = 0;
  lost_ = false;
  inside_ = protocol_->description().framing.start.empty();
}

bool Decoder::idle() const { return held_.empty(); }

void Decoder::keep(Archive& archive) {
  archive.maybe("boundary", boundary_, [&](HeardChar& character) {
    archive.number("byte", character.byte);
    archive.flag("framing error", character.framing_error);
    archive.flag("parity error", character.parity_error);
    archive.flag("overrun", character.overrun);
    archive.span("start", character.start);
    archive.span("end", character.end);
  });
  archive.flag("inside", inside_);
}

Nanos Decoder::wants_wake() const {
  if (idle() || pause_ == never || last_end_ > never - pause_) return never;
  return last_end_ + pause_;
}

void Decoder::push(const HeardChar& character, std::vector<Finding>& findings) {
  const Nanos deadline = wants_wake();
  if (character.start > deadline) silence(deadline, findings);
  last_end_ = character.end;
  switch (kind_) {
    case FramingKind::cobs:
    case FramingKind::slip:
    case FramingKind::hdlc:
      return take_stuffed(character, findings);
    case FramingKind::fixed:
      return take_fixed(character, findings);
    case FramingKind::silence:
      return take_silence(character, findings);
    case FramingKind::marked:
      return take_marked(character, findings);
    case FramingKind::sized:
      hold(character);
      return hunt(character.end, false, findings);
  }
}

void Decoder::silent_until(Nanos now, std::vector<Finding>& findings) {
  const Nanos deadline = wants_wake();
  if (deadline != never && now >= deadline) silence(deadline, findings);
}

void Decoder::silence(Nanos known_at, std::vector<Finding>& findings) {
  switch (kind_) {
    case FramingKind::silence:
      return close_silence(known_at, findings);
    case FramingKind::sized:
      return hunt(known_at, true, findings);
    case FramingKind::marked:
      if (inside_ && protocol_->description().framing.end.empty()) {
        close_marked(held_.size(), held_.size(), known_at, findings);
        if (findings.back().damage != Damage::none) findings.back().abandoned = true;
        inside_ = false;
        return;
      }
      break;
    case FramingKind::cobs:
    case FramingKind::slip:
    case FramingKind::hdlc:
    case FramingKind::fixed:
      break;
  }
  const bool begun = kind_ != FramingKind::marked || inside_;
  Finding& finding = report(0, held_.size(), begun ? Damage::too_short : Damage::malformed, known_at, findings);
  if (uncounted_ != 0) finding.damage = Damage::too_long;
  add_uncounted(finding);
  finding.abandoned = true;
  reset();
}

void Decoder::hold(const HeardChar& character) {
  held_.push_back(character);
  bytes_.push_back(character.byte);
}

void Decoder::drop(std::size_t count) {
  held_.erase(held_.begin(), held_.begin() + static_cast<std::ptrdiff_t>(count));
  bytes_.erase(bytes_.begin(), bytes_.begin() + static_cast<std::ptrdiff_t>(count));
}

std::span<const std::uint8_t> Decoder::bytes(std::size_t from, std::size_t to) const {
  return std::span(bytes_).subspan(from, to - from);
}

Finding& Decoder::report(std::size_t from, std::size_t to, Damage damage, Nanos known_at,
                         std::vector<Finding>& findings) {
  Finding& finding = findings.emplace_back();
  finding.damage = damage;
  for (std::size_t i = from; i < to; ++i) {
    finding.framing_error = finding.framing_error || held_[i].framing_error;
    finding.parity_error = finding.parity_error || held_[i].parity_error;
    finding.overrun = finding.overrun || held_[i].overrun;
  }
  finding.first_edge = held_[from].start;
  finding.first_tag = held_[from].tag;
  finding.end = held_[to - 1].end;
  finding.last_tag = held_[to - 1].tag;
  finding.chars = static_cast<std::uint32_t>(to - from);
  finding.known_at = known_at;
  finding.content.assign(bytes(from, to));
  return finding;
}

}  // namespace hopbench
