#include "study/dependence.h"

#include <algorithm>
#include <set>

namespace hopbench {
namespace {

constexpr double sharp = 6;         // times as frequent: less may come from what goes along with something else
constexpr double surely = 1e-6;     // chance of a rule, corrected
constexpr double most_of_it = 0.5;  // of the failures

/// What a rule may be made of, as far as mechanisms care.
enum class Kind : std::uint8_t {
  place,      // leg, node, topic, plan entry, hop, distance
  length,     // of the frame
  order,      // retries, silences, what went before, place in the round
  load,       // time in a forwarder
  condition,  // as told
  content,    // fields, bytes, changes
  counting,   // every so many frames
  period,     // of time
};

Kind kind_of(FacetId id) {
  switch (id) {
    case FacetId::leg:
    case FacetId::node:
    case FacetId::topic:
    case FacetId::hop:
    case FacetId::entry:
    case FacetId::distance:
      return Kind::place;
    case FacetId::length:
      return Kind::length;
    case FacetId::attempt:
    case FacetId::node_before:
    case FacetId::topic_before:
    case FacetId::in_round:
    case FacetId::since_frame:
    case FacetId::since_exchange:
    case FacetId::since_node:
      return Kind::order;
    case FacetId::held:
      return Kind::load;
    case FacetId::condition:
    case FacetId::sender_heat:
    case FacetId::receiver_heat:
      return Kind::condition;
    case FacetId::asked_field:
    case FacetId::asked_byte:
    case FacetId::reply_byte:
    case FacetId::changed:
    case FacetId::reply_field:
    case FacetId::before_field:
      return Kind::content;
    case FacetId::count:
    case FacetId::node_count:
    case FacetId::turn:
    case FacetId::number:
      return Kind::counting;
    case FacetId::period:
      return Kind::period;
  }
  return Kind::place;
}

/// Conditions are tested by clusters elsewhere, and so say nothing here.
std::set<Kind> may_depend(Mechanism mechanism) {
  using M = Mechanism;
  switch (mechanism) {
    case M::bit_noise:
    case M::bursts:
    case M::contact:
    case M::charger:
    case M::bleed_edges:
      return {Kind::condition};
    case M::cable:
      return {Kind::length, Kind::condition, Kind::order, Kind::place};
    case M::clock:
      return {Kind::length, Kind::condition, Kind::place, Kind::content};
    case M::pulse_width:
      return {Kind::length, Kind::condition, Kind::place, Kind::content, Kind::order};
    case M::busy_node:
      return {Kind::length, Kind::condition, Kind::place, Kind::order, Kind::load, Kind::period};
    case M::measurement:
      return {Kind::length, Kind::condition, Kind::place, Kind::order, Kind::content};
    case M::supply:
    case M::watchdog:
      return {Kind::condition, Kind::period, Kind::order};
    case M::room:
      return {Kind::length, Kind::place, Kind::load, Kind::content, Kind::order};
    case M::wake_up:
      return {Kind::place, Kind::order, Kind::length, Kind::content};
    case M::controller:
      return {Kind::length, Kind::condition, Kind::place, Kind::order, Kind::period, Kind::counting};
    case M::balancing:
    case M::injected:
      break;
  }
  return {Kind::length, Kind::condition, Kind::place, Kind::period, Kind::order};
}

double lift_of(const Rule& rule) {
  const double in = (static_cast<double>(rule.failed_in) + 0.5) / (static_cast<double>(rule.in) + 1);
  const double out = (static_cast<double>(rule.failed_out) + 0.5) / (static_cast<double>(rule.out) + 1);
  return in / out;
}

/// How many times as many characters the longest frames on the case's first link have as the shortest.
double lengths_apart(const Looked& at) {
  if (at.which.links.empty() || at.which.links.front() >= at.evidence.links.size()) return 1;
  const auto& by_chars = at.evidence.links[at.which.links.front()].frames_by_chars;
  std::size_t first = bin_count;
  std::size_t last = 0;
  for (std::size_t bin = 0; bin < bin_count; ++bin) {
    if (by_chars[bin] == 0) continue;
    first = std::min(first, bin);
    last = bin;
  }
  return first > last ? 1 : (8 * static_cast<double>(last) + 8) / (8 * static_cast<double>(first) + 4);
}

/// Where edges are passed on, frames go by those that they are not for, and what happens to them there is no failure.
bool passes_edges(const Looked& at) {
  if (at.which.links.empty() || at.which.links.front() >= at.evidence.links.size()) return false;
  const auto& link = at.evidence.links[at.which.links.front()];
  return 2 * link.edges > link.frames || link.recovered > 0;
}

/// A period counts where it came round often enough: what happens once or twice falls into any.
bool keeps_step(const Looked& at, const RulePart& part) {
  constexpr std::size_t often = 8;
  if (part.clause.modulus <= 0) return false;
  std::set<Nanos> rounds;
  for (const auto i : at.which.incidents) rounds.insert(at.evidence.incidents[i].at / part.clause.modulus);
  return rounds.size() >= often;
}

/// What a node told last is how things were with it, as far as the mechanism hangs on that: cells' voltages are where
/// its supply comes from, masks and currents are told in replies as well.
bool told_before(Mechanism mechanism, FacetId facet) {
  if (facet != FacetId::before_field) return false;
  switch (mechanism) {
    case Mechanism::supply:
    case Mechanism::watchdog:
    case Mechanism::busy_node:
    case Mechanism::charger:
    case Mechanism::bleed_edges:
      return true;
    default:
      return false;
  }
}

/// Where frames are hit by their length, so is whatever goes along with length; and what lasts goes along with order.
/// A rule of several parts rejects only if none of them may be: one may have come along with another.
bool may_be(Mechanism mechanism, const Rule& rule, const Looked& at) {
  const double lift = lift_of(rule);
  const auto may = may_depend(mechanism);
  return std::any_of(rule.parts.begin(), rule.parts.end(), [&](const RulePart& part) {
    const auto kind = kind_of(part.facet);
    if (kind == Kind::period && !keeps_step(at, part)) return true;
    if (kind == Kind::period && (mechanism == Mechanism::clock || mechanism == Mechanism::charger ||
                                 mechanism == Mechanism::bleed_edges || mechanism == Mechanism::measurement)) {
      return true;  // conditions come round
    }
    if (told_before(mechanism, part.facet)) return true;
    if (may.contains(kind) || (kind == Kind::place && passes_edges(at))) return true;
    const bool with_length = kind == Kind::length || kind == Kind::place || kind == Kind::content ||
                             kind == Kind::order || kind == Kind::load;
    double borrowed = with_length ? lengths_apart(at) : 1;
    if (kind == Kind::order && at.facts.runs.second_ones > 0.05) borrowed *= 5;
    return lift < sharp * borrowed;
  });
}

}  // namespace

void expect_rules(std::vector<Hypothesis>& all, const Looked& at, const Common& common) {
  if (common.rules.empty()) return;
  const auto& rule = common.rules.front();
  const bool counts =
      rule.p < surely && lift_of(rule) >= sharp &&
      static_cast<double>(rule.failed_in) >= most_of_it * static_cast<double>(rule.failed_in + rule.failed_out);
  if (!counts) return;
  for (auto& each : all) each.never(!may_be(each.mechanism(), rule, at), rule.sentence);
}

}  // namespace hopbench
