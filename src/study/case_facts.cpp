#include "study/case_facts.h"

#include <algorithm>
#include <array>
#include <boost/math/distributions/chi_squared.hpp>
#include <cmath>
#include <map>
#include <set>
#include <tuple>
#include <utility>
#include <vector>

#include "study/ripple.h"

namespace hopbench {
namespace {

/// Whether damage keeps step with a ripple: its phases against those of all frames on the same links.
void find_ripple(const Evidence& evidence, const Case& which, CaseFacts& facts) {
  constexpr double least_expected = 3;
  constexpr double plain_enough = 1e-4;  // then its frequency need not be looked for
  for (std::size_t i = 0; i < ripple_periods.size(); ++i) {
    std::map<std::uint16_t, double> on_link;
    std::array<double, phase_count> seen{};
    for (const auto each : which.incidents) {
      const auto& incident = evidence.incidents[each];
      // What is not heard at all is not in step with anything but the plan.
      if (incident.ending != Ending::damaged || incident.link >= evidence.links.size()) continue;
      on_link[incident.link] += 1;
      seen[phase_of(incident.at, incident.until, ripple_periods[i])] += 1;
    }
    std::array<double, phase_count> expected{};
    for (const auto& [link, incidents] : on_link) {
      const auto& phases = evidence.links[link].phases[i];
      double all = 0;
      for (const auto count : phases) all += static_cast<double>(count);
      if (all <= 0) continue;
      for (std::size_t p = 0; p < phase_count; ++p) expected[p] += incidents * static_cast<double>(phases[p]) / all;
    }
    // Phases in which hardly anything was sent are put together with the next.
    double chi = 0;
    int places = 0;
    double some_seen = 0;
    double some_expected = 0;
    for (std::size_t p = 0; p < phase_count; ++p) {
      some_seen += seen[p];
      some_expected += expected[p];
      if (some_expected < least_expected) continue;
      chi += (some_seen - some_expected) * (some_seen - some_expected) / some_expected;
      some_seen = some_expected = 0;
      ++places;
    }
    if (places < 4) continue;
    const boost::math::chi_squared_distribution<double> law(places - 1);
    const double p = boost::math::cdf(boost::math::complement(law, chi));
    if (2 * p >= facts.ripple_p) continue;
    facts.ripple_p = 2 * p;  // two periods are looked at
    facts.ripple_hz = i == 0 ? 100 : 120;
  }
  if (facts.ripple_p < plain_enough) return;
  std::set<std::pair<std::uint16_t, Nanos>> damaged;
  for (const auto each : which.incidents) {
    const auto& incident = evidence.incidents[each];
    if (incident.ending == Ending::damaged)
      damaged.emplace(incident.link, incident.at + (incident.until - incident.at) / 2);
  }
  std::vector<Twins> pairs;
  for (const TwinFrames& twins : evidence.twins) {
    if (damaged.contains({twins.link, twins.damaged})) pairs.push_back({twins.damaged, twins.spared});
  }
  std::sort(pairs.begin(), pairs.end(), [](const Twins& a, const Twins& b) { return a.damaged < b.damaged; });
  for (const int hz : {100, 120}) {
    const double p = 2 * chance_of_step(pairs, hz);
    if (p >= facts.ripple_p) continue;
    facts.ripple_p = p;
    facts.ripple_hz = hz;
    facts.ripple_wanders = true;
  }
}

/// On the first link, shortest first.
std::vector<Nanos> silences_of(const Evidence& evidence, const Case& which) {
  std::vector<Nanos> all;
  for (const auto i : which.incidents) {
    const auto& incident = evidence.incidents[i];
    if (incident.link == which.links.front() && incident.silence >= 0) all.push_back(incident.silence);
  }
  std::sort(all.begin(), all.end());
  return all;
}

/// Nearly all damage came after a silence at least this long, and hardly any frame after a shorter one was damaged.
void find_silence(const Evidence& evidence, const Case& which, const LinkEvidence& link, CaseFacts& facts) {
  const auto after = silences_of(evidence, which);
  if (after.size() < 20 || link.frames <= link.bad()) return;
  const Nanos from = after[after.size() / 40];
  const auto good = static_cast<double>(link.frames - link.bad());  // failures of other cases are none
  const auto& sample = link.good_after.sample;
  if (sample.empty()) return;
  const auto long_ones =
      static_cast<double>(std::count_if(sample.begin(), sample.end(), [&](Nanos span) { return span >= from; }));
  const auto good_long = good * long_ones / static_cast<double>(sample.size());
  const auto bad = static_cast<double>(after.size()) * evidence.one_incident_in;
  const double rate = bad / (bad + good_long);
  const double good_short = good - good_long;
  if (rate < 0.8 || good_short < 50 || bad / 40 > 0.1 * rate * good_short) return;
  facts.silence = from;
  facts.silence_rate = rate;
}

/// What adds up from hop to hop kills on every link alike, after so many hops, and hardly anything before.
void find_worn_out(const Evidence& evidence, const LinkEvidence& first, CaseFacts& facts) {
  constexpr double least = 20;
  struct Come {
    double frames = 0;
    double bad = 0;
    std::size_t bad_links = 0;
  };
  std::vector<Come> come;
  Come rest;
  for (const auto& link : evidence.links) {
    come.resize(std::max(come.size(), link.travelled.size()));
    for (std::size_t hops = 0; hops < link.travelled.size(); ++hops) {
      const auto& here = link.travelled[hops];
      come[hops].frames += static_cast<double>(here.frames);
      come[hops].bad += static_cast<double>(here.bad);
      come[hops].bad_links += here.bad > 0 ? 1 : 0;
      rest.frames += static_cast<double>(here.frames);
      rest.bad += static_cast<double>(here.bad);
    }
  }
  Come well;
  for (std::size_t hops = 0; hops + 1 < come.size(); ++hops) {
    well.frames += come[hops].frames;
    well.bad += come[hops].bad;
    rest.frames -= come[hops].frames;
    rest.bad -= come[hops].bad;
    if (well.frames < least || rest.frames < least || well.bad > 0.02 * well.frames || rest.bad < 0.5 * rest.frames ||
        come[hops + 1].bad_links < 2) {
      continue;
    }
    // What else damages frames on this link does so however far they have come.
    std::uint64_t far = 0;
    std::uint64_t all = 0;
    for (std::size_t come_here = 0; come_here < first.travelled.size(); ++come_here) {
      all += first.travelled[come_here].bad;
      if (come_here > hops) far += first.travelled[come_here].bad;
    }
    if (10 * far < 9 * all) return;
    facts.worn_out = hops;
    facts.worn_out_rate = rest.bad / rest.frames;
    return;
  }
}

/// Whether frames of a plan entry pass the case's first link: in a line those for nearer nodes do not.
bool passes(const Evidence& evidence, const Case& which, std::size_t entry) {
  if (!on_links(which.family) || which.links.empty() || which.links.front() >= evidence.run.links.size()) return true;
  const auto& links = evidence.run.links;
  if (std::none_of(links.begin(), links.end(), [](const LinkInfo& link) { return link.homeward; })) return true;
  const auto& nodes = evidence.run.nodes;
  const auto node = std::find(nodes.begin(), nodes.end(), evidence.run.entries[entry].node);
  return node == nodes.end() || node - nodes.begin() + 1 >= links[which.links.front()].hop;
}

/// Share of the case's failures that befell plan entries which fail much of the time, if others hardly ever do.
double by_entry(const Evidence& evidence, const Case& which) {
  constexpr double much = 0.3;
  constexpr double hardly = 0.02;
  const auto rate = [&](const EntryEvidence& entry) {
    return static_cast<double>(entry.failures) / static_cast<double>(std::max<std::uint64_t>(1, entry.tries));
  };
  std::size_t good = 0;
  std::size_t asked = 0;
  for (std::size_t i = 0; i < evidence.entries.size(); ++i) {
    const auto& entry = evidence.entries[i];
    if (entry.tries < 10 || !passes(evidence, which, i)) continue;
    ++asked;
    if (rate(entry) < hardly) ++good;
  }
  if (3 * good < asked) return 0;
  double share = 0;
  for (const auto i : which.incidents) {
    const auto entry = evidence.incidents[i].entry;
    if (entry >= evidence.entries.size() || evidence.entries[entry].tries < 10) continue;
    if (rate(evidence.entries[entry]) > much) share += 1 / static_cast<double>(which.incidents.size());
  }
  return share;
}

/// A supply that breaks down does so where it is lower than nearly ever else.
void find_supply(const Evidence& evidence, std::uint16_t station, CaseFacts& facts) {
  facts.off_starts = evidence.off_starts[station];
  const auto& on = evidence.on_by_supply[station];
  const auto& off = evidence.off_by_supply[station];
  double all = 0;
  std::size_t bins = 0;
  for (const double time : on) {
    all += time;
    bins += time > 0 ? 1 : 0;
  }
  for (const auto count : off) facts.off_supplies += count;
  facts.off_told = evidence.off_told[station];
  facts.supply_varies = bins > 1 || off[0] < facts.off_supplies;
  if (all <= 0) return;
  constexpr double seldom = 0.1;
  std::size_t from = bin_count - 1;  // the lowest that it ever is, however often
  while (from > 0 && on[from] <= 0 && off[from] == 0) --from;
  double lower = on[from];
  while (from > 0 && lower + on[from - 1] <= seldom * all) lower += on[--from];
  for (std::size_t bin = from; bin < bin_count; ++bin) facts.off_low += off[bin];
  facts.low_while_on = lower / all;
}

/// Middle of a bin of lengths, in characters.
double chars_in(std::size_t bin) { return 8 * static_cast<double>(bin) + 4; }

std::optional<double> by_bits(const LinkEvidence& link) {
  double frames = 0;
  double bad = 0;
  double chars = 0;
  std::size_t kinds = 0;
  for (std::size_t bin = 0; bin < bin_count; ++bin) {
    const auto here = static_cast<double>(link.frames_by_chars[bin]);
    frames += here;
    bad += static_cast<double>(link.bad_by_chars[bin]);
    chars += here * chars_in(bin);
    kinds += here >= 20 ? 1 : 0;
  }
  if (kinds < 2 || bad < 20 || bad > 0.5 * frames) return std::nullopt;
  const double each = bad / frames;
  const double hazard = -std::log1p(-each) * frames / chars;  // of a character, to a first approximation
  double gain = 0;
  for (std::size_t bin = 0; bin < bin_count; ++bin) {
    const auto here = static_cast<double>(link.frames_by_chars[bin]);
    if (here <= 0) continue;
    const auto hit = static_cast<double>(link.bad_by_chars[bin]);
    const double chance = std::clamp(-std::expm1(-hazard * chars_in(bin)), 1e-9, 1 - 1e-9);
    gain += hit * std::log(chance / each) + (here - hit) * std::log((1 - chance) / (1 - each));
  }
  return gain;
}

double stickiness(const Evidence& evidence, const Case& which) {
  std::map<std::uint32_t, std::vector<std::uint32_t>> turns;  // by entry
  for (const auto i : which.incidents) turns[evidence.incidents[i].entry].push_back(evidence.incidents[i].turn);
  double again = 0;
  double by_chance = 0;
  double all = 0;
  for (auto& [entry, of] : turns) {
    if (entry >= evidence.entries.size() || evidence.entries[entry].tries == 0) continue;
    std::sort(of.begin(), of.end());
    of.erase(std::unique(of.begin(), of.end()), of.end());
    const double n = static_cast<double>(of.size());
    for (std::size_t i = 0; i + 1 < of.size(); ++i) again += of[i + 1] - of[i] == 1 ? 1 : 0;
    by_chance += n * std::min(1.0, n * evidence.one_incident_in / static_cast<double>(evidence.entries[entry].tries));
    all += n;
  }
  return all > 0 ? std::max(0.0, again - by_chance) / all : 0;
}

/// Hops that have some of it, if four or more have and none of them most; else 0.
std::size_t everywhere(const Evidence& evidence, const Case& which) {
  constexpr std::size_t least_hops = 4;
  constexpr double least_there = 3;
  std::map<std::uint16_t, double> episodes;
  double all = 0;
  for (const auto i : which.incidents) {
    const Incident& incident = evidence.incidents[i];
    if (incident.good_before <= good_within) continue;
    ++episodes[incident.link];
    ++all;
  }
  std::size_t hops = 0;
  for (const auto& [link, count] : episodes) {
    if (2 * count > all) return 0;
    if (count >= least_there) ++hops;
  }
  return hops >= least_hops ? hops : 0;
}

/// The first link, with no other damage on it than the case's.
LinkEvidence link_of(const Evidence& evidence, const Case& which) {
  LinkEvidence link = evidence.links[which.links.front()];
  if (!which.part) return link;
  link.symptoms = {};
  link.bad_by_chars = {};
  for (const auto i : which.incidents) {
    const auto& incident = evidence.incidents[i];
    if (incident.link != which.links.front()) continue;
    const std::uint64_t weight = evidence.one_incident_in;
    link.symptoms[place_of(incident.symptom)] += weight;
    const auto size = length_bin(incident.chars);
    link.bad_by_chars[size] = std::min(link.bad_by_chars[size] + weight, link.frames_by_chars[size]);
  }
  return link;
}

}  // namespace

CaseFacts facts_of(const Evidence& evidence, const Case& which) {
  CaseFacts facts;
  facts.n = static_cast<double>(which.incidents.size());
  if (which.incidents.empty()) return facts;
  std::map<std::uint32_t, double> entries;
  for (const auto i : which.incidents) {
    const auto& incident = evidence.incidents[i];
    facts.share[place_of(incident.symptom)] += 1 / facts.n;
    entries[incident.entry] += 1 / facts.n;
  }
  const auto share = [&](Symptom symptom) { return facts.share[static_cast<std::size_t>(symptom)]; };
  const double stop_bits = share(Symptom::framing);
  facts.damaged = stop_bits + share(Symptom::parity) + share(Symptom::check) + share(Symptom::too_long);
  facts.framing = facts.damaged > 0 ? stop_bits / facts.damaged : 0;
  facts.gone = share(Symptom::nothing);
  facts.cut = share(Symptom::too_short);
  for (const auto& [entry, part] : entries) {
    if (part <= facts.one_entry) continue;
    facts.one_entry = part;
    if (entry < evidence.entries.size() && evidence.entries[entry].tries > 0) {
      if (evidence.rates_known())
        facts.entry_rate =
            part * facts.n * evidence.one_incident_in / static_cast<double>(evidence.entries[entry].tries);
    }
  }
  if (which.family == Family::wire && !which.links.empty() && which.links.front() < evidence.links.size()) {
    const auto link = link_of(evidence, which);
    facts.link_frames = static_cast<double>(link.frames);
    facts.link_bad = static_cast<double>(link.bad());
    if (link.frames > 0) facts.link_rate = static_cast<double>(link.bad()) / static_cast<double>(link.frames);
  }
  if (evidence.tries > 0) {
    facts.rate = facts.n * evidence.one_incident_in / static_cast<double>(evidence.tries);
  }
  double frames = 0;
  double bad = 0;
  for (const auto link : which.links) {
    if (link >= evidence.links.size()) continue;
    frames += static_cast<double>(evidence.links[link].frames);
    bad += static_cast<double>(evidence.links[link].bad());
  }
  const double each = which.family == Family::wire && frames > 0 ? bad / frames : facts.rate;

  facts.balancing = effect_of(evidence, which, Condition::balancing);
  facts.charge = effect_of(evidence, which, Condition::charge);
  facts.temperature = effect_of(evidence, which, Condition::temperature);

  if (which.family == Family::wire && !which.links.empty() && evidence.sight != Sight::controller_only) {
    // What is counted for a link as a whole goes for a part of its failures if that is most of them.
    const bool most_of_it =
        !which.part || (which.links.front() < evidence.links.size() &&
                        facts.link_bad > 0.7 * static_cast<double>(evidence.links[which.links.front()].bad()));
    if (evidence.rates_known()) {
      find_ripple(evidence, which, facts);
      if (which.links.front() < evidence.links.size() && most_of_it)
        find_worn_out(evidence, evidence.links[which.links.front()], facts);
    }
    if (which.links.front() < evidence.links.size() && evidence.rates_known()) {
      find_silence(evidence, which, evidence.links[which.links.front()], facts);
    }
    std::tie(facts.sender, facts.receiver) = paces_at(evidence, which, which.links.front());
  }
  const auto station =
      on_links(which.family) ? evidence.incidents[which.incidents.front()].station : which.stations.front();
  if (station < evidence.off_starts.size()) find_supply(evidence, station, facts);
  facts.runs = runs_of(evidence, which);
  facts.runs.by_chance = std::min(1.0, each);
  if (which.family == Family::wire && !which.links.empty() && which.links.front() < evidence.links.size()) {
    const auto& link = evidence.links[which.links.front()];
    if (link.bad() > 0) facts.recovered = static_cast<double>(link.recovered) / static_cast<double>(link.bad());
    if (evidence.rates_known()) facts.by_bits = by_bits(link_of(evidence, which));
    facts.everywhere = everywhere(evidence, which);
  }
  facts.parity = share(Symptom::parity) * facts.n;
  facts.bad_check = share(Symptom::check) * facts.n;
  std::uint64_t parity_errors = 0;
  for (const auto& link : evidence.links) parity_errors += link.symptoms[static_cast<std::size_t>(Symptom::parity)];
  facts.has_parity = parity_errors >= 3;
  facts.sticky = stickiness(evidence, which);
  facts.by_entry = by_entry(evidence, which);
  return facts;
}

}  // namespace hopbench
