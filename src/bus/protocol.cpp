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

Protocol::Plan::Plan(BusDescription bus) : description(std::move(bus)) {
  for (std::size_t shape = 0; shape <= description.shapes.size(); ++shape) shapes.emplace_back(description, shape);
  for (const TopicSpec& spec : description.topics) {
    TopicPlan plan;
    plan.ask = LayoutPlan(spec.ask, nullptr);
    plan.answer = LayoutPlan(spec.answer, &plan.ask);
    if (!spec.first_field.empty()) plan.first = plan.ask.find(spec.first_field);
    if (!spec.count_field.empty()) plan.count = plan.ask.find(spec.count_field);
    plan.ask_values = group_named(spec.ask, spec.values_group);
    if (plan.ask_values == no_index) plan.answer_values = group_named(spec.answer, spec.values_group);
    plan.ask_shape = static_cast<std::uint8_t>(shape_named(description, spec.ask_shape).value_or(0));
    plan.answer_shape = static_cast<std::uint8_t>(shape_named(description, spec.answer_shape).value_or(0));
    topics.push_back(std::move(plan));
  }
  refusal = LayoutPlan(description.roles.refusal, nullptr);
  refusal_code = refusal.find(description.roles.refusal_code_field);
  padded = description.framing.kind == FramingKind::fixed;
}

Protocol::Protocol(BusDescription description) : plan_(std::make_unique<const Plan>(std::move(description))) {}
Protocol::~Protocol() = default;

const BusDescription& Protocol::description() const { return plan_->description; }

std::uint8_t Protocol::Plan::shape_of(std::span<const std::uint8_t> content) const {
  for (std::size_t shape = 0; shapes.size() > 1 && shape < shapes.size(); ++shape) {
    if (shapes[shape].leads(content)) return static_cast<std::uint8_t>(shape);
  }
  return 0;
}

std::size_t Protocol::most_content() const {
  std::size_t most = 0;
  for (const FramePlan& shape : plan_->shapes) most = std::max(most, shape.most);
  return most;
}

std::size_t Protocol::most_payload() const {
  std::size_t most = 0;
  for (const FramePlan& shape : plan_->shapes) most = std::max(most, shape.most_payload);
  return most;
}

std::size_t Protocol::content_bytes(const Frame& frame) const {
  const FramePlan& plan = plan_->of(frame);
  return plan.total_for(plan.payload_bytes(frame.payload.size()));
}

bool Protocol::is_checked(const Frame& frame) const {
  const FramePlan& plan = plan_->of(frame);
  return plan_->shapes.size() == 1 || !plan.checks.empty() || plan.blocks;
}

namespace {

/// The payload where it goes, filled up with zeros to `bytes`, in blocks if the plan says so.
void put_payload(const FramePlan& plan, std::span<const std::uint8_t> payload, std::size_t bytes,
                 std::span<std::uint8_t> room) {
  payload = payload.first(std::min(payload.size(), bytes));
  std::size_t at = 0;
  for (std::size_t from = 0; from < bytes;) {
    const std::size_t block = plan.blocks ? std::min(plan.blocks->bytes, bytes - from) : bytes;
    const auto given = payload.subspan(std::min(from, payload.size()));
    const auto taken = given.first(std::min(given.size(), block));
    const auto place = room.subspan(at, block);
    std::copy(taken.begin(), taken.end(), place.begin());
    std::fill(place.begin() + static_cast<std::ptrdiff_t>(taken.size()), place.end(), std::uint8_t{0});
    at += block;
    from += block;
    if (!plan.blocks) continue;
    plan.blocks->check.put_at(room.data() + at, plan.blocks->check.value_of(place));
    at += plan.blocks->check.bytes();
  }
}

/// The payload out of its blocks, whose checks are wrong, cut off or no digits if that is not `none`.
Damage take_payload(const BlockPlan& blocks, std::span<const std::uint8_t> sent, Content& payload) {
  payload.clear();
  Damage damage = Damage::none;
  while (!sent.empty()) {
    if (sent.size() <= blocks.check.bytes()) return Damage::too_short;
    const auto block = sent.first(std::min(blocks.bytes, sent.size() - blocks.check.bytes()));
    for (const std::uint8_t byte : block) payload.push_back(byte);
    const auto stands = blocks.check.stands_at(sent.data() + block.size());
    if (!stands) return Damage::malformed;
    if (*stands != blocks.check.value_of(block)) damage = Damage::check;
    sent = sent.subspan(block.size() + blocks.check.bytes());
  }
  return damage;
}

}  // namespace

void Protocol::encode(const Frame& frame, Content& content) const {
  const FramePlan& plan = plan_->of(frame);
  const std::size_t payload = plan.payload_bytes(frame.payload.size());
  const std::size_t total = plan.total_for(payload);
  content.resize(total);
  const auto bytes = content.view();
  for (std::size_t i = 0; i < plan.slots.size(); ++i) {
    const SlotPlan& slot = plan.slots[i];
    if (!slot.here) continue;
    std::uint64_t raw = slot.demanded ? *slot.spec->constant : frame.field[i];
    if (i == plan.size || i == plan.size_again) raw = plan.raw_size_of(payload);
    plan.store(slot, bytes, raw);
  }
  put_payload(plan, frame.payload.view(), payload,
              bytes.subspan(plan.zones.front, total - plan.zones.front - plan.zones.back));
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

namespace {

/// Whether a number that is told in it takes as many characters as it needs.
bool has_numbers_that_grow(const Layout& layout) {
  const auto grows = [](const FieldSpec& field) { return field.varies_in_width() && !field.constant; };
  return std::any_of(layout.begin(), layout.end(), [&](const LayoutItem& item) {
    return (item.field && grows(*item.field)) ||
           (item.group && std::any_of(item.group->fields.begin(), item.group->fields.end(), grows));
  });
}

}  // namespace

bool Protocol::length_is_steady(std::uint32_t topic) const {
  const FramingKind framing = plan_->description.framing.kind;
  if (framing == FramingKind::slip || framing == FramingKind::hdlc) return false;
  if (framing == FramingKind::cobs && most_content() >= 254) return false;  // long runs without a zero cost a byte more
  const TopicSpec& spec = topic_spec(topic);
  if (has_numbers_that_grow(spec.ask) || has_numbers_that_grow(spec.answer)) return false;
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
  frame.shape = plan_->shape_of(content);
  const FramePlan& plan = plan_->of(frame);
  if (content.size() < plan.least) return Damage::too_short;
  if (content.size() > plan.most) return Damage::too_long;
  bool malformed = false;
  std::fill(frame.field.begin(), frame.field.end(), std::uint64_t{0});
  for (std::size_t i = 0; i < plan.slots.size(); ++i) {
    const SlotPlan& slot = plan.slots[i];
    if (!slot.here) continue;
    const auto raw = plan.load(slot, content);
    malformed = malformed || !raw || (slot.demanded && *raw != *slot.spec->constant);
    frame.field[i] = raw.value_or(0);
  }
  const auto sent = content.subspan(plan.zones.front, content.size() - plan.zones.front - plan.zones.back);
  Damage in_blocks = Damage::none;
  if (plan.blocks) {
    in_blocks = take_payload(*plan.blocks, sent, frame.payload);
  } else {
    frame.payload.assign(sent);
  }
  frame.role = plan_->role_of(frame);
  if (malformed) return Damage::malformed;
  if (plan.size != no_index) {
    const auto said = plan.total_of(frame.field[plan.size]);
    if (!said) return Damage::malformed;
    if (*said > content.size()) return Damage::too_short;
    if (*said < content.size()) return Damage::too_long;
    if (plan.size_again != no_index && frame.field[plan.size_again] != frame.field[plan.size]) return Damage::malformed;
  }
  if (in_blocks == Damage::too_short || in_blocks == Damage::malformed) return in_blocks;
  Damage damage = in_blocks;
  for (const CheckPlan& check : plan.checks) {
    const auto stands = check.stands(content, plan.zones);
    if (!stands) return Damage::malformed;
    if (damage == Damage::none && *stands != check.value_over(content, plan.zones)) damage = Damage::check;
  }
  return damage;
}

std::optional<Frame> Protocol::as_read(const Frame& frame) const {
  Content content;
  encode(frame, content);
  Frame read;
  if (parse(content.view(), read) != Damage::none) return std::nullopt;
  return read;
}

namespace {

/// What Protocol::sized_length says of a frame of this shape.
std::optional<std::size_t> sized_length_of(const FramePlan& plan, std::span<const std::uint8_t> start) {
  for (const KnownBits& known : plan.known) {
    if (known.byte >= start.size()) break;
    if ((start[known.byte] & known.mask) != known.value) return std::nullopt;
  }
  if (start.size() < plan.judged_bytes) return 0;
  if (plan.size == no_index) return plan.least;
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

}  // namespace

std::optional<std::size_t> Protocol::sized_length(std::span<const std::uint8_t> start) const {
  for (const FramePlan& shape : plan_->shapes) {
    if (const auto length = sized_length_of(shape, start)) return length;
  }
  return std::nullopt;
}

std::size_t Protocol::head_bytes() const { return plan_->first().head_bytes; }

std::size_t Protocol::relay_head_bytes() const {
  return plan_->description.framing.kind == FramingKind::marked ? 0 : head_bytes();
}

std::optional<Frame> Protocol::parse_head(std::span<const std::uint8_t> head) const {
  const FramePlan& plan = plan_->first();
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
