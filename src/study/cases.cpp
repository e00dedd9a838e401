#include "study/cases.h"

#include <algorithm>
#include <map>
#include <set>

namespace hopbench {
namespace {

constexpr std::uint32_t least_cycles = 6;
constexpr std::ptrdiff_t most_named = 3;  // more links than this that stand out are one case together
constexpr double share_to_be_placed = 0.6;

/// Links that stand out about as much go together; a step of four or more between their shares parts them.
std::vector<std::uint32_t> groups_of(const Evidence& evidence, const std::vector<StandOut>& outstanding) {
  constexpr double step = 4;
  const auto share = [&](std::size_t i) {
    const auto& link = evidence.links[outstanding[i].link];
    return static_cast<double>(link.bad()) / static_cast<double>(std::max<std::uint64_t>(1, link.frames));
  };
  std::vector<std::size_t> order(outstanding.size());
  for (std::size_t i = 0; i < order.size(); ++i) order[i] = i;
  std::stable_sort(order.begin(), order.end(), [&](auto a, auto b) { return share(a) > share(b); });
  std::vector<std::uint32_t> group(outstanding.size(), 0);
  for (std::size_t rank = 1; rank < order.size(); ++rank) {
    const bool parted = share(order[rank - 1]) >= step * share(order[rank]);
    group[order[rank]] = group[order[rank - 1]] + (parted ? 1U : 0U);
  }
  return group;
}

std::uint32_t cluster_of(const Moment& moment, bool cycles) { return cycles ? moment.cycle : moment.block; }

}  // namespace

void find_places(const Evidence& evidence, Case& which) {
  which.links.clear();
  which.stations.clear();
  std::map<std::uint16_t, std::uint64_t> places;
  for (const auto i : which.incidents) {
    const auto& incident = evidence.incidents[i];
    ++places[on_links(which.family) ? incident.link : incident.station];
  }
  std::vector<std::pair<std::uint64_t, std::uint16_t>> order;
  for (const auto& [place, count] : places) order.emplace_back(count, place);
  std::sort(order.begin(), order.end(),
            [](const auto& a, const auto& b) { return a.first != b.first ? a.first > b.first : a.second < b.second; });
  // A late answer was held up most at some station, whichever; one that is it now and then only has no part in it.
  const std::uint64_t least = which.family == Family::late && !order.empty() ? order.front().first / 10 : 0;
  for (const auto& [count, place] : order) {
    if (count <= least) break;
    (on_links(which.family) ? which.links : which.stations).push_back(place);
  }
}

std::vector<Case> cases_of(const Evidence& evidence, const std::vector<StandOut>& outstanding) {
  std::map<std::pair<Family, std::uint32_t>, Case> cases;
  constexpr std::uint32_t elsewhere = 0x10000;
  constexpr std::uint32_t together = 0x10001;  // and on
  const auto group = groups_of(evidence, outstanding);
  // Stations that have most of a family to themselves.
  std::map<Family, std::map<std::uint16_t, std::uint64_t>> at_station;
  for (const auto& incident : evidence.incidents) ++at_station[family_of(incident.ending)][incident.station];
  const auto owns = [&](Family family, std::uint16_t station) {
    std::uint64_t all = 0;
    for (const auto& [name, count] : at_station[family]) all += count;
    return static_cast<double>(at_station[family][station]) >= share_to_be_placed * static_cast<double>(all);
  };
  for (std::uint32_t i = 0; i < evidence.incidents.size(); ++i) {
    const auto& incident = evidence.incidents[i];
    const auto family = family_of(incident.ending);
    std::uint32_t place = elsewhere;
    if (evidence.sight != Sight::controller_only) {
      if (family == Family::wire) {
        const auto found = std::find_if(outstanding.begin(), outstanding.end(),
                                        [&](const StandOut& each) { return each.link == incident.link; });
        if (found != outstanding.end()) {
          const auto of = group[static_cast<std::size_t>(found - outstanding.begin())];
          const auto size = std::count(group.begin(), group.end(), of);
          place = size <= most_named ? incident.link : together + of;
        }
      } else if (!on_links(family) && owns(family, incident.station)) {
        place = incident.station;
      }
    }
    auto& which = cases[{family, place}];
    which.family = family;
    which.placed = place != elsewhere;
    which.incidents.push_back(i);
  }
  std::vector<Case> all;
  for (auto& [key, which] : cases) {
    find_places(evidence, which);
    all.push_back(std::move(which));
  }
  std::stable_sort(all.begin(), all.end(),
                   [](const Case& a, const Case& b) { return a.incidents.size() > b.incidents.size(); });
  return all;
}

bool clusters_are_cycles(const Evidence& evidence) { return evidence.cycles >= least_cycles; }

namespace {

std::vector<Tried> by_gap(const Evidence& evidence, const Case& which) {
  const auto& gaps = evidence.gaps;
  std::vector<Tried> rows(gaps.size() * bin_count);
  for (std::uint32_t block = 0; block < gaps.size(); ++block) {
    for (std::size_t bin = 0; bin < bin_count; ++bin) {
      rows[block * bin_count + bin] = {block, 0, static_cast<double>(bin), static_cast<double>(gaps[block][bin]), 0};
    }
  }
  for (const auto i : which.incidents) {
    const auto& incident = evidence.incidents[i];
    const auto bin = incident.bins[static_cast<std::size_t>(Condition::gap)];
    const std::size_t at = std::size_t{evidence.moments[incident.moment].block} * bin_count + bin;
    if (bin != unknown_bin && at < rows.size()) rows[at].failures += evidence.one_incident_in;
  }
  std::erase_if(rows, [](const Tried& row) { return row.tries <= 0; });
  return rows;
}

/// At equal numbers of cells balancing and with or without charge current: these change what is said as well.
std::vector<Tried> by_payload(const Evidence& evidence, const Case& which) {
  const bool cycles = clusters_are_cycles(evidence);
  const auto& payloads = evidence.payloads;
  std::vector<Tried> rows(payloads.size() * bin_count);
  for (std::size_t m = 0; m < payloads.size(); ++m) {
    const auto& moment = evidence.moments[m];
    const std::uint32_t stratum =
        moment.balancing * 2U + (moment.charge != 0 && moment.charge != unknown_bin ? 1U : 0U);
    for (std::size_t bin = 0; bin < bin_count; ++bin) {
      rows[m * bin_count + bin] = {cluster_of(moment, cycles), stratum, static_cast<double>(bin),
                                   static_cast<double>(payloads[m][bin]), 0};
    }
  }
  for (const auto i : which.incidents) {
    const auto& incident = evidence.incidents[i];
    const auto bin = incident.bins[static_cast<std::size_t>(Condition::payload)];
    const std::size_t at = std::size_t{incident.moment} * bin_count + bin;
    if (bin != unknown_bin && at < rows.size()) rows[at].failures += evidence.one_incident_in;
  }
  std::erase_if(rows, [](const Tried& row) { return row.tries <= 0; });
  return rows;
}

/// Length of the answer among entries with the same node; distance among entries with the same topic.
std::vector<Tried> by_entry(const Evidence& evidence, const Case& which, Condition condition) {
  const auto& entries = evidence.run.entries;
  std::map<std::string, std::uint32_t> names;
  std::vector<std::uint32_t> stratum(entries.size(), 0);
  std::vector<double> value(entries.size(), -1);
  for (std::size_t i = 0; i < entries.size(); ++i) {
    const auto& name = condition == Condition::length ? entries[i].node : entries[i].topic;
    stratum[i] = names.try_emplace(name, static_cast<std::uint32_t>(names.size())).first->second;
    if (condition == Condition::length) {
      if (evidence.entries[i].chars > 0) value[i] = length_bin(evidence.entries[i].chars);
      continue;
    }
    const auto& links = evidence.run.links;
    const auto link =
        std::find_if(links.begin(), links.end(), [&](const LinkInfo& each) { return each.to == entries[i].node; });
    if (link != links.end()) value[i] = distance_bin(link->hop);
  }
  std::vector<Tried> rows;
  std::vector<std::vector<std::size_t>> place;
  for (std::uint32_t block = 0; block < evidence.asked.size(); ++block) {
    place.emplace_back(entries.size(), ~std::size_t{0});
    for (std::size_t i = 0; i < entries.size(); ++i) {
      const auto tries = evidence.asked[block][i];
      if (tries == 0 || value[i] < 0) continue;
      place[block][i] = rows.size();
      rows.push_back({block, stratum[i], value[i], static_cast<double>(tries), 0});
    }
  }
  for (const auto i : which.incidents) {
    const auto& incident = evidence.incidents[i];
    const auto block = evidence.moments[incident.moment].block;
    if (block >= place.size() || incident.entry >= entries.size()) continue;
    const auto at = place[block][incident.entry];
    if (at < rows.size()) rows[at].failures += evidence.one_incident_in;
  }
  return rows;
}

}  // namespace

std::vector<Tried> tabulate(const Evidence& evidence, const Case& which, Condition condition,
                            const std::vector<Condition>& strata) {
  if (!evidence.rates_known()) return {};
  const bool cycles = clusters_are_cycles(evidence);
  if (condition == Condition::gap) return by_gap(evidence, which);
  if (condition == Condition::payload) return by_payload(evidence, which);
  if (condition == Condition::length || condition == Condition::distance) return by_entry(evidence, which, condition);
  std::vector<Tried> rows;
  std::vector<std::uint32_t> place(evidence.moments.size(), 0xffffffff);
  for (std::uint32_t m = 0; m < evidence.moments.size(); ++m) {
    const auto& moment = evidence.moments[m];
    auto bin = moment.bin(condition);
    if (bin == unknown_bin) continue;
    std::uint32_t stratum = 0;
    bool known = true;
    for (const auto other : strata) {
      auto also = moment.bin(other);
      if (also == unknown_bin) known = false;
      if (other == Condition::charge) also = also > 0 ? 1 : 0;
      stratum = stratum * std::uint32_t{bin_count} + also;
    }
    if (!known) continue;
    if (condition == Condition::charge && !strata.empty()) bin = bin > 0 ? 1 : 0;
    place[m] = static_cast<std::uint32_t>(rows.size());
    rows.push_back(
        {cluster_of(moment, cycles), stratum, static_cast<double>(bin), static_cast<double>(moment.tries), 0});
  }
  for (const auto i : which.incidents) {
    const auto at = place[evidence.incidents[i].moment];
    if (at != 0xffffffff) rows[at].failures += evidence.one_incident_in;
  }
  return rows;
}

std::uint32_t clusters_hit(const Evidence& evidence, const Case& which) {
  const bool cycles = clusters_are_cycles(evidence);
  std::set<std::uint32_t> hit;
  for (const auto i : which.incidents) hit.insert(cluster_of(evidence.moments[evidence.incidents[i].moment], cycles));
  return static_cast<std::uint32_t>(hit.size());
}

std::uint32_t clusters_in_all(const Evidence& evidence) {
  const bool cycles = clusters_are_cycles(evidence);
  // Of a capture without healthy exchanges those cycles are counted as well in which nothing failed.
  if (cycles && !evidence.rates_known()) return evidence.cycles + 1;
  std::set<std::uint32_t> all;
  for (const auto& moment : evidence.moments) all.insert(cluster_of(moment, cycles));
  return static_cast<std::uint32_t>(all.size());
}

}  // namespace hopbench
