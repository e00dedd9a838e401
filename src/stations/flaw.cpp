#include "stations/flaw.h"

namespace hopbench {
namespace {

std::uint64_t low_bits(std::uint64_t value, std::uint64_t bits) {
  return bits >= 64 ? value : value & ((std::uint64_t{1} << bits) - 1);
}

}  // namespace

bool spoils_answers(Flaw mistake) {
  switch (mistake) {
    case Flaw::answers_broadcast:
    case Flaw::repeats_number:
    case Flaw::number_bits:
    case Flaw::stale_snapshot:
    case Flaw::cells_off_by_one:
    case Flaw::counts_one_more:
    case Flaw::answers_unknown_topic:
      return true;
    case Flaw::none:
    case Flaw::forgets_topic:
    case Flaw::address_bits:
    case Flaw::rewrites_field:
    case Flaw::remakes_checks:
    case Flaw::acts_again_after:
    case Flaw::hangs_above_bytes:
      return false;
  }
  return true;
}

DesignFlaw::DesignFlaw(const FlawSpec& spec, const Protocol& protocol) : spec_(&spec), protocol_(&protocol) {
  if (is(Flaw::forgets_topic)) topic_ = protocol.topic_named(spec.name);
  if (!is(Flaw::rewrites_field)) return;
  for (const PartSpec& part : protocol.description().parts) {
    if (!part.field) continue;
    if (part.field->name == spec.name) {
      own_value_ = part.field->constant;
      return;
    }
    ++field_;
  }
}

std::uint64_t DesignFlaw::kept_address(std::uint64_t given) const {
  return is(Flaw::address_bits) ? low_bits(given, spec_->value) : given;
}

bool DesignFlaw::forgets(const Frame& frame) const { return topic_ && protocol_->topic(frame) == topic_; }

std::optional<Content> DesignFlaw::rewritten(const Frame& frame) const {
  if (!own_value_ || frame.field[field_] == *own_value_) return std::nullopt;
  Content content;
  protocol_->encode(frame, content);
  if (!protocol_->overwrite(content, field_, *own_value_)) return std::nullopt;
  return content;
}

bool DesignFlaw::chokes_on(const Frame& frame) const {
  return is(Flaw::hangs_above_bytes) && protocol_->content_bytes(frame) > spec_->value;
}

bool DesignFlaw::misname(Frame& answer, const Frame& ask) {
  const auto named = protocol_->exchange(ask);
  if (!named) return false;
  std::uint64_t number = *named;
  if (is(Flaw::number_bits)) number = low_bits(number, spec_->value);
  if (is(Flaw::repeats_number)) {
    number = number_answered_.value_or(number);
    number_answered_ = *named;
  }
  if (number == *named) return false;
  protocol_->name_exchange(answer, number);
  return true;
}

void DesignFlaw::reset() {
  number_answered_.reset();
  snapshot_ = {};
  hung_ = false;
}

void DesignFlaw::keep(Archive& archive) {
  if (!any()) return;
  archive.flag("hung", hung_);
  archive.maybe("number answered", number_answered_,
                [&](std::uint64_t& number) { archive.number("number answered", number); });
  archive.span_or_never("snapshot", snapshot_.taken_at);
  archive.list("cell", snapshot_.cell_uv, [&](std::int64_t& uv) { archive.number("cell", uv); });
}

}  // namespace hopbench
