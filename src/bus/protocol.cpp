#include "bus/protocol.h"

#include <algorithm>
#include <utility>

#include "bus/protocol_plan.h"
#include "bus/stuffing.h"

namespace hopbench {
namespace {

std::size_t group_named(const Layout& layout, const std::string& name) {
  for (std::size_t i = 0; i < layout.size(); ++i) {
    if (!name.empty() && layout[i].group && layout[i].group->name == name) return i;
  }
  return no_index;
}

// Pedantic mode knows no 128-bit type of its own.
__extension__ using Wide = unsigned __int128;

/// `tenths` of a character time.
Nanos pause_of(std::uint64_t tenths, const LineCoding& line, Period period) {
  return static_cast<Nanos>((static_cast<Wide>(tenths) * line.char_half_bits() * period / 20) >> 32U);
}

Stuffing stuffing_of(FramingKind kind) {
  return kind == FramingKind::cobs ? Stuffing::cobs : kind == FramingKind::slip ? Stuffing::slip : Stuffing::hdlc;
}

}  // namespace

std::string_view name_of(Refusal reason) {
  switch (reason) {
    case Refusal::unknown_topic:
      return "unknown_topic";
    case Refusal::bad_address:
      return "bad_address";
    case Refusal::bad_value:
      return "bad_value";
    case Refusal::busy:
      return "busy";
    case Refusal::bad_check:
      return "bad_check";
    case Refusal::too_long:
      return "too_long";
  }
  return "";
}

Protocol::Plan::Plan(BusDescription bus) : description(std::move(bus)), frame(description) {
  for (const TopicSpec& spec : description.topics) {
    TopicPlan plan;
    plan.ask = LayoutPlan(spec.ask, nullptr);
    plan.answer = LayoutPlan(spec.answer, &plan.ask);
    if (!spec.first_field.empty()) plan.first = plan.ask.find(spec.first_field);
    if (!spec.count_field.empty()) plan.count = plan.ask.find(spec.count_field);
    plan.ask_values = group_named(spec.ask, spec.values_group);
    if (plan.ask_values == no_index) plan.answer_values = group_named(spec.answer, spec.values_group);
    topics.push_back(std::move(plan));
  }
  refusal = LayoutPlan(description.roles.refusal, nullptr);
  refusal_code = refusal.find(description.roles.refusal_code_field);
  padded = description.framing.kind == FramingKind::fixed;
}

Protocol::Protocol(BusDescription description) : plan_(std::make_unique<const Plan>(std::move(description))) {}
Protocol::~Protocol() = default;

const BusDescription& Protocol::description() const { return plan_->description; }

std::size_t Protocol::most_content() const { return plan_->frame.most; }
std::size_t Protocol::most_payload() const { return plan_->frame.most_payload; }

std::size_t Protocol::content_bytes(const Frame& frame) const {
  const FramePlan& plan = plan_->frame;
  return plan.zones.front + plan.payload_bytes(frame.payload.size()) + plan.zones.back;
}

void Protocol::encode(const Frame& frame, Content& content) const {
  const FramePlan& plan = plan_->frame;
  const std::size_t total = content_bytes(frame);
  content.resize(total);
  const auto bytes = content.view();
  for (std::size_t i = 0; i < plan.slots.size(); ++i) {
    const SlotPlan& slot = plan.slots[i];
    std::uint64_t raw = slot.demanded ? *slot.spec->constant : frame.field[i];
    if (i == plan.size || i == plan.size_again) raw = plan.raw_size_of(total);
    plan.store(slot, bytes, raw);
  }
  const auto room = bytes.subspan(plan.zones.front, total - plan.zones.front - plan.zones.back);
  const auto payload = frame.payload.view().first(std::min(frame.payload.size(), room.size()));
  std::copy(payload.begin(), payload.end(), room.begin());
  std::fill(room.begin() + static_cast<std::ptrdiff_t>(payload.size()), room.end(), std::uint8_t{0});
  for (const CheckPlan& check : plan.checks) check.put(bytes, plan.zones, check.value_over(bytes, plan.zones));
}

void Protocol::wrap(std::span<const std::uint8_t> content, WireBytes& wire) const {
  const FramingSpec& framing = plan_->description.framing;
  wire.clear();
  switch (framing.kind) {
    case FramingKind::sized:
    case FramingKind::fixed:
    case FramingKind::silence:
      wire.assign(content);
      return;
    case FramingKind::cobs:
    case FramingKind::slip:
    case FramingKind::hdlc: {
      const Stuffing stuffing = stuffing_of(framing.kind);
      if (framing.leading_boundary) wire.push_back(boundary_of(stuffing));
      stuff(stuffing, content, wire);
      wire.push_back(boundary_of(stuffing));
      return;
    }
    case FramingKind::marked: {
      for (const std::uint8_t byte : framing.start) wire.push_back(byte);
      if (framing.hex_text) {
        hex_text(content, wire);
      } else {
        for (const std::uint8_t byte : content) wire.push_back(byte);
      }
      for (const std::uint8_t byte : framing.end) wire.push_back(byte);
      return;
    }
  }
}

std::uint32_t Protocol::wire_chars(const Frame& frame) const {
  const FramingSpec& framing = plan_->description.framing;
  std::size_t chars = content_bytes(frame);
  switch (framing.kind) {
    case FramingKind::sized:
    case FramingKind::fixed:
    case FramingKind::silence:
      break;
    case FramingKind::marked:
      chars = chars * (framing.hex_text ? 2 : 1) + framing.start.size() + framing.end.size();
      break;
    case FramingKind::cobs:
    case FramingKind::slip:
    case FramingKind::hdlc: {
      Content content;
      encode(frame, content);
      chars = stuffed_size(stuffing_of(framing.kind), content.view()) + (framing.leading_boundary ? 2 : 1);
      break;
    }
  }
  return static_cast<std::uint32_t>(chars);
}

bool Protocol::length_is_steady(std::uint32_t topic) const {
  const FramingKind framing = plan_->description.framing.kind;
  if (framing == FramingKind::slip || framing == FramingKind::hdlc) return false;
  if (framing == FramingKind::cobs && most_content() >= 254) return false;  // long runs without a zero cost a byte more
  const TopicSpec& spec = topic_spec(topic);
  const auto steady = [](const Layout& layout) {
    // Values of these decide whether other fields are there, or how often.
    const auto tells_quantity = [&](const std::vector<FieldSpec>& fields, const std::string& name) {
      return std::any_of(fields.begin(), fields.end(), [&](const FieldSpec& field) {
        return field.name == name && !field.quantity.empty() && field.quantity != "cell_count";
      });
    };
    std::vector<FieldSpec> plain;
    for (const LayoutItem& item : layout) {
      if (item.field) {
        if (!item.field->present_if.empty() && tells_quantity(plain, item.field->present_if)) return false;
        plain.push_back(*item.field);
        continue;
      }
      if (tells_quantity(plain, item.group->count_field)) return false;
      for (const FieldSpec& field : item.group->fields) {
        if (field.present_if.empty()) continue;
        if (tells_quantity(plain, field.present_if) || tells_quantity(item.group->fields, field.present_if))
          return false;
      }
    }
    return true;
  };
  return steady(spec.ask) && steady(spec.answer);
}

Damage Protocol::parse(std::span<const std::uint8_t> content, Frame& frame) const {
  const FramePlan& plan = plan_->frame;
  if (content.size() < plan.least) return Damage::too_short;
  if (content.size() > plan.most) return Damage::too_long;
  bool malformed = false;
  for (std::size_t i = 0; i < plan.slots.size(); ++i) {
    const SlotPlan& slot = plan.slots[i];
    const auto raw = plan.load(slot, content);
    malformed = malformed || !raw || (slot.demanded && *raw != *slot.spec->constant);
    frame.field[i] = raw.value_or(0);
  }
  std::fill(frame.field.begin() + static_cast<std::ptrdiff_t>(plan.slots.size()), frame.field.end(), std::uint64_t{0});
  frame.payload.assign(content.subspan(plan.zones.front, content.size() - plan.zones.front - plan.zones.back));
  frame.role = plan_->role_of(frame);
  if (malformed) return Damage::malformed;
  if (plan.size != no_index) {
    const auto said = plan.total_of(frame.field[plan.size]);
    if (!said) return Damage::malformed;
    if (*said > content.size()) return Damage::too_short;
    if (*said < content.size()) return Damage::too_long;
    if (plan.size_again != no_index && frame.field[plan.size_again] != frame.field[plan.size]) return Damage::malformed;
  }
  for (const CheckPlan& check : plan.checks) {
    if (!check.good(content, plan.zones)) return Damage::check;
  }
  return Damage::none;
}

std::optional<Frame> Protocol::as_read(const Frame& frame) const {
  Content content;
  encode(frame, content);
  Frame read;
  if (parse(content.view(), read) != Damage::none) return std::nullopt;
  return read;
}

std::optional<std::size_t> Protocol::sized_length(std::span<const std::uint8_t> start) const {
  const FramePlan& plan = plan_->frame;
  for (const KnownBits& known : plan.known) {
    if (known.byte >= start.size()) break;
    if ((start[known.byte] & known.mask) != known.value) return std::nullopt;
  }
  if (start.size() < plan.judged_bytes) return 0;
  const auto raw = plan.slots[plan.size].code.load(start.data(), plan.slots[plan.size].bit);
  if (!raw) return std::nullopt;
  const auto total = plan.total_of(*raw);
  if (!total) return std::nullopt;
  if (plan.size_again != no_index) {
    const SlotPlan& again = plan.slots[plan.size_again];
    if (again.code.load(start.data(), again.bit) != raw) return std::nullopt;
  }
  // A header check covers and stands in the front zone only, so where the frame ends does not matter to it.
  if (plan.header_check != no_index) {
    const auto front = start.first(std::min(start.size(), plan.zones.front));
    if (!plan.checks[plan.header_check].good(front, {plan.zones.front, 0})) return std::nullopt;
  }
  return total;
}

std::size_t Protocol::head_bytes() const { return plan_->frame.head_bytes; }

std::size_t Protocol::relay_head_bytes() const {
  return plan_->description.framing.kind == FramingKind::marked ? 0 : head_bytes();
}

std::optional<Frame> Protocol::parse_head(std::span<const std::uint8_t> head) const {
  const FramePlan& plan = plan_->frame;
  if (plan.head_bytes == 0 || head.size() < plan.head_bytes) return std::nullopt;
  head = head.first(plan.head_bytes);
  Frame frame;
  for (std::size_t i = 0; i < plan.slots.size(); ++i) {
    const SlotPlan& slot = plan.slots[i];
    if (slot.zone != Zone::front || slot.end_byte() > head.size()) break;
    const auto raw = slot.code.load(head.data(), slot.bit);
    if (!raw || (slot.demanded && *raw != *slot.spec->constant)) return std::nullopt;
    frame.field[i] = *raw;
  }
  if (plan.header_check != no_index && !plan.checks[plan.header_check].good(head, {plan.zones.front, 0})) {
    return std::nullopt;
  }
  frame.role = plan_->role_of(frame);
  return frame;
}

Nanos Protocol::end_silence(Period period) const {
  const FramingSpec& framing = plan_->description.framing;
  if (framing.kind == FramingKind::marked && framing.end.empty()) return abandon_silence(period);
  if (framing.kind != FramingKind::silence) return 0;
  const Nanos least = static_cast<Nanos>(framing.silence_least_us) * microsecond;
  if (framing.silence_fixed_above_baud != 0 && line().baud > framing.silence_fixed_above_baud) return least;
  return std::max(least, pause_of(framing.silence_char_tenths, line(), period));
}

Nanos Protocol::abandon_silence(Period period) const {
  const std::uint32_t tenths = plan_->description.framing.abandon_char_tenths;
  return tenths == 0 ? never : pause_of(tenths, line(), period);
}

Nanos Protocol::least_gap(Period period) const {
  const BusDescription& bus = plan_->description;
  const Nanos gap = pause_of(bus.forward.least_gap_char_tenths, line(), period);
  if (bus.framing.kind != FramingKind::silence) return gap;
  return std::max(gap, end_silence(period) + pause_of(5, line(), period));
}

}  // namespace hopbench
