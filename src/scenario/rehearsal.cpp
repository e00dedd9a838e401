#include "scenario/rehearsal.h"

#include <algorithm>

#include "base/time.h"
#include "bus/decoder.h"
#include "bus/scale.h"
#include "scenario/asked.h"
#include "scenario/link_table.h"
#include "scenario/told_range.h"

namespace hopbench {
namespace {

using End = Rehearsal::End;
using Arguments = std::vector<std::pair<std::string, std::uint64_t>>;

/// The controller, as far as it fills an ask.
class Asker final : public PayloadSource {
 public:
  explicit Asker(const Arguments& arguments) : arguments_(&arguments) {}
  std::optional<std::int64_t> quantity(std::string_view name, std::uint32_t /*index*/) override {
    const auto value = argument(name);
    return value ? std::optional{static_cast<std::int64_t>(*value)} : std::nullopt;
  }
  std::optional<std::uint64_t> argument(std::string_view field) override {
    for (const auto& [name, value] : *arguments_) {
      if (name == field) return value;
    }
    return std::nullopt;
  }

 private:
  const Arguments* arguments_;
};

/// A node, as far as it is told something and fills an answer.
class Teller final : public PayloadSource, public Protocol::RegisterWriter {
 public:
  Teller(const ChainDescription& chain, std::size_t node, Telling telling)
      : chain_(&chain), node_(node), telling_(telling) {}

  std::optional<std::int64_t> quantity(std::string_view name, std::uint32_t index) override {
    const auto found = quantity_named(name);
    if (!found) return std::nullopt;
    if (quantities()[static_cast<std::size_t>(*found)].per_cell) {
      if (index >= chain_->kinds[chain_->nodes[node_].kind].cells) return std::nullopt;
      ++cells_;
    }
    return value_of(*found);
  }
  std::optional<std::uint64_t> argument(std::string_view /*field*/) override { return std::nullopt; }
  void write(std::string_view name, std::uint32_t /*index*/, std::int64_t value) override {
    const auto found = quantity_named(name);
    if (found && quantities()[static_cast<std::size_t>(*found)].writable) set_[*found] = value;
  }

  [[nodiscard]] std::int64_t value_of(Quantity quantity) const {
    if (const auto set = set_.find(quantity); set != set_.end()) return set->second;
    if (quantity == Quantity::bleed_mask) return 0;
    const auto range = told_range(*chain_, node_, quantity);
    if (!range) return 0;
    if (telling_ == Telling::least) return range->least;
    return telling_ == Telling::most ? range->most : range->least + (range->most - range->least) / 2;
  }
  [[nodiscard]] std::uint32_t cells() const { return cells_; }
  [[nodiscard]] const std::map<Quantity, std::int64_t>& sets() const { return set_; }

 private:
  const ChainDescription* chain_;
  std::size_t node_;
  Telling telling_;
  std::map<Quantity, std::int64_t> set_;
  std::uint32_t cells_ = 0;
};

std::int64_t whole(std::uint64_t part) { return static_cast<std::int64_t>(part); }

/// One rehearsal.
class Run {
 public:
  Run(const Rehearser& rehearser, const Protocol& protocol, const ChainDescription& chain, const PlanEntry& entry,
      Telling telling)
      : rehearser_(&rehearser),
        protocol_(&protocol),
        chain_(&chain),
        entry_(&entry),
        offer_(entry.name.starts_with(offer_name) && entry.topic == chain.controller.enrol.topic),
        links_(chain.shape, chain.nodes.size()),
        telling_(telling) {}

  Rehearsal run(std::uint64_t number, bool on_the_way) {
    const auto topic = protocol_->topic_named(entry_->topic);
    if (!topic) return ended(End::unknown_topic, nobody);
    topic_ = *topic;
    if (!make_ask(number)) return result_;
    const auto heard = rehearser_->carried(result_.ask);
    if (!heard || heard->field != result_.ask.field || heard->payload != result_.ask.payload)
      return ended(End::ask_lost, nobody);
    if (on_the_way && !travel_out()) return result_;
    if (entry_->node == nobody) {
      if (!chain_->nodes.empty()) (void)take_in(0);
      return result_;
    }
    if (!answer()) return result_;
    if (on_the_way) travel_home();
    return result_;
  }

 private:
  const Rehearser* rehearser_;
  const Protocol* protocol_;
  const ChainDescription* chain_;
  const PlanEntry* entry_;
  bool offer_;
  LinkTable links_;
  Telling telling_;
  std::uint32_t topic_ = 0;
  Rehearsal result_;

  const Rehearsal& ended(End end, std::uint16_t at) {
    result_.end = end;
    result_.at = at;
    return result_;
  }
  [[nodiscard]] const RolesSpec& roles() const { return protocol_->description().roles; }
  [[nodiscard]] const KindSpec& kind(std::size_t node) const { return chain_->kinds[chain_->nodes[node].kind]; }
  [[nodiscard]] bool role_on_wire() const { return roles().tell_role == TellRole::by_field; }
  [[nodiscard]] bool knows(std::size_t node) const {
    const auto& topics = kind(node).topics;
    return topics.empty() || std::find(topics.begin(), topics.end(), entry_->topic) != topics.end();
  }
  /// A node that enrols has its address when its plan entries are asked, and those before it have theirs when it is
  /// offered its own.
  [[nodiscard]] std::optional<std::uint64_t> address(std::size_t node) const {
    if (offer_ && node >= entry_->node && kind(node).enrols) return std::nullopt;
    return chain_->nodes[node].address;
  }

  bool make_ask(std::uint64_t number) {
    const bool by_distance = roles().destination.empty();
    std::uint64_t destination = 0;
    if (entry_->node == nobody) {
      destination = roles().broadcast.empty() ? 0 : roles().broadcast.front();
    } else if (offer_) {
      destination = roles().first_unenrolled.value_or(0);
    } else {
      destination = by_distance ? links_.steps_to(entry_->node) : chain_->nodes[entry_->node].address;
    }
    const std::uint64_t passes =
        chain_->controller.passes != 0 ? chain_->controller.passes : std::min<std::size_t>(chain_->nodes.size(), 255);
    result_.ask = protocol_->ask(topic_, destination, number, passes);
    Asker asker(entry_->arguments);
    if (const auto reason = protocol_->fill(result_.ask, Protocol::Side::ask, {}, asker)) {
      result_.reason = *reason;
      ended(End::not_asked, nobody);
      return false;
    }
    settle(result_.ask);
    return true;
  }

  /// Sizes and counts that follow from the payload are set, and what the framing adds is added.
  void settle(Frame& frame) const {
    auto settled = protocol_->as_read(frame);
    if (!settled) return;
    if (!role_on_wire()) settled->role = frame.role;
    frame = *settled;
  }

  [[nodiscard]] bool claims(std::size_t node, const Frame& frame) const {
    const auto own = address(node);
    switch (protocol_->bound_for(frame, own)) {
      case Protocol::Bound::here:
        return own.has_value();
      case Protocol::Bound::everyone:
        return true;
      case Protocol::Bound::first_unenrolled:
        return kind(node).enrols && !own;
      case Protocol::Bound::elsewhere:
      case Protocol::Bound::controller:
        return false;
    }
    return false;
  }

  /// What a node makes of a frame that it passes on. False if it does not.
  bool pass_on(std::size_t node, Frame& frame, End used_up) {
    if (rehearser_->passes_everything(node)) return true;
    const bool by_whole = kind(node).forwarding.kind == Forwarding::whole;
    if (by_whole && !protocol_->description().forward.pass_unknown_topic && !knows(node)) {
      ended(End::not_passed_on, static_cast<std::uint16_t>(node));
      return false;
    }
    if (protocol_->forward(frame)) return true;
    ended(used_up, static_cast<std::uint16_t>(node));
    return false;
  }

  /// From the controller outward, until it ends. False if that was too soon.
  bool travel_out() {
    Frame frame = result_.ask;
    frame.role = Role::ask;
    bool taken = entry_->node == nobody;
    for (std::size_t node = 0; node < chain_->nodes.size(); ++node) {
      if (entry_->node != nobody && claims(node, frame)) {
        if (node != entry_->node) {
          ended(taken ? End::taken_twice : End::taken_by_other, static_cast<std::uint16_t>(node));
          return false;
        }
        taken = true;
        if (!rehearser_->passes_everything(node)) return true;
      } else if (node == entry_->node) {
        ended(End::not_taken, static_cast<std::uint16_t>(node));
        return false;
      }
      const bool last = node + 1 == chain_->nodes.size();
      if (last && !links_.comes_round()) return true;
      const bool stops = last && protocol_->description().forward.unclaimed == Unclaimed::last_node_stops_it;
      if (stops && !rehearser_->passes_everything(node) && !(taken && passes_for_answer(node, frame))) return true;
      if (!pass_on(node, frame, End::ask_used_up)) {
        if (taken && entry_->node != nobody) {
          result_.end = End::answered;
          result_.at = nobody;
          return true;
        }
        return false;
      }
    }
    return came_round(frame);
  }

  /// Whether a node behind the one asked takes the ask, which carries that one's address, for its answer.
  [[nodiscard]] bool passes_for_answer(std::size_t node, const Frame& frame) const {
    if (entry_->node == nobody || role_on_wire() || !roles().source.empty() || !roles().distance.empty()) return false;
    Frame answer = frame;
    answer.role = Role::answer;
    return kind(node).forwarding.kind != Forwarding::whole || protocol_->reads_as_answer(answer) ||
           !protocol_->reads_as_ask(frame);
  }

  /// A controller that cannot tell an ask from an answer by what it hears may take its own ask for the answer.
  bool came_round(const Frame& frame) {
    if (entry_->node == nobody || role_on_wire() || !fits(frame)) return true;
    std::vector<PayloadValue> values;
    Frame taken = frame;
    taken.role = Role::answer;
    if (!protocol_->read(taken, Protocol::Side::answer, values)) return true;
    ended(End::passes_for_answer, nobody);
    return false;
  }

  /// A node without an address takes any that a node may have; any other takes its own again.
  [[nodiscard]] std::optional<Refusal> enrol(std::size_t node) const {
    const auto offered = protocol_->value_of(result_.ask, Protocol::Side::ask, chain_->controller.enrol.address_field);
    const auto own = address(node);
    const bool takes = own ? offered == own : kind(node).enrols && offered && protocol_->may_be_an_address(*offered);
    return takes ? std::nullopt : std::optional{Refusal::bad_value};
  }

  /// What no node lets be set in it.
  [[nodiscard]] std::optional<Refusal> forbidden(std::size_t node, const Teller& teller) const {
    const KindSpec& board = kind(node);
    const std::int64_t mask = teller.value_of(Quantity::bleed_mask);
    const bool bleeds = board.board.bleed_mohm > 0 && (mask >> board.cells) == 0;
    if (mask != 0 && !bleeds) return Refusal::bad_value;
    if (teller.value_of(Quantity::low_limit_mv) > teller.value_of(Quantity::high_limit_mv)) return Refusal::bad_value;
    return std::nullopt;
  }

  struct Taken {
    Teller teller;
    std::optional<Refusal> reason;
  };
  /// What the ask sets in a node.
  Taken take_in(std::size_t node) {
    result_.ask.role = Role::ask;
    Taken taken{Teller(*chain_, node, telling_), std::nullopt};
    const TopicSpec& topic = protocol_->topic_spec(topic_);
    if (topic.name == chain_->controller.enrol.topic && (kind(node).enrols || topic.changes)) {
      taken.reason = enrol(node);
      return taken;
    }
    Teller written(*chain_, node, telling_);
    taken.reason = protocol_->apply_writes(result_.ask, written);
    if (!topic.changes) return taken;
    result_.sets = written.sets();
    if (!taken.reason) taken.reason = forbidden(node, written);
    if (!taken.reason) taken.teller = written;
    return taken;
  }

  bool answer() {
    const std::size_t node = entry_->node;
    const auto at = static_cast<std::uint16_t>(node);
    if (!knows(node)) {
      ended(End::unknown_topic, at);
      return false;
    }
    const Frame& ask = result_.ask;
    Taken taken = take_in(node);
    Teller& teller = taken.teller;
    auto reason = taken.reason;
    const std::uint64_t own = chain_->nodes[node].address;
    result_.answer = protocol_->answer_to(ask, own, links_.steps_home(node));
    if (!reason) reason = protocol_->fill(result_.answer, Protocol::Side::answer, ask.payload.view(), teller);
    if (reason) {
      result_.reason = *reason;
      ended(End::refused, at);
      return false;
    }
    result_.cells = teller.cells();
    const auto& measured = kind(node).measured_topics;
    result_.measured = measured.empty() ? result_.cells > 0
                                        : std::find(measured.begin(), measured.end(), entry_->topic) != measured.end();
    const Content filled = result_.answer.payload;
    settle(result_.answer);
    const auto heard = rehearser_->carried(result_.answer);
    if (!heard || heard->field != result_.answer.field) {
      ended(End::answer_lost, at);
      return false;
    }
    if (!fits(*heard)) {
      ended(End::not_its_answer, at);
      return false;
    }
    if (heard->payload != filled || !read_back(ask, *heard, teller)) {
      ended(End::not_readable, at);
      return false;
    }
    return true;
  }

  void travel_home() {
    Frame frame = result_.answer;
    frame.role = Role::answer;
    std::uint16_t link = links_.answers_on(entry_->node);
    while (links_[link].to != nobody) {
      const std::size_t node = links_[link].to;
      const bool off = role_on_wire() && protocol_->bound_for(frame, address(node)) == Protocol::Bound::here;
      if (off && !rehearser_->passes_everything(node)) {
        ended(End::taken_by_other, static_cast<std::uint16_t>(node));
        return;
      }
      if (!pass_on(node, frame, End::answer_used_up)) return;
      link = links_.onward(link);
    }
  }

  /// As the controller does, when it is asked whether this is the answer.
  [[nodiscard]] bool fits(const Frame& frame) const {
    Frame answer = frame;
    if (!role_on_wire()) answer.role = Role::answer;
    if (!protocol_->may_answer(answer, topic_)) return false;
    const auto sender = roles().source.empty()
                            ? (roles().distance.empty() ? protocol_->destination(answer) : std::nullopt)
                            : protocol_->source(answer);
    if (sender && *sender != chain_->nodes[entry_->node].address) return false;
    return protocol_->exchange(frame) == protocol_->exchange(result_.ask);
  }

  /// Reads the answer as the controller does and compares it with what was filled in. False if it cannot be read.
  bool read_back(const Frame& ask, const Frame& heard, const Teller& teller) {
    std::vector<PayloadValue> values;
    Frame answer = heard;
    answer.role = Role::answer;
    if (!protocol_->read(answer, Protocol::Side::answer, values)) return false;
    const TopicSpec& topic = protocol_->topic_spec(topic_);
    std::uint64_t first = 0;
    if (!topic.first_field.empty()) {
      first = protocol_->value_of(ask, Protocol::Side::ask, topic.first_field).value_or(0);
    }
    std::uint32_t told_cells = 0;
    for (const PayloadValue& value : values) {
      const LayoutItem& item = topic.answer[value.item];
      const FieldSpec& field = item.group ? item.group->fields[value.field] : *item.field;
      const bool addressed = item.group && item.group->name == topic.values_group;
      if (!field.quantity.empty()) {
        told_cells += compare(field, field.scale, field.is_signed, field.quantity, field.name, value.raw, teller);
      } else if (addressed && !field.constant && field.copied_from_ask.empty()) {
        const RegisterSpec* shown = protocol_->register_at(first + value.repetition);
        if (shown != nullptr)
          told_cells +=
              compare(field, shown->scale, shown->is_signed, shown->quantity, shown->quantity, value.raw, teller);
      }
    }
    if (told_cells == result_.cells) return true;
    // A frame that is filled up tells of more than was said; that is all that is wrong with it.
    result_.misread.clear();
    return false;
  }

  /// 1 if it is the voltage of a cell, for counting them.
  std::uint32_t compare(const FieldSpec& field, const Scale& scale, bool is_signed, const std::string& name,
                        const std::string& shown_as, std::uint64_t raw, const Teller& teller) {
    const auto quantity = quantity_named(name);
    if (!quantity) return 0;
    const std::int64_t has = teller.value_of(*quantity);
    const std::int64_t told = value_of_raw(scale, raw, field.bits, is_signed);
    const std::int64_t step = std::abs(scale.num) / whole(scale.den) + 1;
    const bool known = std::any_of(result_.misread.begin(), result_.misread.end(),
                                   [&](const Misread& each) { return each.field == shown_as; });
    if ((told > has + step || told < has - step) && !known) {
      const TellRange range = sayable_range(field, scale, is_signed);
      result_.misread.push_back({shown_as, *quantity, has, told, range.least, range.most});
    }
    return quantities()[static_cast<std::size_t>(*quantity)].per_cell ? 1 : 0;
  }
};

}  // namespace

bool Rehearser::passes_everything(std::size_t node) const {
  switch (chain_->kinds[chain_->nodes[node].kind].forwarding.kind) {
    case Forwarding::whole:
      return false;
    case Forwarding::by_character:
      return protocol_->relay_head_bytes() == 0;
    case Forwarding::electrical:
      return true;
  }
  return false;
}

std::optional<Frame> Rehearser::carried(const Frame& frame) const {
  Content content;
  protocol_->encode(frame, content);
  WireBytes wire;
  protocol_->wrap(content.view(), wire);
  const LineCoding& line = protocol_->line();
  const Period period = period_of_baud(line.baud);
  Decoder decoder(*protocol_, period);
  std::vector<Finding> findings;
  const auto mask = static_cast<std::uint8_t>((1U << line.data_bits) - 1U);
  HeardChar character;
  for (std::size_t i = 0; i < wire.size(); ++i) {
    character.byte = static_cast<std::uint8_t>(wire[i] & mask);
    character.start = character.end;
    character.end = span_of_bits((i + 1) * line.char_half_bits(), period) / 2;
    decoder.push(character, findings);
  }
  if (const Nanos wake = decoder.wants_wake(); wake != never) decoder.silent_until(wake, findings);
  if (findings.size() != 1 || findings.front().damage != Damage::none || !decoder.idle()) return std::nullopt;
  Frame heard = findings.front().frame;
  if (protocol_->description().roles.tell_role != TellRole::by_field && heard.role != Role::refusal) {
    heard.role = frame.role;
  }
  return heard;
}

Rehearsal Rehearser::rehearse(const PlanEntry& entry, Telling telling, std::uint64_t number, bool on_the_way) const {
  return Run(*this, *protocol_, *chain_, entry, telling).run(number, on_the_way);
}

}  // namespace hopbench
