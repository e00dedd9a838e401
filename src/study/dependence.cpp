#include "study/dependence.h"

#include <fmt/format.h>

#include <algorithm>
#include <set>

#include "study/words.h"

namespace hopbench {
namespace {

FacetGroup kind_of(FacetId id) {
  switch (id) {
    case FacetId::leg:
    case FacetId::node:
    case FacetId::topic:
    case FacetId::hop:
    case FacetId::entry:
    case FacetId::distance:
      return FacetGroup::place;
    case FacetId::length:
      return FacetGroup::length;
    case FacetId::attempt:
    case FacetId::node_before:
    case FacetId::topic_before:
    case FacetId::in_round:
    case FacetId::since_frame:
    case FacetId::since_exchange:
    case FacetId::since_node:
    case FacetId::same_node:
    case FacetId::length_before:
      return FacetGroup::order;
    case FacetId::held:
      return FacetGroup::load;
    case FacetId::condition:
    case FacetId::sender_heat:
    case FacetId::receiver_heat:
    case FacetId::since_start:
    case FacetId::hour:
      return FacetGroup::condition;
    case FacetId::asked_field:
    case FacetId::asked_byte:
    case FacetId::reply_byte:
    case FacetId::changed:
    case FacetId::reply_field:
    case FacetId::before_field:
    case FacetId::reply_change:
    case FacetId::frame_byte:
    case FacetId::byte_at:
    case FacetId::byte_pair:
      return FacetGroup::content;
    case FacetId::count:
    case FacetId::node_count:
    case FacetId::turn:
    case FacetId::number:
      return FacetGroup::counting;
    case FacetId::period:
      return FacetGroup::period;
  }
  return FacetGroup::place;
}

}  // namespace

std::set<FacetGroup> may_depend(Mechanism mechanism) {
  using M = Mechanism;
  switch (mechanism) {
    case M::bit_noise:
    case M::bursts:
    case M::contact:
    case M::charger:
    case M::bleed_edges:
      return {FacetGroup::condition};
    case M::cable:
      return {FacetGroup::length, FacetGroup::condition, FacetGroup::order, FacetGroup::place};
    case M::clock:
      return {FacetGroup::length, FacetGroup::condition, FacetGroup::place, FacetGroup::content};
    case M::pulse_width:
      return {FacetGroup::length, FacetGroup::condition, FacetGroup::place, FacetGroup::content, FacetGroup::order};
    case M::busy_node:
      return {FacetGroup::length, FacetGroup::condition, FacetGroup::place,
              FacetGroup::order,  FacetGroup::load,      FacetGroup::period};
    case M::measurement:
      return {FacetGroup::length, FacetGroup::condition, FacetGroup::place, FacetGroup::order, FacetGroup::content};
    case M::supply:
    case M::watchdog:
      return {FacetGroup::condition, FacetGroup::period, FacetGroup::order};
    case M::room:
      return {FacetGroup::length, FacetGroup::place, FacetGroup::load, FacetGroup::content, FacetGroup::order};
    case M::wake_up:
      return {FacetGroup::place, FacetGroup::order, FacetGroup::length, FacetGroup::content};
    case M::controller:
      return {FacetGroup::length, FacetGroup::condition, FacetGroup::place,
              FacetGroup::order,  FacetGroup::period,    FacetGroup::counting};
    case M::balancing:
    case M::injected:
      break;
  }
  return {FacetGroup::length, FacetGroup::condition, FacetGroup::place, FacetGroup::period, FacetGroup::order};
}

namespace {

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

/// Lengths at which nothing passed, of some of the failures only: damage has made these frames as long as that.
bool spoiled(const Rule& rule) {
  constexpr double most = 0.6;
  return rule.failed_in == rule.in &&
         static_cast<double>(rule.failed_in) < most * static_cast<double>(rule.failed_in + rule.failed_out);
}

/// Where frames are hit by their length, so is whatever goes along with length; and what lasts goes along with order.
/// A rule of several parts rejects only if none of them may be: one may have come along with another.
bool may_be(Mechanism mechanism, const Rule& rule, const Looked& at) {
  const double lift = lift_of(rule);
  const auto may = may_depend(mechanism);
  // Anything may begin or end while somebody looks on: the other parts decide.
  const auto tells = [](const RulePart& part) { return part.facet != FacetId::since_start; };
  if (std::none_of(rule.parts.begin(), rule.parts.end(), tells)) return true;
  return std::any_of(rule.parts.begin(), rule.parts.end(), [&](const RulePart& part) {
    if (!tells(part)) return false;
    const auto kind = kind_of(part.facet);
    if (kind == FacetGroup::period && !keeps_step(at, part)) return true;
    if (kind == FacetGroup::period && (mechanism == Mechanism::clock || mechanism == Mechanism::charger ||
                                       mechanism == Mechanism::bleed_edges || mechanism == Mechanism::measurement)) {
      return true;  // conditions come round
    }
    if (told_before(mechanism, part.facet)) return true;
    if (kind == FacetGroup::length && spoiled(rule)) return true;
    // What befalls one plan entry only does so once in as many exchanges as the plan goes round in.
    if (kind == FacetGroup::counting && at.facts.one_entry > 0.9 && may.contains(FacetGroup::place)) return true;
    if (may.contains(kind) || (kind == FacetGroup::place && passes_edges(at))) return true;
    const bool with_length = kind == FacetGroup::length || kind == FacetGroup::place || kind == FacetGroup::content ||
                             kind == FacetGroup::order || kind == FacetGroup::load;
    double borrowed = with_length ? lengths_apart(at) : 1;
    if (kind == FacetGroup::order && at.facts.runs.second_ones > 0.05) borrowed *= 5;
    return lift < rule_lift * borrowed;
  });
}

/// What hits a frame anywhere does not hit it at one place; who wakes up too late misses the beginning.
void expect_damage(std::vector<Hypothesis>& all, const Common& common) {
  constexpr std::uint64_t enough = 12;
  using M = Mechanism;
  const DamageStarts& starts = common.damage_starts;
  const bool within = starts.known >= enough && 2 * starts.at_first < starts.known;
  const bool placed = common.damage && 10 * common.damage->in >= 8 * common.damage->of && common.damage->at != 1;
  for (auto& each : all) {
    const M m = each.mechanism();
    each.never(within && m == M::wake_up, fmt::format("damage begins at the first byte in {} of {} frames",
                                                      words::count(starts.at_first), words::count(starts.known)));
    const bool anywhere = m == M::bit_noise || m == M::bursts || m == M::contact || m == M::cable;
    if (placed) each.never(anywhere, sentence_of(*common.damage, common.sampled));
  }
}

}  // namespace

void expect_rules(std::vector<Hypothesis>& all, const Looked& at, const Common& common) {
  expect_damage(all, common);
  // Of a few runs any description may be true by chance, however many failures there are in them.
  constexpr std::uint64_t least_runs = 8;
  const auto runs = at.facts.runs.count;
  if (common.rules.empty() || (at.which.family == Family::wire && runs > 0 && runs < least_runs)) return;
  const auto& rule = common.rules.front();
  const bool counts =
      rule.p < rule_chance && lift_of(rule) >= rule_lift &&
      static_cast<double>(rule.failed_in) >= share_under_rule * static_cast<double>(rule.failed_in + rule.failed_out);
  if (!counts) return;
  for (auto& each : all) each.never(!may_be(each.mechanism(), rule, at), rule.sentence);
}

}  // namespace hopbench
