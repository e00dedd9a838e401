#include "text/plan_loader.h"

#include <fmt/format.h>

#include <algorithm>
#include <numeric>
#include <set>

#include "bus/bits.h"
#include "bus/frame.h"
#include "text/chain_loader.h"
#include "text/kind_loader.h"
#include "text/readers.h"
#include "text/suggest.h"
#include "text/topic_check.h"

namespace hopbench {
namespace {

constexpr std::uint64_t most_every = 1'000'000;
constexpr std::uint32_t most_retries = 100;
constexpr int most_polls = 1000;
constexpr int most_arguments = 64;

static_assert(static_cast<int>(OnLate::match_exchange) == text::Controller::MATCH_EXCHANGE);
static_assert(static_cast<int>(OnLate::accept) == text::Controller::ACCEPT);

const TopicSpec* topic_named(const BusDescription* bus, const std::string& name) {
  if (bus == nullptr) return nullptr;
  for (const TopicSpec& topic : bus->topics) {
    if (topic.name == name) return &topic;
  }
  return nullptr;
}

/// A field of an ask that can be given a value, and whether it has to be.
struct Slot {
  std::string name;
  std::uint64_t limit = 0;
  bool needed = false;
};

/// Whether a count field of the ask follows from the number of values asked for, which another field tells.
bool is_derived_count(const TopicSpec& topic, const GroupSpec& group) {
  return group.name == topic.values_group && group.count_field != topic.count_field;
}

std::vector<Slot> slots_of(const TopicSpec& topic) {
  std::set<std::string> derived;
  for (const LayoutItem& item : topic.ask) {
    if (item.group && !item.group->count_field.empty() && is_derived_count(topic, *item.group))
      derived.insert(item.group->count_field);
  }
  std::vector<Slot> slots;
  for (const LayoutItem& item : topic.ask) {
    if (item.field && !item.field->constant) {
      const bool needed = item.field->present_if.empty() && derived.count(item.field->name) == 0;
      slots.push_back({item.field->name, FieldCode::limit_of(*item.field), needed});
    }
    if (!item.group) continue;
    const bool values = item.group->name == topic.values_group;
    // How often a group comes that nothing in the frame counts.
    if (item.group->to_end && !values) slots.push_back({item.group->name, max_frame_bytes, false});
    for (const FieldSpec& field : item.group->fields) {
      const bool needed = (values || item.group->times > 0) && field.present_if.empty();
      if (!field.constant) slots.push_back({field.name, FieldCode::limit_of(field), needed});
    }
  }
  return slots;
}

/// Arguments of a poll, checked once, then made into numbers for each node.
class Arguments {
 public:
  Arguments(const text::Poll& poll, const TopicSpec& topic, const Spot& spot) {
    const std::vector<Slot> slots = slots_of(topic);
    if (too_many(spot, "with", poll.with_size(), most_arguments)) return;
    for (int i = 0; i < poll.with_size(); ++i) {
      take(poll.with(i), slots, poll.to_everyone(), topic, spot.in("with", i));
    }
    for (const Slot& slot : slots) {
      if (!slot.needed || given_.count(slot.name) != 0) continue;
      spot.say(fmt::format("the ask of {} needs a value for {}: with {{ field: \"{}\" value: ... }}", topic.name,
                           slot.name, slot.name));
    }
  }

  [[nodiscard]] std::vector<std::pair<std::string, std::uint64_t>> for_node(const NodeSpec* node,
                                                                            const KindSpec* kind) {
    std::vector<std::pair<std::string, std::uint64_t>> result;
    for (Given& given : arguments_) {
      std::uint64_t value = given.argument->value();
      if (given.argument->has_own() && node != nullptr && kind != nullptr) {
        const bool cells = given.argument->own() == text::Argument::CELLS;
        value = cells ? kind->cells : node->address;
        if (value > given.limit && !given.told) {
          given.told = true;  // once is enough
          given.spot.in("own").say(
              fmt::format("{} {}, and the field {} of the ask holds 0 to {}; make it wider", node->name,
                          cells ? fmt::format("has {} cells", value) : fmt::format("has the address {}", value),
                          given.argument->field(), given.limit));
        }
      }
      result.emplace_back(given.argument->field(), value);
    }
    return result;
  }

 private:
  struct Given {
    const text::Argument* argument;
    Spot spot;
    std::uint64_t limit;  // of the field
    bool told = false;
  };
  std::vector<Given> arguments_;
  std::set<std::string> given_;

  void take(const text::Argument& argument, const std::vector<Slot>& slots, bool to_everyone, const TopicSpec& topic,
            const Spot& spot) {
    const auto slot =
        std::find_if(slots.begin(), slots.end(), [&](const Slot& s) { return s.name == argument.field(); });
    if (argument.field().empty()) {
      spot.say("with needs a field and a value: with { field: \"...\" value: ... }");
    } else if (slots.empty()) {
      spot.in("field").say(fmt::format("the ask of {} has no field that takes a value", topic.name));
    } else if (slot == slots.end()) {
      std::vector<std::string> known;
      for (const Slot& s : slots) {
        if (!given_.contains(s.name)) known.push_back(s.name);  // none is given twice
      }
      spot.in("field").say(fmt::format("the ask of {} has no field {} that takes a value{}", topic.name,
                                       in_quotes(argument.field()), suggestion(argument.field(), known)));
    } else if (!given_.insert(argument.field()).second) {
      spot.in("field").say(fmt::format("{} is given twice", argument.field()));
    } else if (argument.what_case() == text::Argument::WHAT_NOT_SET) {
      spot.say(fmt::format("{} needs a value: value: 0, or own: CELLS", argument.field()));
    } else if (argument.has_own() && to_everyone) {
      spot.in("own").say("own cannot be used to everyone: no one node is asked");
    } else if (argument.has_value()) {
      check_range(spot, "value", argument.value(), 0, slot->limit);
    }
    arguments_.push_back({&argument, spot, slot == slots.end() ? ~std::uint64_t{0} : slot->limit});
  }
};

void read_poll(const text::Poll& poll, const Spot& spot, const ChainDescription& chain, const BusDescription* bus,
               std::vector<PlanEntry>& entries) {
  check_name(spot, poll.name(), "poll");
  if (poll.topic().empty()) {
    spot.say("a poll needs a topic");
  } else {
    check_topic(spot.in("topic"), poll.topic(), bus);
  }
  const std::uint64_t every = poll.has_every() ? poll.every() : 1;
  check_range(spot, "every", every, 1, most_every);
  if (poll.nodes_size() == 0 && !poll.to_everyone())
    spot.say("a poll needs nodes (\"*\" for all) or to_everyone: true");
  if (poll.nodes_size() > 0 && poll.to_everyone())
    spot.in("to_everyone").say("a poll has nodes or to_everyone, not both");
  if (poll.to_everyone() && bus != nullptr && bus->roles.broadcast.empty()) {
    spot.in("to_everyone")
        .say(fmt::format("the bus {} has no address that means everyone (roles.broadcast)", bus->name));
  }
  const TopicSpec* topic = topic_named(bus, poll.topic());
  if (topic == nullptr) return;
  Arguments arguments{poll, *topic, spot};
  if (poll.to_everyone()) {
    entries.push_back({fmt::format("{}/{}", poll.name(), everyone), 0xffff, poll.topic(),
                       arguments.for_node(nullptr, nullptr), every});
    return;
  }
  for (const std::uint16_t n : pick_nodes(poll.nodes(), "nodes", spot, chain)) {
    const NodeSpec& node = chain.nodes[n];
    const KindSpec* kind = node.kind < chain.kinds.size() ? &chain.kinds[node.kind] : nullptr;
    entries.push_back(
        {fmt::format("{}/{}", poll.name(), node.name), n, poll.topic(), arguments.for_node(&node, kind), every});
  }
}

struct Plan {
  std::vector<PlanEntry> entries;
  std::vector<Spot> spots;  // of the poll that each comes from
};

/// Each node is asked by all its polls before the next node.
void order_by_node(Plan& plan) {
  std::vector<std::size_t> order(plan.entries.size());
  std::iota(order.begin(), order.end(), std::size_t{0});
  // Everyone's number is the largest there is; one more wraps it round to the front.
  const auto place = [&](std::size_t i) { return static_cast<std::uint16_t>(plan.entries[i].node + 1); };
  std::stable_sort(order.begin(), order.end(), [&](std::size_t a, std::size_t b) { return place(a) < place(b); });
  Plan sorted;
  for (const std::size_t i : order) {
    sorted.entries.push_back(std::move(plan.entries[i]));
    sorted.spots.push_back(plan.spots[i]);
  }
  plan = std::move(sorted);
}

Plan plan_from(const text::Controller& controller, const Spot& spot, const ChainDescription& chain,
               const BusDescription* bus) {
  Plan plan;
  std::set<std::string> names;
  if (controller.poll_size() == 0) {
    spot.say(
        "the plan is empty: controller needs at least one poll, for example poll { name: \"cells\" topic: \"...\" "
        "nodes: \"*\" }");
  }
  if (too_many(spot, "poll", controller.poll_size(), most_polls)) return plan;
  for (int i = 0; i < controller.poll_size(); ++i) {
    const Spot here = spot.in("poll", i);
    if (!names.insert(controller.poll(i).name()).second && !controller.poll(i).name().empty()) {
      here.in("name").say(
          fmt::format("there are two polls {}; each needs a name of its own", in_quotes(controller.poll(i).name())));
    }
    read_poll(controller.poll(i), here, chain, bus, plan.entries);
    plan.spots.resize(plan.entries.size(), here);
    if (plan.entries.size() > max_entries) {
      here.say(fmt::format("the plan has more than {} entries (one for each poll and node)", max_entries));
      return plan;
    }
  }
  if (controller.order() == text::Controller::NODE_BY_NODE) order_by_node(plan);
  return plan;
}

BackOffSpec back_off_from(const text::BackOff& back_off, const Spot& spot) {
  BackOffSpec result;
  read_span(spot, "first", back_off.first(), result.first);
  if (back_off.has_times()) result.times = back_off.times();
  check_range(spot, "times", result.times, 1, 1000);
  read_span(spot, "longest", back_off.longest(), result.longest);
  read_span(spot, "jitter", back_off.jitter(), result.jitter);
  if (result.longest < result.first) spot.in("longest").say("longest is shorter than first");
  return result;
}

/// Tells if the bus has no such topic, or its ask no field of the name that stands in `field` of the text.
void check_ask_field(const Spot& spot, const std::string& topic_name, std::string_view field, const std::string& name,
                     const BusDescription* bus) {
  const TopicSpec* topic = topic_named(bus, topic_name);
  if (topic == nullptr) {
    check_topic(spot.in("topic"), topic_name, bus);
    return;
  }
  std::vector<std::string> fields;
  for (const Slot& slot : slots_of(*topic)) fields.push_back(slot.name);
  if (std::find(fields.begin(), fields.end(), name) != fields.end()) return;
  spot.in(field).say(
      fmt::format("the ask of {} has no field {}{}", topic->name, in_quotes(name), suggestion(name, fields)));
}

EnrolSpec enrolment_from(const text::Enrolment& enrolment, const Spot& spot, const BusDescription* bus) {
  EnrolSpec result;
  result.at_start = enrolment.at_start();
  result.again_after = enrolment.again_after();
  if (!enrolment.topic().empty()) result.topic = enrolment.topic();
  if (!enrolment.address_field().empty()) result.address_field = enrolment.address_field();
  if (bus == nullptr) return result;
  if (!bus->roles.first_unenrolled) {
    spot.say(fmt::format("the bus {} has no enrolment (roles.first_unenrolled)", bus->name));
    return result;
  }
  check_ask_field(spot, result.topic, "address_field", result.address_field, bus);
  return result;
}

BalancingSpec balancing_from(const text::Balancing& balancing, const Spot& spot, const BusDescription* bus) {
  BalancingSpec result;
  read_span(spot, "every", balancing.every(), result.every, Zero::refused);
  if (!spot.has("every")) spot.say("balancing needs every: from look to look, for example every: \"1min\"");
  if (spot.has("every") && result.every < second)
    spot.in("every").say(fmt::format("every must be at least 1s, not {}", balancing.every()));
  if (!balancing.topic().empty()) result.topic = balancing.topic();
  if (!balancing.field().empty()) result.field = balancing.field();
  read_voltage(spot, "start", balancing.start(), result.start_uv);
  read_voltage(spot, "difference", balancing.difference(), result.difference_uv);
  result.hysteresis_uv = std::min(result.hysteresis_uv, result.difference_uv);
  read_voltage(spot, "hysteresis", balancing.hysteresis(), result.hysteresis_uv);
  if (result.hysteresis_uv > result.difference_uv) spot.in("hysteresis").say("hysteresis is more than difference");
  result.at_once = balancing.at_once();
  read_span(spot, "on_for", balancing.on_for(), result.on_for, Zero::refused);
  read_span(spot, "off_for", balancing.off_for(), result.off_for, Zero::refused);
  if (spot.has("on_for") != spot.has("off_for")) spot.say("on_for and off_for go together");
  read_span(spot, "repeat_after", balancing.repeat_after(), result.repeat_after, Zero::refused);
  read_span(spot, "forget_after", balancing.forget_after(), result.forget_after, Zero::refused);
  check_ask_field(spot, result.topic, "field", result.field, bus);
  return result;
}

WrapSpec wrap_from(const text::ClockWrap& wrap, const Spot& spot, Nanos time_out) {
  WrapSpec result;
  result.bits = wrap.bits();
  if (!spot.has("bits")) spot.say("clock_wrap needs bits, for example bits: 32");
  check_range(spot, "bits", result.bits, 8, 63);
  read_span(spot, "tick", wrap.tick(), result.tick, Zero::refused);
  result.starts_at = wrap.starts_at();
  if (result.bits < 8 || result.bits > 63) {
    result.bits = 0;
    return result;
  }
  const std::uint64_t modulus = std::uint64_t{1} << result.bits;
  if (result.starts_at >= modulus) spot.in("starts_at").say(fmt::format("starts_at must be below 2^{}", result.bits));
  if (static_cast<std::uint64_t>(time_out / std::max<Nanos>(1, result.tick)) >= modulus / 2)
    spot.say("the clock goes round within two time-outs");
  return result;
}

std::uint8_t passes_from(const text::Controller& controller, const Spot& spot, const BusDescription* bus) {
  if (!spot.has("passes")) return 0;
  check_range(spot, "passes", controller.passes(), 0, 255);
  if (bus != nullptr && bus->roles.passes_left.empty() && controller.passes() != 0) {
    spot.in("passes").say(fmt::format("the bus {} does not count passes (roles.passes_left)", bus->name));
  }
  return static_cast<std::uint8_t>(std::min<std::uint32_t>(controller.passes(), 255));
}

HoldsSpec holds_from(const text::Holds& holds, const Spot& spot, const ChainDescription& chain) {
  HoldsSpec result{holds.nodes(), holds.cells(), holds.answer_bytes()};
  if (result.nodes != 0 && chain.nodes.size() > result.nodes) {
    spot.in("nodes").warn(
        fmt::format("the chain has {} nodes, the controller holds {}", chain.nodes.size(), result.nodes));
  }
  std::uint64_t cells = 0;
  for (const NodeSpec& node : chain.nodes) cells += chain.kinds[node.kind].cells;
  if (result.cells != 0 && cells > result.cells) {
    spot.in("cells").warn(fmt::format("the chain has {} cells, the controller holds {}", cells, result.cells));
  }
  return result;
}

}  // namespace

std::string controller_name(const text::Scenario& scenario, const Spot& spot) {
  if (scenario.controller().name().empty()) return ControllerSpec{}.name;
  check_name(spot.in("controller"), scenario.controller().name(), "controller");
  return scenario.controller().name();
}

LoadedController controller_from(const text::Controller& controller, const Spot& spot, const ChainDescription& chain,
                                 const BusDescription* bus) {
  LoadedController loaded;
  ControllerSpec& result = loaded.spec;
  if (!controller.name().empty()) result.name = controller.name();
  read_span(spot, "time_out", controller.time_out(), result.time_out, Zero::refused);
  result.retries = controller.retries();
  check_range(spot, "retries", result.retries, 0, most_retries);
  if (controller.has_back_off()) result.back_off = back_off_from(controller.back_off(), spot.in("back_off"));
  result.retry_garbled_at_once = controller.retry_garbled_at_once();
  const bool names_exchange = bus == nullptr || !bus->roles.exchange.empty();
  if (controller.has_on_late()) {
    result.on_late = static_cast<OnLate>(controller.on_late());
    if (result.on_late == OnLate::match_exchange && !names_exchange) {
      spot.in("on_late").say(
          fmt::format("the bus {} has nothing that names the exchange: use ACCEPT or IGNORE_IT", bus->name));
    }
  } else {
    result.on_late = names_exchange ? OnLate::match_exchange : OnLate::accept;
  }
  read_span(spot, "pace", controller.pace(), result.pace);
  read_span(spot, "gap", controller.gap(), result.gap);
  read_span(spot, "fresh_within", controller.fresh_within(), result.fresh_within, Zero::refused);
  read_span(spot, "late_window", controller.late_window(), result.late_window, Zero::refused);
  result.passes = passes_from(controller, spot, bus);
  if (controller.has_clock()) {
    const Spot here = spot.in("clock");
    result.clock = clock_from(controller.clock(), here, bus);
    for (const char* field : {"per_kelvin", "per_volt", "at_volts", "step"}) {
      if (here.has(field)) here.in(field).say(fmt::format("{} goes with nodes only", field));
    }
  }
  if (controller.has_receiver()) result.receiver = receiver_from(controller.receiver(), spot.in("receiver"));
  Plan plan = plan_from(controller, spot, chain, bus);
  result.plan = std::move(plan.entries);
  loaded.entry_spots = std::move(plan.spots);
  if (controller.has_balancing()) result.balancing = balancing_from(controller.balancing(), spot.in("balancing"), bus);
  if (controller.has_processor())
    result.processor = processor_from(controller.processor(), spot.in("processor"), false);
  result.timer_first = controller.timer_first();
  if (controller.has_clock_wrap())
    result.wrap = wrap_from(controller.clock_wrap(), spot.in("clock_wrap"), result.time_out);
  read_voltage(spot, "exact_within", controller.exact_within(), result.exact_within_uv);
  if (controller.has_holds()) result.holds = holds_from(controller.holds(), spot.in("holds"), chain);
  if (controller.has_enrolment()) result.enrol = enrolment_from(controller.enrolment(), spot.in("enrolment"), bus);
  return loaded;
}

}  // namespace hopbench
