#include "line/ear.h"

#include <algorithm>

namespace hopbench {

Ear::Ear(const Protocol& protocol, const ReceiverSpec& spec, Period period)
    : protocol_(&protocol),
      receiver_(protocol.line(), spec, period),
      decoder_(protocol, period),
      end_silence_(protocol.end_silence(period)) {}

void Ear::set_period(Period period) {
  receiver_.set_period(period);
  step_.known = false;
  decoder_.set_period(period);
  end_silence_ = protocol_->end_silence(period);
}

bool Ear::idle_at(Nanos start) const {
  return receiver_.idle() && decoder_.idle() && (!clean_ || clean_->known_at < start);
}

namespace {
void add_finding(const Frame& frame, const Timing& timing, Nanos end, std::uint32_t tag, Nanos known_at,
                 std::vector<Finding>& findings) {
  Finding finding;
  finding.first_edge = timing.start();
  finding.end = end;
  finding.known_at = known_at;
  finding.first_tag = tag;
  finding.last_tag = tag;
  finding.chars = timing.chars();
  finding.frame = frame;
  findings.push_back(finding);
}
}  // namespace

void Ear::hear_clean(const Frame& frame, const Timing& timing, Nanos decided, std::uint32_t tag,
                     std::vector<Finding>& findings) {
  // The silence behind the one before is over by then, and nobody has come to say so yet.
  if (clean_) tell_clean(findings);
  if (end_silence_ == 0 && decided == timing.end()) {
    add_finding(frame, timing, decided, tag, decided, findings);
  } else {
    clean_ = Clean{frame, timing, tag, decided, decided + end_silence_};
  }
}

void Ear::tell_clean(std::vector<Finding>& findings) {
  add_finding(clean_->frame, clean_->timing, clean_->decided, clean_->tag, clean_->known_at, findings);
  clean_.reset();
}

/// Something else begins while the vote over the last character goes on: the receiver holds that character.
void Ear::hold_clean() {
  const Clean clean = *clean_;
  clean_.reset();
  Content content;
  WireBytes wire;
  protocol_->encode(clean.frame, content);
  protocol_->wrap(content.view(), wire);
  to_levels(wire.view(), protocol_->line(), clean.timing, levels_);
  std::vector<HeardChar> chars;
  sample(levels_, clean.timing, clean.tag, chars);
  for (const HeardChar& each : chars) decoder_.push(each, early_);
}

void Ear::break_clean(std::vector<Finding>& findings) {
  // Something else began before the silence was over: from here on it is characters.
  const Clean clean = *clean_;
  clean_.reset();
  Content content;
  WireBytes wire;
  protocol_->encode(clean.frame, content);
  protocol_->wrap(content.view(), wire);
  for (std::uint32_t i = 0; i < wire.size(); ++i) {
    HeardChar character;
    character.byte = wire[i];
    character.start = clean.timing.char_start(i);
    character.end = clean.timing.char_end(i);
    character.tag = clean.tag;
    decoder_.push(character, findings);
  }
}

void Ear::sample(const Levels& levels, const Timing& timing, std::uint32_t tag, std::vector<HeardChar>& chars) {
  if (clean_ && clean_->half_heard()) hold_clean();
  sampled_.clear();
  receiver_.receive(levels, timing, timing.end(), sampled_);
  for (SampledChar& each : sampled_) {
    each.heard.tag = each.heard.start < timing.start() ? held_tag_ : tag;
    chars.push_back(each.heard);
  }
  if (!receiver_.idle()) held_tag_ = tag;
}

void Ear::hear(const std::vector<HeardChar>& chars, std::vector<Finding>& findings) {
  findings.insert(findings.end(), early_.begin(), early_.end());
  early_.clear();
  if (chars.empty()) return;
  if (clean_) break_clean(findings);
  for (const HeardChar& each : chars) decoder_.push(each, findings);
}

void Ear::half_heard(std::vector<HeardChar>& chars) const {
  if (receiver_.idle()) return;
  Receiver ahead = receiver_;
  std::vector<SampledChar> sampled;
  ahead.decide_held(sampled);
  for (SampledChar& each : sampled) {
    each.heard.tag = held_tag_;
    chars.push_back(each.heard);
  }
}

Nanos Ear::wants_wake() const {
  return std::min({receiver_.undecided_until(), decoder_.wants_wake(), clean_ ? clean_->known_at : never});
}

void Ear::wake(Nanos now, std::vector<Finding>& findings) {
  if (clean_ && clean_->known_at <= now) tell_clean(findings);
  if (receiver_.undecided_until() <= now) {
    sampled_.clear();
    receiver_.decide_held(sampled_);
    settled_.clear();
    for (SampledChar& each : sampled_) {
      each.heard.tag = held_tag_;
      settled_.push_back(each.heard);
    }
    hear(settled_, findings);
  }
  decoder_.silent_until(now, findings);
}

void Ear::reset() {
  receiver_.reset();
  decoder_.reset();
  clean_.reset();
  early_.clear();
}

}  // namespace hopbench
