// What a frame is and where it goes; frames made from nothing and from asks.
#include <algorithm>
#include <limits>

#include "bus/protocol_plan.h"

namespace hopbench {

Role Protocol::Plan::role_of(const Frame& frame_value) const {
  const RolesSpec& roles = description.roles;
  if (frame.mark != no_index &&
      (frame_value.field[frame.mark] & roles.refusal_mark->mask) == roles.refusal_mark->value) {
    return Role::refusal;
  }
  if (frame.role == no_index) return Role::ask;
  for (const auto& [role, code] : roles.role_codes) {
    if (frame_value.field[frame.role] == code) return role;
  }
  return Role::notice;
}

void Protocol::Plan::set(Frame& frame_value, std::size_t slot, std::uint64_t raw) const {
  if (slot == no_index) return;
  const std::uint64_t limit = frame.slots[slot].code.limit();
  frame_value.field[slot] = limit == std::numeric_limits<std::uint64_t>::max() ? raw : raw % (limit + 1);
}

void Protocol::Plan::set_constants(Frame& frame_value) const {
  for (std::size_t i = 0; i < frame.slots.size(); ++i) {
    if (frame.slots[i].spec->constant) frame_value.field[i] = *frame.slots[i].spec->constant;
  }
}

void Protocol::Plan::set_role(Frame& frame_value, Role role) const {
  frame_value.role = role;
  const RolesSpec& roles = description.roles;
  if (frame.role != no_index) {
    // A bus that marks refusals may have no code for them: a marked answer.
    for (const Role wanted : {role, Role::answer}) {
      const auto code = std::find_if(roles.role_codes.begin(), roles.role_codes.end(),
                                     [&](const auto& pair) { return pair.first == wanted; });
      if (code == roles.role_codes.end()) continue;
      frame_value.field[frame.role] = code->second;
      break;
    }
  }
  if (role == Role::refusal && frame.mark != no_index) {
    frame_value.field[frame.mark] =
        (frame_value.field[frame.mark] & ~roles.refusal_mark->mask) | roles.refusal_mark->value;
  }
}

Protocol::Bound Protocol::bound_for(const Frame& frame, std::optional<std::uint64_t> own_address) const {
  const RolesSpec& roles = plan_->description.roles;
  const FramePlan& plan = plan_->frame;
  const bool by_distance = !roles.distance.empty();
  if (plan.destination == no_index) return frame.role == Role::ask ? Bound::here : Bound::controller;
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
  if (plan_->frame.destination == no_index) return std::nullopt;
  return frame.field[plan_->frame.destination];
}

bool Protocol::may_be_an_address(std::uint64_t address) const {
  const RolesSpec& roles = plan_->description.roles;
  const std::size_t slot = plan_->frame.destination;
  if (slot == no_index || address > plan_->frame.slots[slot].code.limit()) return false;
  return address != roles.controller_address && roles.first_unenrolled != address &&
         std::find(roles.broadcast.begin(), roles.broadcast.end(), address) == roles.broadcast.end();
}

bool Protocol::same_on_its_way(const Frame& a, const Frame& b) const {
  if (a.payload != b.payload) return false;
  const auto& rewrites = plan_->frame.rewrites;
  for (std::size_t i = 0; i < plan_->frame.slots.size(); ++i) {
    const bool rewritten =
        std::any_of(rewrites.begin(), rewrites.end(), [i](const RewritePlan& each) { return each.slot == i; });
    if (!rewritten && a.field[i] != b.field[i]) return false;
  }
  return true;
}

std::optional<std::uint64_t> Protocol::source(const Frame& frame) const {
  const FramePlan& plan = plan_->frame;
  if (plan.source != no_index) return frame.field[plan.source];
  const bool address_is_sender = !plan_->description.roles.destination.empty() && plan.destination != no_index &&
                                 (frame.role == Role::answer || frame.role == Role::refusal);
  if (address_is_sender) return frame.field[plan.destination];
  return std::nullopt;
}

std::optional<std::uint64_t> Protocol::exchange(const Frame& frame) const {
  if (plan_->frame.exchange == no_index) return std::nullopt;
  return frame.field[plan_->frame.exchange];
}

std::uint64_t Protocol::exchange_limit() const {
  const std::size_t slot = plan_->frame.exchange;
  return slot == no_index ? 0 : plan_->frame.slots[slot].code.limit();
}

std::optional<std::uint64_t> Protocol::passes_left(const Frame& frame) const {
  if (plan_->frame.passes_left == no_index) return std::nullopt;
  return frame.field[plan_->frame.passes_left];
}

std::optional<std::uint32_t> Protocol::topic(const Frame& frame) const {
  const FramePlan& plan = plan_->frame;
  const BusDescription& bus = plan_->description;
  if (plan.topic == no_index) return bus.topics.empty() ? std::nullopt : std::optional<std::uint32_t>{0};
  std::uint64_t code = frame.field[plan.topic];
  if (plan.mark == plan.topic && (code & bus.roles.refusal_mark->mask) == bus.roles.refusal_mark->value) {
    code &= ~bus.roles.refusal_mark->mask;
  }
  for (std::size_t i = 0; i < bus.topics.size(); ++i) {
    if (bus.topics[i].code == code) return static_cast<std::uint32_t>(i);
  }
  return std::nullopt;
}

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
  const FramePlan& plan = plan_->frame;
  Frame frame;
  plan_->set_constants(frame);
  plan_->set(frame, plan.source, plan_->description.roles.controller_address);
  plan_->set(frame, plan.destination, destination);
  plan_->set(frame, plan.exchange, exchange);
  plan_->set(frame, plan.passes_left, passes_left);
  plan_->set(frame, plan.topic, topic_spec(topic).code);
  plan_->set_role(frame, Role::ask);
  return frame;
}

Frame Protocol::answer_to(const Frame& ask, std::uint64_t own_address, std::uint64_t passes_left) const {
  const FramePlan& plan = plan_->frame;
  const RolesSpec& roles = plan_->description.roles;
  Frame frame;
  frame.field = ask.field;  // exchange, topic, and whatever else the bus carries
  plan_->set_constants(frame);
  if (!roles.distance.empty()) {
    plan_->set(frame, plan.destination, roles.controller_address);
  } else if (plan.source != no_index) {
    plan_->set(frame, plan.destination, ask.field[plan.source]);
  } else {
    plan_->set(frame, plan.destination, own_address);  // the one address names the node both ways
  }
  plan_->set(frame, plan.source, own_address);
  plan_->set(frame, plan.passes_left, passes_left);
  plan_->set_role(frame, Role::answer);
  return frame;
}

void Protocol::name_exchange(Frame& frame, std::uint64_t number) const {
  const FramePlan& plan = plan_->frame;
  if (plan.exchange != no_index) plan_->set(frame, plan.exchange, number & exchange_limit());
}

bool Protocol::can_refuse() const {
  const RolesSpec& roles = plan_->description.roles;
  if (plan_->frame.mark != no_index) return true;
  return plan_->frame.role != no_index && std::any_of(roles.role_codes.begin(), roles.role_codes.end(),
                                                      [](const auto& pair) { return pair.first == Role::refusal; });
}

Frame Protocol::refusal_of(const Frame& ask, std::uint64_t own_address, std::uint64_t passes_left,
                           Refusal reason) const {
  Frame frame = answer_to(ask, own_address, passes_left);
  if (!can_refuse()) return frame;
  plan_->set_role(frame, Role::refusal);
  const auto asked_topic = topic(ask);
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
    frame.payload.resize((bits + field.code.bits + 7) / 8);
    field.code.store(frame.payload.view().data(), bits, raw);
    bits += field.code.bits;
  }
  if (plan_->padded) frame.payload.resize(plan_->frame.most_payload);
  return frame;
}

std::optional<std::uint64_t> Protocol::refusal_code(const Frame& refusal) const {
  if (!plan_->refusal_code) return std::nullopt;
  return plan_->refusal.raw_at(refusal.payload.view(), *plan_->refusal_code, 0);
}

}  // namespace hopbench
