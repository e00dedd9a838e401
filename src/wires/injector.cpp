#include "wires/injector.h"

#include <algorithm>

#include "books/late.h"

namespace hopbench {
namespace {

constexpr std::uint64_t always = ~std::uint64_t{0};

std::uint64_t threshold_of(Ppq rate) {
  if (rate >= certain) return always;
  return static_cast<std::uint64_t>((static_cast<unsigned __int128>(rate) << 64U) / certain);
}

/// So many places of 0..all-1, none twice (all of them if there are no more). Those of fewer are the first of more.
std::vector<std::uint64_t> places(StreamKey stream, std::uint64_t turn, std::uint32_t wanted, std::uint64_t all) {
  std::vector<std::uint64_t> taken;  // rising
  std::vector<std::uint64_t> drawn;
  for (std::uint32_t i = 0; i < wanted && i < all; ++i) {
    std::uint64_t place = below(all - i, draw(stream, turn, i));  // among those that are left
    auto before = taken.begin();
    for (; before != taken.end() && *before <= place; ++before) ++place;
    taken.insert(before, place);
    drawn.push_back(place);
  }
  return drawn;
}

template <class T>
bool names(const std::vector<T>& wanted, T value) {
  return wanted.empty() || std::find(wanted.begin(), wanted.end(), value) != wanted.end();
}

}  // namespace

std::size_t header_index(const BusDescription& bus, const std::string& name) {
  std::size_t index = 0;
  for (const PartSpec& part : bus.parts) {
    if (!part.field) continue;
    if (!name.empty() && part.field->name == name) return index;
    ++index;
  }
  return max_header_fields;
}

Injector::Injector(const ChainDescription& chain, const Protocol& protocol, const Luck& luck)
    : chain_(&chain), protocol_(&protocol), luck_(luck) {
  const BusDescription& bus = protocol.description();
  destination_field_ = header_index(bus, bus.roles.destination.empty() ? bus.roles.distance : bus.roles.destination);
  source_field_ = header_index(bus, bus.roles.source);
  for (std::uint32_t i = 0; i < chain.faults.size(); ++i) {
    const FaultSpec& spec = chain.faults[i];
    if (spec.kind == FaultClass::reset) continue;
    Armed armed{&spec, i, name_hash(spec.name), threshold_of(spec.rate), {}, 0};
    for (const std::string& topic : spec.topics) {
      if (const auto found = protocol.topic_named(topic)) armed.topics.push_back(*found);
    }
    (spec.kind == FaultClass::memory ? memory_ : faults_).push_back(armed);
  }
}

StreamKey Injector::stream(const Armed& armed, Purpose purpose, std::uint64_t place_hash, const FrameKey& key) const {
  const std::uint64_t who = name_hash(place_hash, name_hash(key.entry_hash, armed.name_hash));
  const std::uint64_t sub = (static_cast<std::uint64_t>(key.copy) << 16U) |
                            (static_cast<std::uint64_t>(key.attempt) << 8U) | (key.answering ? 1U : 0U);
  return luck_.stream(who, purpose, sub);
}

bool Injector::strikes(Armed& armed, std::uint64_t place_hash, Nanos at, std::uint16_t node, const Parcel& parcel) {
  const FaultSpec& spec = *armed.spec;
  if (at < spec.from || at >= spec.to || balancing_ < spec.while_balancing) return false;
  if (spec.at_most != 0 && armed.struck >= spec.at_most) return false;
  if (spec.leg == LegFilter::asks && parcel.passport.key.answering) return false;
  if (spec.leg == LegFilter::answers && !parcel.passport.key.answering) return false;
  if (spec.kind != FaultClass::memory && !names(spec.nodes, node)) return false;
  if (!spec.topics.empty()) {
    // An answer that names no topic may be one to any of those whose answers look so.
    const auto topic = protocol_->topic(parcel.frame);
    const auto answers = [&](std::uint32_t each) { return protocol_->may_answer(parcel.frame, each); };
    const bool named =
        topic ? names(armed.topics, *topic)
              : !protocol_->names_topic(parcel.frame) && std::any_of(armed.topics.begin(), armed.topics.end(), answers);
    if (!named) return false;
  }
  if (armed.threshold != always && draw(stream(armed, Purpose::fault_strike, place_hash, parcel.passport.key),
                                        parcel.passport.key.turn, 0) >= armed.threshold) {
    return false;
  }
  ++armed.struck;
  ++struck_;
  return true;
}

bool Injector::may_strike(const Armed& armed, std::uint64_t place_hash, const Passage& passage) const {
  const FaultSpec& spec = *armed.spec;
  if (passage.to < spec.from || passage.from >= spec.to || balancing_ < spec.while_balancing) return false;
  if (spec.at_most != 0 && armed.struck >= spec.at_most) return false;
  if (spec.leg == LegFilter::asks && passage.key.answering) return false;
  if (spec.leg == LegFilter::answers && !passage.key.answering) return false;
  if (spec.kind != FaultClass::memory && !names(spec.nodes, passage.node)) return false;
  if (!spec.topics.empty() && !names(armed.topics, passage.topic)) return false;
  return armed.threshold == always ||
         draw(stream(armed, Purpose::fault_strike, place_hash, passage.key), passage.key.turn, 0) < armed.threshold;
}

bool Injector::spares(const Passage& passage) const {
  for (const Armed& armed : faults_) {
    if (names(armed.spec->links, passage.link) && may_strike(armed, passage.link_hash, passage)) return false;
  }
  if (passage.forwarder == nobody) return true;
  for (const Armed& armed : memory_) {
    if (!names(armed.spec->nodes, passage.forwarder)) continue;
    if (may_strike(armed, name_hash(chain_->nodes[passage.forwarder].name), passage)) return false;
  }
  return true;
}

bool Injector::needs_previous(Nanos now) const {
  return std::any_of(faults_.begin(), faults_.end(), [&](const Armed& armed) {
    const FaultSpec& spec = *armed.spec;
    return spec.kind == FaultClass::insertion && now < spec.to && (spec.at_most == 0 || armed.struck < spec.at_most);
  });
}

void Injection::clear() {
  lost = hold_back = altered = false;
  delay = hold_for = 0;
  inverted.clear();
  copies.clear();
  harm = nuisance = {};
  struck.clear();
}

void Injector::judge(std::uint16_t link, std::uint64_t link_hash, Nanos at, std::uint32_t slots, std::uint16_t node,
                     bool whole, Parcel& parcel, Injection& injection) {
  injection.clear();
  for (Armed& armed : faults_) {
    const FaultSpec& spec = *armed.spec;
    // Copies are not copied again: a fault that strikes every frame would never end.
    const bool copies = spec.kind == FaultClass::repetition || spec.kind == FaultClass::insertion;
    if (copies && parcel.passport.key.copy != 0) continue;
    if (!names(spec.links, link)) continue;
    const bool alters = spec.kind == FaultClass::masquerade || spec.kind == FaultClass::address;
    if (alters && parcel.raw) continue;
    if (!whole && (alters || spec.kind == FaultClass::delay || spec.kind == FaultClass::sequence)) continue;
    if (!strikes(armed, link_hash, at, node, parcel)) continue;
    const Blame blame{cause_of(spec.kind), nobody, link, armed.number};
    switch (spec.kind) {
      case FaultClass::corruption: {
        if (spec.first_bit) {
          if (*spec.first_bit >= slots) continue;
          const std::uint32_t end = std::min(slots - *spec.first_bit, spec.bits) + *spec.first_bit;
          for (std::uint32_t slot = *spec.first_bit; slot < end; ++slot) injection.inverted.push_back(slot);
          break;
        }
        const StreamKey where = stream(armed, Purpose::fault_detail, link_hash, parcel.passport.key);
        for (const std::uint64_t slot : places(where, parcel.passport.key.turn, spec.bits, slots)) {
          injection.inverted.push_back(static_cast<std::uint32_t>(slot));
        }
        std::sort(injection.inverted.begin(), injection.inverted.end());
        injection.inverted.erase(std::unique(injection.inverted.begin(), injection.inverted.end()),
                                 injection.inverted.end());
        break;
      }
      case FaultClass::repetition:
        injection.copies.push_back({spec.by, false, blame});
        break;
      case FaultClass::insertion:
        injection.copies.push_back({spec.by, true, blame});
        break;
      case FaultClass::sequence:
        injection.hold_back = true;
        injection.hold_for = spec.by;
        break;
      case FaultClass::loss:
        injection.lost = true;
        break;
      case FaultClass::delay:
        injection.delay += spec.by;
        break;
      case FaultClass::masquerade:
        if (parcel.frame.payload.empty()) continue;  // nothing to alter
        parcel.frame.payload[0] =
            static_cast<std::uint8_t>(parcel.frame.payload[0] ^ (spec.value == 0 ? 0xffU : spec.value & 0xffU));
        parcel.frame = protocol_->as_read(parcel.frame).value_or(parcel.frame);
        parcel.passport.fake = true;
        parcel.passport.forged_by = armed.number;
        injection.altered = true;
        break;
      case FaultClass::address: {
        std::size_t field = destination_field_;
        if (parcel.passport.key.answering && source_field_ != max_header_fields) field = source_field_;
        if (field == max_header_fields) continue;
        parcel.frame.field[field] = spec.value;
        parcel.frame = protocol_->as_read(parcel.frame).value_or(parcel.frame);
        parcel.passport.fake = true;
        parcel.passport.forged_by = armed.number;
        injection.altered = true;
        break;
      }
      case FaultClass::memory:
      case FaultClass::reset:
        break;
    }
    injection.struck.push_back(armed.number);
    const bool harms = spec.kind == FaultClass::corruption || spec.kind == FaultClass::loss || alters;
    Blame& first = harms ? injection.harm : injection.nuisance;
    if (first.cause == Cause::none) first = blame;
  }
}

bool Injector::damage_in_memory(std::uint16_t node, Nanos at, Parcel& parcel, Blame& blame) {
  for (Armed& armed : memory_) {
    const FaultSpec& spec = *armed.spec;
    if (!names(spec.nodes, node)) continue;
    const std::uint64_t place = name_hash(chain_->nodes[node].name);
    if (!strikes(armed, place, at, node, parcel)) continue;
    if (!parcel.raw) {
      protocol_->encode(parcel.frame, parcel.content);
      parcel.raw = true;
    }
    // Behind the head, so that the node's own header check is good, as it is when a node makes it anew.
    const std::size_t head = std::min(protocol_->head_bytes(), parcel.content.size() - 1);
    const StreamKey where = stream(armed, Purpose::fault_detail, place, parcel.passport.key);
    const std::uint64_t bits = 8 * (parcel.content.size() - head);
    for (const std::uint64_t bit : places(where, parcel.passport.key.turn, spec.bits, bits)) {
      parcel.content[head + bit / 8] = static_cast<std::uint8_t>(parcel.content[head + bit / 8] ^ (1U << (bit % 8)));
    }
    parcel.passport.inherited = true;
    blame = {Cause::injected_memory, node, nobody, armed.number};
    return true;
  }
  return false;
}

void Injector::keep(Archive& archive) {
  struck_ = 0;
  for (std::vector<Armed>* armed : {&faults_, &memory_}) {
    archive.all("fault", *armed, [&](Armed& fault) {
      archive.number("strikes", fault.struck);
      struck_ += fault.struck;
    });
  }
}

}  // namespace hopbench
