#include <algorithm>
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
            frame_.field[i]);
      }
    }
    const auto topic = protocol_->topic(frame_);
    if (!topic) return;
    const auto side = of == FacetId::asked_field ? Protocol::Side::ask : Protocol::Side::answer;
    const TopicSpec& spec = protocol_->topic_spec(*topic);
    const Layout& layout = side == Protocol::Side::ask ? spec.ask : spec.answer;
    if (frame_.role == Role::refusal || !protocol_->read(frame_, side, values_)) return;
    for (const PayloadValue& value : values_) {
      if (value.item >= layout.size()) continue;
      const LayoutItem& item = layout[value.item];
      if (!item.field && (!item.group || value.field >= item.group->fields.size())) continue;
      const FieldSpec& field = item.field ? *item.field : item.group->fields[value.field];
      std::string name = spec.name + "." + field.name;
      if (item.group) name += "[" + std::to_string(value.repetition) + "]";
      put(specimen, {of, *topic, value.item, value.field, value.repetition}, field, name, value.raw);
    }
  }

  /// Those that differ between specimens.
  std::vector<Facet> take() {
    std::vector<Facet> all;
    std::map<FacetId, std::size_t> taken;
    for (auto& [field, facet] : columns_) {
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

  void put(std::size_t specimen, const Field& key, const FieldSpec& field, const std::string& name, std::uint64_t raw) {
    auto found = columns_.find(key);
    if (found == columns_.end()) {
      if (columns_.size() >= most_columns) return;
      Facet facet;
      facet.id = std::get<0>(key);
      facet.rank = facet.id == FacetId::asked_field ? 6 : facet.id == FacetId::reply_field ? 8 : 9;
      facet.slow = std::get<1>(key) != header;
      facet.bits = true;
      facet.counts = std::get<1>(key) == header && field.name == protocol_->description().roles.exchange;
      facet.label = name;
      facet.field = &field;
      facet.values.assign(specimens_, no_value);
      found = columns_.emplace(key, std::move(facet)).first;
    }
    found->second.values[specimen] = signed_raw(raw, field);
  }

  const Protocol* protocol_;
  std::vector<const FieldSpec*> header_;
  std::size_t specimens_;
  std::map<Field, Facet> columns_;
  Frame frame_;
  std::vector<PayloadValue> values_;
};

/// Whether the reply says something else than the one before; no_value where either is not known.
std::int64_t change_in(const Protocol& protocol, const Said& said) {
  Frame now;
  Frame before;
  if (said.answered.empty() || said.before.empty() || protocol.parse(said.answered, now) != Damage::none ||
      protocol.parse(said.before, before) != Damage::none) {
    return no_value;
  }
  return now.payload == before.payload ? 0 : 1;
}

/// The reply's bytes, had nothing changed since the one before but the name of the exchange.
HeldBytes foretold(const Protocol& protocol, const Said& said) {
  Frame ask;
  Frame reply;
  if (said.asked.empty() || said.before.empty() || protocol.parse(said.asked, ask) != Damage::none ||
      protocol.parse(said.before, reply) != Damage::none) {
    return {};
  }
  if (const auto exchange = protocol.exchange(ask)) protocol.name_exchange(reply, *exchange);
  Content content;
  protocol.encode(reply, content);
  return bytes_of(content.view());
}

}  // namespace

ContentFacets content_facets(const Protocol* protocol, std::span<const Specimen* const> specimens) {
  ContentFacets found;
  std::optional<Reader> reader;
  if (protocol != nullptr) reader.emplace(*protocol, specimens.size());
  Facet changed;
  changed.id = FacetId::changed;
  changed.rank = 7;
  for (std::size_t i = 0; i < specimens.size(); ++i) {
    const Said& said = *specimens[i]->said;
    found.asked.push_back(bytes_of(said.asked));
    found.replied.push_back(protocol != nullptr ? foretold(*protocol, said) : bytes_of(said.before));
    changed.values.push_back(protocol != nullptr ? change_in(*protocol, said) : no_value);
    if (!reader) continue;
    reader->read(i, FacetId::asked_field, said.asked);
    reader->read(i, FacetId::reply_field, said.answered);
    reader->read(i, FacetId::before_field, said.before);
  }
  if (reader) found.fields = reader->take();
  if (reader) found.fields.push_back(std::move(changed));
  return found;
}

}  // namespace hopbench
