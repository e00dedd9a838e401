#include "study/case_sample.h"

#include <algorithm>

namespace hopbench {
namespace {

/// Failures of this kind are frames that died on a link or at the station that it leads to.
bool of_frames(const Evidence& evidence, Family family) {
  if (evidence.sight == Sight::controller_only) return false;
  return family == Family::wire || family == Family::no_room || family == Family::swallowed ||
         family == Family::changed;
}

/// Which half a block of time falls into.
bool is_held_out(std::uint64_t block) { return ((block + 1) * 0x9e3779b97f4a7c15U >> 40U & 1U) != 0; }

}  // namespace

CaseSample::CaseSample(const Evidence& evidence, const SpecimenFold& fold, const Case& which)
    : evidence_(&evidence), which_(&which), frames_(of_frames(evidence, which.family)) {
  for (std::size_t i = 0; i < which.incidents.size(); ++i) {
    const Incident& incident = evidence.incidents[which.incidents[i]];
    incidents_.emplace(key_of(incident.entry, incident.turn, incident.attempt), static_cast<std::uint32_t>(i));
  }
  const std::size_t links = evidence.run.links.size();
  std::vector<std::size_t> places;
  std::vector<Kept> hits;
  std::vector<Kept> others;
  for (std::size_t place = 0; place < fold.failed().places(); ++place) {
    if ((place < links) != frames_) continue;
    const auto before = hits.size();
    const Drawer& drawer = fold.failed().at(place);
    for (const Specimen& each : drawer.kept) {
      if (!incidents_.contains(key_of(each))) continue;
      hits.push_back({&each, 1.0 * drawer.one_in * evidence.one_incident_in, true});
    }
    // A try may have come to nothing wherever it went.
    if (hits.size() > before || !frames_) places.push_back(place);
  }
  for (const auto place : places) {
    const Drawer& drawer = fold.healthy().at(place);
    for (const Specimen& each : drawer.kept) others.push_back({&each, 1.0 * drawer.one_in * each.one_in, false});
  }
  thin(hits, most_failures);
  thin(others, most_others);
  kept_ = std::move(hits);
  kept_.insert(kept_.end(), others.begin(), others.end());
  std::stable_sort(kept_.begin(), kept_.end(),
                   [](const Kept& a, const Kept& b) { return a.specimen->at < b.specimen->at; });
  for (const Kept& each : kept_) {
    (each.hit ? hits_ : others_) += 1;
    sampled_ = sampled_ || each.weight != 1;
    specimens_.push_back(each.specimen);
  }
}

bool CaseSample::begins_run(std::size_t item) const {
  const auto found = incidents_.find(key_of(*kept_[item].specimen));
  return found == incidents_.end() || evidence_->incidents[which_->incidents[found->second]].good_before != 0;
}

double CaseSample::passed_each() const {
  double all = 0;
  for (const Kept& each : kept_) all += each.hit ? 0 : each.weight;
  return all / static_cast<double>(std::max<std::size_t>(1, others_));
}

std::vector<Compared> CaseSample::items() const {
  // Failures within half a round of the plan may be one event.
  const std::uint64_t reach = std::clamp<std::uint64_t>(evidence_->run.entries.size() / 2, 1, 64);
  const Nanos half =
      std::max<Nanos>(1, std::min(evidence_->block_span, (evidence_->until - evidence_->from) / most_halves));
  // Short, and yet with some of both in it.
  const std::uint64_t first = kept_.empty() ? 0 : kept_.front().specimen->number;
  const std::uint64_t last = kept_.empty() ? 0 : kept_.back().specimen->number;
  const std::uint64_t exchanges = std::min<std::uint64_t>(last > first ? last - first : 0, std::uint64_t{1} << 48U);
  const std::uint64_t window = std::max<std::uint64_t>(16, 12 * exchanges / std::max<std::size_t>(1, others_));
  std::vector<Compared> items;
  std::uint32_t bunch = 0;
  std::uint64_t began = 0;
  bool any = false;
  for (const Kept& each : kept_) {
    const Specimen& one = *each.specimen;
    Compared item;
    item.hit = each.hit;
    item.weight = each.weight;
    const Nanos since = std::max<Nanos>(0, one.at - evidence_->from);
    item.held_out = is_held_out(static_cast<std::uint64_t>(since / half));
    item.window = static_cast<std::uint32_t>(one.number / window);
    item.block = static_cast<std::uint32_t>(since / std::max<Nanos>(1, evidence_->block_span));
    if (each.hit) {
      if (!any || one.number < began || one.number - began >= reach) {
        ++bunch;
        began = one.number;
        any = true;
      }
      item.bunch = bunch;
    }
    items.push_back(item);
  }
  return items;
}

/// By identity, by halves, as drawers are thinned.
void CaseSample::thin(std::vector<Kept>& kept, std::size_t most) {
  for (unsigned bit = 63; kept.size() > most && bit > 0; --bit) {
    std::erase_if(kept, [&](const Kept& each) { return (each.specimen->identity >> bit & 1U) != 0; });
    for (Kept& each : kept) each.weight *= 2;
  }
  if (kept.size() > most) kept.resize(most);  // one identity again and again
}

}  // namespace hopbench
