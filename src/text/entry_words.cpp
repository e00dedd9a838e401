#include "text/entry_words.h"

#include <fmt/format.h>

#include <algorithm>
#include <optional>

#include "bus/bits.h"
#include "scenario/told_range.h"

namespace hopbench {
namespace {

using End = Rehearsal::End;

std::optional<std::uint64_t> argument(const PlanEntry& entry, const std::string& field) {
  for (const auto& [name, value] : entry.arguments) {
    if (name == field && !field.empty()) return value;
  }
  return std::nullopt;
}

const FieldSpec* ask_field(const TopicSpec& topic, const std::string& name) {
  for (const LayoutItem& item : topic.ask) {
    if (item.field && item.field->name == name) return &*item.field;
    if (!item.group) continue;
    for (const FieldSpec& field : item.group->fields) {
      if (field.name == name) return &field;
    }
  }
  return nullptr;
}

/// One entry with what belongs to it.
class Words {
 public:
  Words(const Rehearsed& rehearsed, const std::string& nodes, const Protocol& protocol, const ChainDescription& chain)
      : entry_(&rehearsed.entry),
        how_(&rehearsed.how),
        from_(rehearsed.from),
        nodes_(nodes),
        protocol_(&protocol),
        chain_(&chain),
        topic_(&protocol.topic_spec(protocol.topic_named(entry_->topic).value_or(0))) {}

  [[nodiscard]] std::string say() const {
    switch (how_->end) {
      case End::answered:
        return "";
      case End::not_asked:
        return not_asked();
      case End::ask_lost:
        return lost(fmt::format("the ask of {} to {}", topic_->name, nodes_));
      case End::answer_lost:
        return lost(fmt::format("the answer of {} from {}", topic_->name, nodes_));
      case End::ask_used_up:
        return fmt::format("the ask to {} has used up its passes at {}; give it more", nodes_, at());
      case End::answer_used_up:
        return fmt::format("the answer of {} has used up its passes at {}", nodes_, at());
      case End::not_passed_on:
        return fmt::format(
            "{} does not know the topic {} and passes on nothing that it does not know (forward.pass_unknown_topic), "
            "so {} and the controller never hear of each other",
            at(), topic_->name, nodes_);
      case End::taken_by_other:
        return taken_by_other();
      case End::taken_twice:
        return fmt::format(
            "{} passes on what comes in as it comes, so {} hears the offer as well and takes the same address; let {} "
            "store frames whole",
            nodes_, at(), nodes_);
      case End::not_taken:
        return fmt::format("{} does not find its address in an ask that was sent to it", nodes_);
      case End::unknown_topic:
        return unknown_topic();
      case End::refused:
        return refused();
      case End::not_its_answer:
        return fmt::format(
            "the controller does not take the answer of {} for one: topic, sender or exchange number come back as "
            "others than were sent",
            nodes_);
      case End::not_readable:
        return not_readable();
      case End::passes_for_answer:
        return fmt::format(
            "the ask to {} goes on round the ring, since {} passes on what comes in as it comes; on the bus {} nothing "
            "tells it from its answer, so the controller takes it for that; store frames whole there, or tell roles "
            "BY_FIELD",
            nodes_, nodes_, bus().name);
    }
    return "";
  }

 private:
  const PlanEntry* entry_;
  const Rehearsal* how_;
  std::string from_;
  std::string nodes_;
  const Protocol* protocol_;
  const ChainDescription* chain_;
  const TopicSpec* topic_;

  [[nodiscard]] const BusDescription& bus() const { return protocol_->description(); }
  [[nodiscard]] std::string at() const { return how_->at < chain_->nodes.size() ? chain_->nodes[how_->at].name : ""; }
  [[nodiscard]] const NodeSpec& node() const { return chain_->nodes[entry_->node]; }
  [[nodiscard]] const KindSpec& kind() const { return chain_->kinds[node().kind]; }

  [[nodiscard]] std::string not_asked() const {
    for (const auto& [name, value] : entry_->arguments) {
      const FieldSpec* field = ask_field(*topic_, name);
      if (field == nullptr || value <= FieldCode::limit_of(*field)) continue;
      std::string what = std::to_string(value);
      if (from_ == "enrolment") what = fmt::format("the address {} of {}", value, node().name);
      if (from_ == "balancing") what = fmt::format("a bit for each of the {} cells of {}", kind().cells, node().name);
      return fmt::format("the field {} of {} holds 0 to {}: too narrow for {}", name, topic_->name,
                         FieldCode::limit_of(*field), what);
    }
    if (how_->reason == Refusal::bad_value || how_->reason == Refusal::too_long) {
      return fmt::format(
          "these values make no ask of {}: one is missing or does not fit another, or the payload is longer than the "
          "{} bytes that a frame of the bus {} has room for",
          topic_->name, protocol_->most_payload(), bus().name);
    }
    return fmt::format("these values make no ask of {}: it begins beyond all registers and cells", topic_->name);
  }

  [[nodiscard]] std::string lost(const std::string& what) const {
    if (bus().framing.kind != FramingKind::marked) return what + " is not heard as it was sent";
    return fmt::format(
        "{} is cut each time: a byte of it ({}) looks like the {} marker; choose others, or a framing that keeps them "
        "apart (see the warning at framing)",
        what, how_->end == End::ask_lost ? "address, topic or a value asked with" : "address, topic or a value told",
        bus().framing.end.empty() ? "next start" : "end");
  }

  [[nodiscard]] std::string taken_by_other() const {
    if (bus().roles.destination.empty() && bus().roles.distance.empty()) {
      return fmt::format(
          "{} takes what is meant for {}: the bus {} does not say for whom a frame is (roles.destination or distance)",
          at(), nodes_, bus().name);
    }
    return fmt::format("{} takes what is meant for {} for its own", at(), nodes_);
  }

  [[nodiscard]] std::string unknown_topic() const {
    const bool refuses = kind().on_unknown_topic == OnUnknownTopic::refuse;
    return fmt::format("{} {} not know the topic {} (kind {}: topics), so every ask is {}", nodes_, do_not(),
                       topic_->name, kind().name, refuses ? "refused" : "dropped");
  }

  [[nodiscard]] bool several() const {
    return nodes_.find(", ") != std::string::npos || nodes_.find("..") != std::string::npos;
  }
  [[nodiscard]] const char* do_not() const { return several() ? "do" : "does"; }
  [[nodiscard]] const char* have() const { return several() ? "have" : "has"; }

  [[nodiscard]] std::string refused() const {
    const std::string then = protocol_->can_refuse()
                                 ? "; the node refuses it each time"
                                 : fmt::format("; the bus {} has no refusal, so the answer comes empty", bus().name);
    return why_refused() + then;
  }

  [[nodiscard]] std::string why_refused() const {
    const std::uint64_t first = argument(*entry_, topic_->first_field).value_or(0);
    const std::optional<std::uint64_t> count = argument(*entry_, topic_->count_field);
    if (how_->reason == Refusal::bad_address) return beyond(first, count.value_or(1));
    if (const std::string why = why_not_set(); !why.empty()) return why;
    if (how_->reason == Refusal::unknown_topic) {
      return fmt::format("the answer of {} tells of more cells than {} {} ({})", topic_->name, nodes_, have(),
                         kind().cells);
    }
    if (count && *count == 0) return fmt::format("an ask of {} for none", topic_->name);
    if (const auto fits = most_that_fit()) return too_many(count.value_or(kind().cells), *fits);
    return fmt::format("the ask of {} and what {} {} do not make an answer", topic_->name, nodes_, have());
  }

  /// What a node does not let be set in it; empty if that is not why it refuses.
  [[nodiscard]] std::string why_not_set() const {
    const auto& sets = how_->sets;
    const auto value = [&](Quantity quantity, std::int64_t otherwise) {
      const auto set = sets.find(quantity);
      return set == sets.end() ? otherwise : set->second;
    };
    const std::int64_t mask = value(Quantity::bleed_mask, 0);
    if (mask != 0 && kind().board.bleed_mohm == 0) {
      return fmt::format("{} cannot bleed (kind {} has no bleed {{ resistor: ... }})", nodes_, kind().name);
    }
    if (mask >> kind().cells != 0) {
      return fmt::format("the order to bleed names cells that {} {} not have ({} in all, bits 0 to {})", nodes_,
                         do_not(), kind().cells, kind().cells - 1);
    }
    const auto limit = [&](Quantity quantity) {
      return value(quantity, told_range(*chain_, entry_->node, quantity).value_or(TellRange{}).least);
    };
    if (sets.contains(Quantity::low_limit_mv) || sets.contains(Quantity::high_limit_mv)) {
      const std::int64_t low = limit(Quantity::low_limit_mv);
      const std::int64_t high = limit(Quantity::high_limit_mv);
      if (low > high)
        return fmt::format("{} sets a low limit of {} mV above the high limit of {} mV", topic_->name, low, high);
    }
    const EnrolSpec& enrol = chain_->controller.enrol;
    if (topic_->name == enrol.topic && from_ != "enrolment") {
      if (const auto offered = argument(*entry_, enrol.address_field); offered && *offered != node().address) {
        return fmt::format("{} offers {} the address {}, and it has {} already", topic_->name, node().name, *offered,
                           node().address);
      }
    }
    return "";
  }

  [[nodiscard]] std::string beyond(std::uint64_t first, std::uint64_t count) const {
    const std::uint64_t last = first + std::max<std::uint64_t>(count, 1) - 1;
    const std::uint32_t cells = kind().cells;
    for (std::uint64_t i = first; !bus().registers.empty() && i <= last && i - first <= 0xffff; ++i) {
      const RegisterSpec* shown = protocol_->register_at(i);
      if (shown == nullptr) return fmt::format("{} asks for register {}, which the bus does not show", topic_->name, i);
      if (topic_->changes && !shown->writable) {
        return fmt::format("{} writes register {}, which is not writable", topic_->name, i);
      }
      const auto quantity = quantity_named(shown->quantity);
      const bool per_cell = quantity && quantities()[static_cast<std::size_t>(*quantity)].per_cell;
      if (per_cell && shown->index + (i - shown->first) >= cells) {
        return fmt::format("{} asks for register {}, a cell that {} {} not have ({} in all)", topic_->name, i, nodes_,
                           do_not(), cells);
      }
    }
    return fmt::format("{} asks for {}, and {} {} {}", topic_->name, cells_from(first, last), nodes_, have(),
                       cells_from(0, cells - 1));
  }

  static std::string cells_from(std::uint64_t first, std::uint64_t last) {
    return first == last ? fmt::format("cell {}", first) : fmt::format("cells {} to {}", first, last);
  }

  /// How many values an answer has room for, if that is what it fails by; none if fewer fail as well.
  [[nodiscard]] std::optional<std::uint64_t> most_that_fit() const {
    const auto count = argument(*entry_, topic_->count_field);
    const std::uint64_t wanted = count.value_or(kind().cells);
    for (std::uint64_t fewer = std::min<std::uint64_t>(wanted, 8 * max_frame_bytes); fewer-- > 1;) {
      ChainDescription chain;
      chain.shape = chain_->shape;
      chain.pack = chain_->pack;
      chain.kinds = {kind()};
      chain.nodes = {node()};
      chain.nodes.front().kind = 0;
      PlanEntry entry = *entry_;
      entry.node = 0;
      if (count) {
        for (auto& [name, value] : entry.arguments) {
          if (name == topic_->count_field) value = fewer;
        }
      } else {
        chain.kinds.front().cells = static_cast<std::uint32_t>(fewer);
      }
      const Rehearsal how = Rehearser(*protocol_, chain).rehearse(entry, Telling::middle, 1, false);
      if (how.end != End::refused) return fewer;
    }
    return std::nullopt;
  }

  [[nodiscard]] std::string too_many(std::uint64_t wanted, std::uint64_t fit) const {
    std::string text = fmt::format(
        "{} asks {} for {} values{}, and an answer on the bus {} has room for {} ({} bytes of "
        "payload)",
        topic_->name, nodes_, wanted, several() ? " each" : "", bus().name, fit, protocol_->most_payload());
    if (topic_->count_field.empty()) return text + "; give the topic a count_field, so that they can be asked in parts";
    text += fmt::format("; ask in parts: with {{ field: \"{}\" value: {} }}", topic_->count_field, fit);
    if (topic_->first_field.empty()) {
      return text + ", though for the rest the topic has no first_field to say where to begin";
    }
    return text + fmt::format(", and another poll with {{ field: \"{}\" value: {} }} for the rest", topic_->first_field,
                              argument(*entry_, topic_->first_field).value_or(0) + fit);
  }

  [[nodiscard]] std::string not_readable() const {
    const bool fixed = bus().framing.kind == FramingKind::fixed;
    const bool sized = bus().framing.kind == FramingKind::sized;
    const std::string why = fixed   ? "every frame is filled up to fixed_bytes"
                            : sized ? "a frame is filled up to what its size can say (size_unit, size_plus)"
                                    : "the framing adds to it";
    return fmt::format(
        "the controller does not read the answer of {} from {} as it was filled in: {}, and the answer's "
        "fields do not say where they end; use a count_field, or a payload of that length",
        topic_->name, nodes_, why);
  }
};

/// Bits in which a field of this kind could say the value; 0 if none would do.
std::uint32_t bits_for(const Misread& misread) {
  if (misread.least < 0 || misread.has < 0 || misread.most <= 0) return 0;
  // Twice the range for each bit more.
  std::uint32_t more = 0;
  for (std::int64_t most = misread.most; most < misread.has && more < 64; most = 2 * most + 1) ++more;
  return more;
}

}  // namespace

std::string words_for(const Rehearsed& rehearsed, const std::string& nodes, const Protocol& protocol,
                      const ChainDescription& chain) {
  return Words(rehearsed, nodes, protocol, chain).say();
}

std::string words_for(const Misread& misread, const Rehearsed& rehearsed, const ChainDescription& chain) {
  const QuantityInfo& info = quantities()[static_cast<std::size_t>(misread.quantity)];
  const std::string unit = info.unit.empty() ? "" : fmt::format(" {}", info.unit);
  std::string text = fmt::format("the field {} of {} holds {} to {}{}, and {} has {}{} ({}), which would be told as {}",
                                 misread.field, rehearsed.entry.topic, misread.least, misread.most, unit,
                                 chain.nodes[rehearsed.entry.node].name, misread.has, unit, info.name, misread.told);
  if (const std::uint32_t more = bits_for(misread); more > 0) {
    text += fmt::format("; {} bit{} more would do, or another scale", more, more == 1 ? "" : "s");
  } else {
    text += "; make it wider or signed, or give it another scale";
  }
  return text;
}

}  // namespace hopbench
