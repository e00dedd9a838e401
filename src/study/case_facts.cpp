#include "study/case_facts.h"

#include <algorithm>
#include <cmath>
#include <map>
#include <vector>

namespace hopbench {
namespace {

Effect effect_of(const Evidence& evidence, const Case& which, Condition condition) {
  Effect effect;
  effect.alone = trend_of(tabulate(evidence, which, condition, {}));
  std::vector<Condition> others;
  if (condition != Condition::balancing) others.push_back(Condition::balancing);
  if (condition != Condition::charge) others.push_back(Condition::charge);
  effect.at_equal = trend_of(tabulate(evidence, which, condition, others));
  return effect;
}

/// Time of one character, ns; none if too little was heard. Where frames of several lengths were heard, what does not
/// depend on their length (delays) falls out.
std::optional<double> char_time(double frames, double chars, double chars_squared, double time, double time_chars) {
  if (frames < 10 || chars <= 0) return std::nullopt;
  const double spread = chars_squared - chars * chars / frames;
  if (spread > 0.5 * frames) return (time_chars - time * chars / frames) / spread;
  return time / chars;
}

std::optional<double> char_time(const LinkEvidence& link) {
  CharLength sum;
  for (const auto& one : link.by_sender_heat) {
    sum.frames += one.frames - std::min(one.bad, one.frames);
    sum.chars += one.chars;
    sum.chars_squared += one.chars_squared;
    sum.time += one.time;
    sum.time_chars += one.time_chars;
  }
  return char_time(static_cast<double>(sum.frames), sum.chars, sum.chars_squared, sum.time, sum.time_chars);
}

std::optional<double> char_time(const CharLength& one) {
  const auto good = one.frames - std::min(one.bad, one.frames);
  return char_time(static_cast<double>(good), one.chars, one.chars_squared, one.time, one.time_chars);
}

std::optional<double> middle(std::vector<double> values) {
  if (values.empty()) return std::nullopt;
  const auto half = values.begin() + static_cast<std::ptrdiff_t>(values.size() / 2);
  std::nth_element(values.begin(), half, values.end());
  return *half;
}

/// Of whoever sends on `link`.
std::optional<Pace> pace_of(const Evidence& evidence, std::uint16_t link, double usual, const CaseFacts& facts) {
  if (link >= evidence.links.size() || facts.n <= 0) return std::nullopt;
  const auto own = char_time(evidence.links[link]);
  if (!own || usual <= 0) return std::nullopt;
  Pace pace;
  pace.link = link;
  pace.off = *own / usual - 1;
  pace.off_when_bad = pace.off;
  double farthest = std::abs(pace.off);
  for (std::size_t bin = 0; bin + 1 < bin_count; ++bin) {
    const auto here = char_time(evidence.links[link].by_sender_heat[bin]);
    if (!here) continue;
    const double off = *here / usual - 1;
    if (std::abs(off) > farthest + 0.001) {
      farthest = std::abs(off);
      pace.off_when_bad = off;
      pace.worse_from = temperature_from(bin);
    }
  }
  return pace;
}

}  // namespace

CaseFacts facts_of(const Evidence& evidence, const Case& which) {
  CaseFacts facts;
  facts.n = static_cast<double>(which.incidents.size());
  if (which.incidents.empty()) return facts;
  std::map<std::uint16_t, double> nodes;
  std::map<std::uint32_t, double> entries;
  for (const auto i : which.incidents) {
    const auto& incident = evidence.incidents[i];
    facts.share[static_cast<std::size_t>(incident.symptom) % symptom_count] += 1 / facts.n;
    nodes[incident.node] += 1 / facts.n;
    entries[incident.entry] += 1 / facts.n;
  }
  const auto share = [&](Symptom symptom) { return facts.share[static_cast<std::size_t>(symptom)]; };
  const double stop_bits = share(Symptom::framing) + share(Symptom::parity);
  facts.damaged = stop_bits + share(Symptom::check) + share(Symptom::too_long);
  facts.framing = facts.damaged > 0 ? stop_bits / facts.damaged : 0;
  facts.gone = share(Symptom::nothing);
  facts.cut = share(Symptom::too_short);
  for (const auto& [node, part] : nodes) {
    if (part <= facts.one_node) continue;
    facts.one_node = part;
    facts.node = node;
  }
  for (const auto& [entry, part] : entries) {
    if (part <= facts.one_entry) continue;
    facts.one_entry = part;
    if (entry < evidence.entries.size() && evidence.entries[entry].tries > 0) {
      facts.entry_rate = part * facts.n * evidence.one_incident_in / static_cast<double>(evidence.entries[entry].tries);
    }
  }
  if (which.family == Family::wire && !which.links.empty() && which.links.front() < evidence.links.size()) {
    const auto& link = evidence.links[which.links.front()];
    if (link.frames > 0) facts.link_rate = static_cast<double>(link.bad()) / static_cast<double>(link.frames);
  }
  if (evidence.tries > 0) {
    facts.rate = facts.n * evidence.one_incident_in / static_cast<double>(evidence.tries);
  }
  // A few exchanges apart, in which others may have gone well.
  constexpr int near = 3;
  facts.episodes = episodes_of(evidence, which, near * std::max<Nanos>(evidence.usual_gap, millisecond));
  facts.clumped = 1 - static_cast<double>(facts.episodes.alone) / facts.n;
  const double places = std::max<double>(
      1, static_cast<double>(which.family == Family::wire ? which.links.size() : which.stations.size()));
  facts.clumped_by_chance = 1 - std::pow(1 - std::min(0.9, facts.rate / places), 2 * near);

  facts.balancing = effect_of(evidence, which, Condition::balancing);
  facts.charge = effect_of(evidence, which, Condition::charge);
  facts.temperature = effect_of(evidence, which, Condition::temperature);
  facts.supply = effect_of(evidence, which, Condition::supply);

  if (which.family == Family::wire && !which.links.empty() && evidence.sight != Sight::controller_only) {
    std::vector<double> times;
    for (const auto& link : evidence.links) {
      if (const auto time = char_time(link)) times.push_back(*time);
    }
    const auto usual = middle(times);
    const auto& links = evidence.run.links;
    const auto link = which.links.front();
    if (usual && link < links.size()) {
      facts.sender = pace_of(evidence, link, *usual, facts);
      for (std::uint16_t next = 0; next < links.size(); ++next) {
        if (links[next].from != links[link].to || links[next].homeward != links[link].homeward) continue;
        facts.receiver = pace_of(evidence, next, *usual, facts);
        break;
      }
    }
  }
  if (!which.stations.empty() && which.stations.front() < evidence.off_starts.size()) {
    facts.off_starts = evidence.off_starts[which.stations.front()];
  } else if (which.family == Family::wire && !which.incidents.empty()) {
    const auto station = evidence.incidents[which.incidents.front()].station;
    if (station < evidence.off_starts.size()) facts.off_starts = evidence.off_starts[station];
  }
  return facts;
}

}  // namespace hopbench
