// What a frame is and where it goes; frames made from nothing and from asks.
#include <algorithm>
#include <limits>

#include "bus/protocol_plan.h"

namespace hopbench {

Role Protocol::Plan::role_of(const Frame& frame_value) const {
  const RolesSpec& roles = description.roles;
  const FramePlan& frame = of(frame_value);
  if (frame.has(frame.mark) &&
      (frame_value.field[frame.mark] & roles.refusal_mark->mask) == roles.refusal_mark->value) {
    return Role::refusal;
  }
  if (frame.only_role) return *frame.only_role;
  if (!frame.has(frame.role)) return Role::ask;
  for (const auto& [role, code] : roles.role_codes) {
    if (frame_value.field[frame.role] == code) return role;
  }
  return Role::notice;
}

void Protocol::Plan::set(Frame& frame_value, std::size_t slot, std::uint64_t raw) const {
  if (!of(frame_value).has(slot)) return;
  const std::uint64_t limit = first().slots[slot].code.limit();
  frame_value.field[slot] = limit == std::numeric_limits<std::uint64_t>::max() ? raw : raw % (limit + 1);
}

void Protocol::Plan::set_constants(Frame& frame_value) const {
  const FramePlan& frame = of(frame_value);
  for (std::size_t i = 0; i < frame.slots.size(); ++i) {
    if (frame.slots[i].here && frame.slots[i].spec->constant) frame_value.field[i] = *frame.slots[i].spec->constant;
  }
}

/// Another shape for the frame: fields that this one does not have are 0.
void Protocol::Plan::take_shape(Frame& frame_value, std::uint8_t shape) const {
  frame_value.shape = shape;
  const FramePlan& frame = of(frame_value);
  for (std::size_t i = 0; i < frame.slots.size(); ++i) {
    if (!frame.slots[i].here) frame_value.field[i] = 0;
  }
}

void Protocol::Plan::set_role(Frame& frame_value, Role role) const {
  frame_value.role = role;
  const RolesSpec& roles = description.roles;
  const FramePlan& frame = of(frame_value);
  if (frame.has(frame.role)) {
    // A bus that marks refusals may have no code for them: a marked answer.
    for (const Role wanted : {role, Role::answer}) {
      const auto code = std::find_if(roles.role_codes.begin(), roles.role_codes.end(),
                                     [&](const auto& pair) { return pair.first == wanted; });
      if (code == roles.role_codes.end()) continue;
      frame_value.field[frame.role] = code->second;
      break;
    }
  }
  if (role == Role::refusal && frame.has(frame.mark)) {
    frame_value.field[frame.mark] =
        (frame_value.field[frame.mark] & ~roles.refusal_mark->mask) | roles.refusal_mark->value;
  }
}

Protocol::Bound Protocol::bound_for(const Frame& frame, std::optional<std::uint64_t> own_address) const {
  const RolesSpec& roles = plan_->description.roles;
  const FramePlan& plan = plan_->of(frame);
  const bool by_distance = !roles.distance.empty();
  if (!plan.has(plan.destination)) return frame.role == Role::ask ? Bound::here : Bound::controller;
  const std::uint64_t to = frame.field[plan.destination];
  if (!by_distance && plan.source == no_index && frame.role != Role::ask) return Bound::controller;
  if (std::find(roles.broadcast.begin(), roles.broadcast.end(), to) != roles.broadcast.end()) return Bound::everyone;
  if (to == roles.controller_address) return Bound::controller;
  if (by_distance) return to == 0 ? Bound::here : Bound::elsewhere;
  if (own_address && to == *own_address) return Bound::here;
  if (roles.first_unenrolled && to == *roles.first_unenrolled) return Bound::first_unenrolled;
  return Bound::elsewhere;
}

std::optional<std::uint64_t> Protocol::destination(const Frame& frame) const {
  const FramePlan& plan = plan_->of(frame);
  if (!plan.has(plan.destination)) return std::nullopt;
  return frame.field[plan.destination];
}

bool Protocol::may_be_an_address(std::uint64_t address) const {
  const RolesSpec& roles = plan_->description.roles;
  const std::size_t slot = plan_->first().destination;
  if (slot == no_index || address > plan_->first().slots[slot].code.limit()) return false;
  return address != roles.controller_address && roles.first_unenrolled != address &&
         std::find(roles.broadcast.begin(), roles.broadcast.end(), address) == roles.broadcast.end();
}

bool Protocol::same_on_its_way(const Frame& a, const Frame& b) const {
  if (a.shape != b.shape || a.payload != b.payload) return false;
  const auto& rewrites = plan_->of(a).rewrites;
  for (std::size_t i = 0; i < plan_->of(a).slots.size(); ++i) {
    const bool rewritten =
        std::any_of(rewrites.begin(), rewrites.end(), [i](const RewritePlan& each) { return each.slot == i; });
    if (!rewritten && a.field[i] != b.field[i]) return false;
  }
  return true;
}

std::optional<std::uint64_t> Protocol::source(const Frame& frame) const {
  const FramePlan& plan = plan_->of(frame);
  if (plan.has(plan.source)) return frame.field[plan.source];
  const bool address_is_sender = plan_->description.roles.source.empty() &&
                                 !plan_->description.roles.destination.empty() && plan.has(plan.destination) &&
                                 (frame.role == Role::answer || frame.role == Role::refusal);
  if (address_is_sender) return frame.field[plan.destination];
  return std::nullopt;
}

std::optional<std::uint64_t> Protocol::exchange(const Frame& frame) const {
  const FramePlan& plan = plan_->of(frame);
  if (!plan.has(plan.exchange)) return std::nullopt;
  return frame.field[plan.exchange];
}

std::uint64_t Protocol::exchange_limit() const {
  const std::size_t slot = plan_->first().exchange;
  return slot == no_index ? 0 : plan_->first().slots[slot].code.limit();
}

std::optional<std::uint64_t> Protocol::passes_left(const Frame& frame) const {
  const FramePlan& plan = plan_->of(frame);
  if (!plan.has(plan.passes_left)) return std::nullopt;
  return frame.field[plan.passes_left];
}

std::optional<std::uint32_t> Protocol::topic(const Frame& frame) const {
  const FramePlan& plan = plan_->of(frame);
  const BusDescription& bus = plan_->description;
  if (plan.topic == no_index) return bus.topics.empty() ? std::nullopt : std::optional<std::uint32_t>{0};
  if (!plan.has(plan.topic)) return std::nullopt;
  const bool answers = frame.role == Role::answer || frame.role == Role::refusal;
  std::uint64_t code = frame.field[plan.topic];
  if (plan.mark == plan.topic && (code & bus.roles.refusal_mark->mask) == bus.roles.refusal_mark->value) {
    code &= ~bus.roles.refusal_mark->mask;
  }
  for (std::size_t i = 0; i < bus.topics.size(); ++i) {
    const TopicSpec& each = bus.topics[i];
    if ((answers ? each.answer_code.value_or(each.code) : each.code) == code) return static_cast<std::uint32_t>(i);
  }
  return std::nullopt;
}

bool Protocol::names_topic(const Frame& frame) const { return plan_->names_topic(frame); }

bool Protocol::may_answer(const Frame& answer, std::uint32_t topic_number) const {
  if (plan_->names_topic(answer)) return topic(answer) == topic_number;
  return topic_number < plan_->topics.size() && plan_->topics[topic_number].answer_shape == answer.shape;
}

bool Protocol::shape_tells_role(const Frame& frame) const { return plan_->of(frame).only_role.has_value(); }

std::optional<std::uint32_t> Protocol::topic_named(std::string_view name) const {
  const auto& topics = plan_->description.topics;
  for (std::size_t i = 0; i < topics.size(); ++i) {
    if (topics[i].name == name) return static_cast<std::uint32_t>(i);
  }
  return std::nullopt;
}

const TopicSpec& Protocol::topic_spec(std::uint32_t topic) const { return plan_->description.topics.at(topic); }

Frame Protocol::ask(std::uint32_t topic, std::uint64_t destination, std::uint64_t exchange,
                    std::uint64_t passes_left) const {
  Frame frame;
  frame.shape = plan_->topics.at(topic).ask_shape;
  const FramePlan& plan = plan_->of(frame);
  plan_->set_constants(frame);
  plan_->set(frame, plan.source, plan_->description.roles.controller_address);
  plan_->set(frame, plan.destination, destination);
  plan_->set(frame, plan.exchange, exchange);
  plan_->set(frame, plan.passes_left, passes_left);
  plan_->set(frame, plan.topic, topic_spec(topic).code);
  plan_->set_role(frame, Role::ask);
  return frame;
}

/// Header of an answer of this shape to `ask`.
Frame Protocol::Plan::answer_header(const Frame& ask, std::optional<std::uint32_t> topic, std::uint8_t shape,
                                    std::uint64_t own_address, std::uint64_t passes_left) const {
  const RolesSpec& roles = description.roles;
  Frame frame;
  frame.field = ask.field;  // exchange, topic, and whatever else the bus carries
  take_shape(frame, shape);
  const FramePlan& plan = of(frame);
  set_constants(frame);
  for (std::size_t i = 0; i < plan.slots.size(); ++i) {
    if (plan.slots[i].spec->in_answers) set(frame, i, *plan.slots[i].spec->in_answers);
  }
  if (topic && description.topics[*topic].answer_code) set(frame, plan.topic, *description.topics[*topic].answer_code);
  if (!roles.distance.empty()) {
    set(frame, plan.destination, roles.controller_address);
  } else if (plan.has(plan.source)) {
    set(frame, plan.destination, ask.field[plan.source]);
  } else {
    set(frame, plan.destination, own_address);  // the one address names the node both ways
  }
  set(frame, plan.source, own_address);
  set(frame, plan.passes_left, passes_left);
  set_role(frame, Role::answer);
  return frame;
}

Frame Protocol::answer_to(const Frame& ask, std::uint64_t own_address, std::uint64_t passes_left) const {
  const auto asked = topic(ask);
  const std::uint8_t shape = asked ? plan_->topics[*asked].answer_shape : std::uint8_t{0};
  return plan_->answer_header(ask, asked, shape, own_address, passes_left);
}

void Protocol::name_exchange(Frame& frame, std::uint64_t number) const {
  const FramePlan& plan = plan_->of(frame);
  if (plan.has(plan.exchange)) plan_->set(frame, plan.exchange, number & exchange_limit());
}

bool Protocol::can_refuse() const {
  const RolesSpec& roles = plan_->description.roles;
  if (plan_->first().mark != no_index) return true;
  return plan_->first().role != no_index && std::any_of(roles.role_codes.begin(), roles.role_codes.end(),
                                                        [](const auto& pair) { return pair.first == Role::refusal; });
}

Frame Protocol::refusal_of(const Frame& ask, std::uint64_t own_address, std::uint64_t passes_left,
                           Refusal reason) const {
  if (!can_refuse()) return answer_to(ask, own_address, passes_left);
  const auto asked_topic = topic(ask);
  Frame frame = plan_->answer_header(ask, asked_topic, 0, own_address, passes_left);
  plan_->set_role(frame, Role::refusal);
  std::size_t bits = 0;
  for (const ItemPlan& item : plan_->refusal.items()) {
    const FieldPlan& field = item.fields.front();
    std::uint64_t raw = field.spec->constant.value_or(0);
    if (!field.spec->copied_from_ask.empty() && asked_topic) {
      raw = value_of(ask, Side::ask, field.spec->copied_from_ask).value_or(0);
    }
    if (plan_->refusal_code && &field == &plan_->refusal.items()[plan_->refusal_code->item].fields.front()) {
      const auto& codes = plan_->description.roles.refusal_codes;
      if (!codes.empty()) raw = codes.front().second;
      const auto code_for = [&](Refusal wanted) {
        for (const auto& [name, code] : codes) {
          if (name == name_of(wanted)) raw = code;
        }
      };
      if (reason == Refusal::too_long) code_for(Refusal::bad_value);
      code_for(reason);
    }
    const std::size_t end = bits + field.code.bits_of(raw);
    frame.payload.resize((end + 7) / 8);
    if (field.code.varies) {
      field.code.store_text(frame.payload.view().data() + bits / 8, raw);
    } else {
      field.code.store(frame.payload.view().data(), bits, raw);
    }
    bits = end;
  }
  if (plan_->padded) frame.payload.resize(plan_->first().most_payload);
  return frame;
}

std::optional<std::uint64_t> Protocol::refusal_code(const Frame& refusal) const {
  if (!plan_->refusal_code) return std::nullopt;
  return plan_->refusal.raw_at(refusal.payload.view(), *plan_->refusal_code, 0);
}

}  // namespace hopbench
