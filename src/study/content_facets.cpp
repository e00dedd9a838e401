#include <algorithm>
#include <limits>
#include <map>
#include <optional>
#include <set>
#include <tuple>

#include "study/facets.h"

namespace hopbench {
namespace {

constexpr std::uint32_t header = 0xffffffff;  // in the place of a topic

/// Which field: of what, header or topic, where in its layout.
using Field = std::tuple<FacetId, std::uint32_t, std::uint32_t, std::uint32_t, std::uint32_t>;

HeldBytes bytes_of(std::span<const std::uint8_t> bytes) {
  HeldBytes set;
  for (const auto byte : bytes) set.set(byte);
  return set;
}

std::vector<const FieldSpec*> header_of(const BusDescription& bus) {
  std::vector<const FieldSpec*> fields;
  for (const auto& part : bus.parts) {
    if (part.field) fields.push_back(&*part.field);
  }
  return fields;
}

std::int64_t signed_raw(std::uint64_t raw, const FieldSpec& field) {
  if (field.is_signed && field.bits < 64 && (raw >> (field.bits - 1) & 1U) != 0) raw |= ~std::uint64_t{0} << field.bits;
  return static_cast<std::int64_t>(raw);
}

/// Reads frames into columns, a specimen after the other.
class Reader {
 public:
  Reader(const Protocol& protocol, std::size_t specimens)
      : protocol_(&protocol), header_(header_of(protocol.description())), specimens_(specimens) {}

  void read(std::size_t specimen, FacetId of, std::span<const std::uint8_t> content) {
    if (content.empty() || protocol_->parse(content, frame_) != Damage::none) return;
    if (of == FacetId::asked_field) {
      for (std::size_t i = 0; i < header_.size(); ++i) {
        if (header_[i]->constant) continue;
        put(specimen, {of, header, static_cast<std::uint32_t>(i), 0, 0}, *header_[i], header_[i]->name,
            signed_raw(frame_.field[i], *header_[i]));
      }
    }
    const auto topic = protocol_->topic(frame_);
    if (!topic) return;
    const auto side = of == FacetId::asked_field ? Protocol::Side::ask : Protocol::Side::answer;
    const TopicSpec& spec = protocol_->topic_spec(*topic);
    const Layout& layout = side == Protocol::Side::ask ? spec.ask : spec.answer;
    if (frame_.role == Role::refusal || !protocol_->read(frame_, side, values_)) return;
    std::map<std::pair<std::uint32_t, std::uint32_t>, Extremes> extremes;
    for (const PayloadValue& value : values_) {
      if (value.item >= layout.size()) continue;
      const LayoutItem& item = layout[value.item];
      if (!item.field && (!item.group || value.field >= item.group->fields.size())) continue;
      const FieldSpec& field = item.field ? *item.field : item.group->fields[value.field];
      std::string name = spec.name + "." + field.name;
      if (item.group) {
        extremes[{value.item, value.field}].take(signed_raw(value.raw, field), field, name);
        name += "[" + std::to_string(value.repetition) + "]";
      }
      put(specimen, {of, *topic, value.item, value.field, value.repetition}, field, name, signed_raw(value.raw, field));
    }
    for (const auto& [place, each] : extremes) {
      if (each.values < 2) continue;
      put(specimen, {of, *topic, place.first, place.second, highest}, *each.field, "highest " + each.name, each.high);
      put(specimen, {of, *topic, place.first, place.second, lowest}, *each.field, "lowest " + each.name, each.low);
    }
  }

  /// Those that differ between specimens. `known_from`: how replies that failed are known.
  std::vector<Facet> take(const std::string& known_from) {
    add_changes(known_from);
    std::vector<Facet> all;
    std::map<FacetId, std::size_t> taken;
    for (auto& [field, facet] : columns_) {
      if (facet.id == FacetId::reply_field) facet.known_from = known_from;
      std::optional<std::int64_t> first;
      const bool differs = std::any_of(facet.values.begin(), facet.values.end(), [&](auto value) {
        if (value == no_value) return false;
        if (!first) first = value;
        return value != *first;
      });
      if (differs && taken[facet.id]++ < ContentFacets::most_fields) all.push_back(std::move(facet));
    }
    return all;
  }

 private:
  static constexpr std::size_t most_columns = 512;

  static constexpr std::uint32_t highest = 0xffffffff;  // in the place of a repetition
  static constexpr std::uint32_t lowest = 0xfffffffe;

  /// Of one field over the repetitions of its group.
  struct Extremes {
    const FieldSpec* field = nullptr;
    std::string name;
    std::int64_t high = 0;
    std::int64_t low = 0;
    std::size_t values = 0;

    void take(std::int64_t raw, const FieldSpec& of, const std::string& called) {
      high = values == 0 ? raw : std::max(high, raw);
      low = values == 0 ? raw : std::min(low, raw);
      if (values++ == 0) name = called;
      field = &of;
    }
  };

  void put(std::size_t specimen, const Field& key, const FieldSpec& field, const std::string& name, std::int64_t raw) {
    auto found = columns_.find(key);
    if (found == columns_.end()) {
      if (columns_.size() >= most_columns) return;
      Facet facet;
      facet.id = std::get<0>(key);
      facet.rank = facet.id == FacetId::asked_field ? 6 : facet.id == FacetId::reply_field ? 8 : 9;
      facet.slow = std::get<1>(key) != header;
      facet.bits = std::get<4>(key) < lowest;
      facet.counts = std::get<1>(key) == header && field.name == protocol_->description().roles.exchange;
      facet.label = name;
      facet.field = &field;
      facet.values.assign(specimens_, no_value);
      found = columns_.emplace(key, std::move(facet)).first;
    }
    found->second.values[specimen] = raw;
  }

  /// By how much a field of the reply differs from the one before.
  void add_changes(const std::string& known_from) {
    std::vector<std::pair<Field, Facet>> changes;
    for (const auto& [field, facet] : columns_) {
      if (facet.id != FacetId::reply_field) continue;
      Field before = field;
      std::get<0>(before) = FacetId::before_field;
      const auto found = columns_.find(before);
      if (found == columns_.end()) continue;
      Facet change;
      change.id = FacetId::reply_change;
      change.rank = 9;
      change.label = facet.label;
      change.field = facet.field;
      change.known_from = known_from;
      for (std::size_t i = 0; i < specimens_; ++i) {
        const auto now = facet.values[i];
        const auto then = found->second.values[i];
        const bool known = now != no_value && then != no_value;
        change.values.push_back(known ? distance_of(now, then) : no_value);
      }
      Field key = field;
      std::get<0>(key) = FacetId::reply_change;
      changes.emplace_back(key, std::move(change));
    }
    for (auto& [key, change] : changes) columns_.emplace(key, std::move(change));
  }

  static std::int64_t distance_of(std::int64_t a, std::int64_t b) {
    const auto apart = a > b ? static_cast<std::uint64_t>(a) - static_cast<std::uint64_t>(b)
                             : static_cast<std::uint64_t>(b) - static_cast<std::uint64_t>(a);
    constexpr std::uint64_t most = std::numeric_limits<std::int64_t>::max();
    return static_cast<std::int64_t>(std::min(apart, most));
  }

  const Protocol* protocol_;
  std::vector<const FieldSpec*> header_;
  std::size_t specimens_;
  std::map<Field, Facet> columns_;
  Frame frame_;
  std::vector<PayloadValue> values_;
};

/// Whether the reply says something else than the one before; no_value where either is not known.
std::int64_t change_in(const Protocol& protocol, std::span<const std::uint8_t> reply,
                       std::span<const std::uint8_t> said_before) {
  Frame now;
  Frame before;
  if (reply.empty() || said_before.empty() || protocol.parse(reply, now) != Damage::none ||
      protocol.parse(said_before, before) != Damage::none) {
    return no_value;
  }
  return now.payload == before.payload ? 0 : 1;
}

/// The reply, had nothing changed since the one before but the name of the exchange; as it is at the controller.
std::vector<std::uint8_t> foretold(const Protocol* protocol, const Said& said) {
  if (protocol == nullptr) return said.before;
  Frame ask;
  Frame reply;
  if (said.asked.empty() || said.before.empty() || protocol->parse(said.asked, ask) != Damage::none ||
      protocol->parse(said.before, reply) != Damage::none) {
    return {};
  }
  if (const auto exchange = protocol->exchange(ask)) protocol->name_exchange(reply, *exchange);
  Content content;
  protocol->encode(reply, content);
  return {content.view().begin(), content.view().end()};
}

/// The frame as it is on its link. Stations rewrite fields of what they pass on; links are numbered as a reply goes
/// home.
std::vector<std::uint8_t> on_link(const Protocol* protocol, const Specimen& one, std::size_t links) {
  const Said& said = *one.said;
  const bool from_sender = !one.answering || !said.replied.empty();
  const auto known = !one.answering           ? said.asked
                     : !said.replied.empty()  ? said.replied
                     : !said.answered.empty() ? said.answered
                                              : foretold(protocol, said);
  if (protocol == nullptr || known.empty()) return known;
  Content content;
  content.assign(known);
  if (from_sender) {
    for (std::uint16_t hop = 0; hop < one.hops; ++hop) {
      if (!protocol->forward_bytes(content)) break;
    }
  } else {
    for (std::size_t link = one.link; link + 1 < links; ++link) protocol->undo_forward(content);
  }
  return {content.view().begin(), content.view().end()};
}

}  // namespace

ContentFacets content_facets(const Protocol* protocol, std::span<const Specimen* const> specimens, bool rows,
                             std::size_t links) {
  ContentFacets found;
  std::optional<Reader> reader;
  if (protocol != nullptr) reader.emplace(*protocol, specimens.size());
  Facet changed;
  changed.id = FacetId::changed;
  changed.rank = 7;
  std::size_t heard_before = 0;
  for (std::size_t i = 0; i < specimens.size(); ++i) {
    const Specimen& one = *specimens[i];
    const Said& said = *one.said;
    heard_before += said.replied.empty() ? 0 : 1;
    if (rows) {
      found.frames.push_back(on_link(protocol, one, links));
      const HeldBytes held = bytes_of(found.frames.back());
      found.asked.push_back(one.answering ? bytes_of(said.asked) : held);
      found.replied.push_back(one.answering ? held : HeldBytes{});
    } else {
      found.asked.push_back(bytes_of(said.asked));
      found.replied.push_back(bytes_of(foretold(protocol, said)));
    }
    const auto& reply = said.answered.empty() ? said.replied : said.answered;
    changed.values.push_back(protocol != nullptr ? change_in(*protocol, reply, said.before) : no_value);
    if (!reader) continue;
    reader->read(i, FacetId::asked_field, said.asked);
    reader->read(i, FacetId::reply_field, reply);
    reader->read(i, FacetId::before_field, said.before);
  }
  const bool heard = rows && heard_before > 0;
  found.replies_known_from = heard ? "as it was heard on the hops before" : "worked out from the reply before";
  if (reader) found.fields = reader->take(heard ? "as it was heard on the hops before" : "known from retries");
  if (reader) found.fields.push_back(std::move(changed));
  return found;
}

}  // namespace hopbench
