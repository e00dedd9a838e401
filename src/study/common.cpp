#include "study/common.h"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <set>
#include <unordered_map>

#include "judge/subgroups.h"
#include "study/clauses.h"
#include "study/facets.h"
#include "study/rule_words.h"
#include "study/words.h"

namespace hopbench {
namespace {

constexpr std::size_t least_failures = 12;
constexpr std::size_t most_failures = 4096;
constexpr std::size_t most_others = 8192;
// What separates well and could be chance only because it was seen in few stretches of time is told as open.
constexpr std::size_t few_blocks = 12;
constexpr double far_apart = 0.8;
constexpr Nanos most_halves = 32;  // at least so many blocks of time are dealt to the two halves

/// Failures of this kind are frames that died on a link or at the station that it leads to.
bool of_frames(const Evidence& evidence, Family family) {
  if (evidence.sight == Sight::controller_only) return false;
  return family == Family::wire || family == Family::no_room || family == Family::swallowed ||
         family == Family::changed;
}

std::uint64_t key_of(std::uint32_t entry, std::uint32_t turn, std::uint8_t attempt) {
  return (std::uint64_t{entry} << 40U) ^ (std::uint64_t{turn} << 8U) ^ attempt;
}

/// Which half a block of time falls into.
bool is_held_out(std::uint64_t block) { return ((block + 1) * 0x9e3779b97f4a7c15U >> 40U & 1U) != 0; }

/// What is compared.
class Sample {
 public:
  Sample(const Evidence& evidence, const SpecimenFold& fold, const Case& which)
      : evidence_(&evidence), frames_(of_frames(evidence, which.family)) {
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
        if (!incidents_.contains(key_of(each.entry, each.turn, each.attempt))) continue;
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

  [[nodiscard]] bool frames() const { return frames_; }
  [[nodiscard]] bool sampled() const { return sampled_; }
  [[nodiscard]] std::size_t hits() const { return hits_; }
  [[nodiscard]] std::size_t others() const { return others_; }
  [[nodiscard]] std::span<const Specimen* const> specimens() const { return specimens_; }

  /// Instants from the beginning of the evidence, or numbers of frames or tries, of the specimens that `among` holds.
  /// Failures with nothing good between are one event, told by the first.
  template <typename Among>
  [[nodiscard]] Placed placed(bool numbers, const std::vector<std::uint32_t>& incidents, Among among) const {
    Placed placed;
    for (std::size_t i = 0; i < kept_.size(); ++i) {
      if (!among(i)) continue;
      const Specimen& one = *kept_[i].specimen;
      const double at =
          numbers ? static_cast<double>(one.count) : static_cast<double>(std::max<Nanos>(0, one.at - evidence_->from));
      if (!kept_[i].hit) {
        placed.passed.push_back(at);
        continue;
      }
      placed.all_failed.push_back(at);
      const auto found = incidents_.find(key_of(one.entry, one.turn, one.attempt));
      if (evidence_->incidents[incidents[found->second]].good_before != 0) placed.failed.push_back(at);
    }
    std::sort(placed.failed.begin(), placed.failed.end());
    std::sort(placed.all_failed.begin(), placed.all_failed.end());
    std::sort(placed.passed.begin(), placed.passed.end());
    return placed;
  }
  /// Frames of several links are not counted together.
  [[nodiscard]] bool counted() const {
    return std::all_of(specimens_.begin(), specimens_.end(),
                       [&](const Specimen* each) { return each->link == specimens_.front()->link; });
  }
  [[nodiscard]] double passed_each() const {
    double all = 0;
    for (const Kept& each : kept_) all += each.hit ? 0 : each.weight;
    return all / static_cast<double>(std::max<std::size_t>(1, others_));
  }

  [[nodiscard]] std::vector<Compared> items() const {
    // Failures within half a round of the plan may be one event.
    const std::uint64_t reach = std::clamp<std::uint64_t>(evidence_->run.entries.size() / 2, 1, 64);
    const Nanos half =
        std::max<Nanos>(1, std::min(evidence_->block_span, (evidence_->until - evidence_->from) / most_halves));
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

  /// Calls with the item and the incident of the case for each failure that was kept.
  template <typename Call>
  void each_incident(Call call) const {
    for (std::size_t i = 0; i < kept_.size(); ++i) {
      if (!kept_[i].hit) continue;
      const Specimen& one = *kept_[i].specimen;
      const auto found = incidents_.find(key_of(one.entry, one.turn, one.attempt));
      if (found != incidents_.end()) call(i, found->second);
    }
  }

 private:
  struct Kept {
    const Specimen* specimen = nullptr;
    double weight = 1;
    bool hit = false;
  };

  /// By identity, by halves, as drawers are thinned.
  static void thin(std::vector<Kept>& kept, std::size_t most) {
    for (unsigned bit = 63; kept.size() > most && bit > 0; --bit) {
      std::erase_if(kept, [&](const Kept& each) { return (each.specimen->identity >> bit & 1U) != 0; });
      for (Kept& each : kept) each.weight *= 2;
    }
    if (kept.size() > most) kept.resize(most);  // one identity again and again
  }

  const Evidence* evidence_;
  bool frames_;
  bool sampled_ = false;
  std::size_t hits_ = 0;
  std::size_t others_ = 0;
  std::unordered_map<std::uint64_t, std::uint32_t> incidents_;
  std::vector<Kept> kept_;
  std::vector<const Specimen*> specimens_;
};

/// Conditions that the case was found to go with, and that others do not explain.
std::vector<Condition> told_conditions(const Whens& when) {
  std::vector<Condition> told;
  for (const When& each : when.found) {
    const bool own = each.condition != Condition::gap && each.condition != Condition::length &&
                     each.condition != Condition::distance && each.condition != Condition::payload;
    if (own && each.confounding != Confounding::borrowed) told.push_back(each.condition);
  }
  return told;
}

std::uint64_t whole(double weight) { return static_cast<std::uint64_t>(std::llround(std::max(0.0, weight))); }

Rule rule_of(const Subgroup& group, const Clauses& clauses, const std::vector<Facet>& all, const Evidence& evidence,
             const Sample& sample) {
  Rule rule;
  rule.frames = sample.frames();
  rule.scaled = sample.sampled();
  for (const auto trait : group.traits) {
    const Clause& clause = clauses.all()[trait];
    RulePart part;
    part.clause = clause;
    part.facet = clause.facet < all.size()    ? all[clause.facet].id
                 : clause.facet == all.size() ? FacetId::asked_byte
                                              : FacetId::reply_byte;
    rule.parts.push_back(part);
  }
  std::stable_sort(rule.parts.begin(), rule.parts.end(),
                   [](const RulePart& a, const RulePart& b) { return a.facet < b.facet; });
  for (RulePart& part : rule.parts) {
    say_part(part, part.clause.facet < all.size() ? &all[part.clause.facet] : nullptr, evidence, rule.parts);
  }
  rule.failed_in = whole(group.in.hits);
  rule.in = whole(group.in.hits + group.in.others);
  rule.failed_out = whole(group.out.hits);
  rule.out = whole(group.out.hits + group.out.others);
  rule.p = group.p;
  return rule;
}

/// How failures lie in time among what falls under the first rule: what is asked once in a round fails once in a round.
Rhythm rhythm_within(const Evidence& evidence, const Case& which, const Sample& sample, const BitTable& table,
                     const Subgroups& found) {
  const bool rule = !found.found.empty();
  const bool periodic = rule && std::any_of(found.found.front().traits.begin(), found.found.front().traits.end(),
                                            [&](std::uint32_t trait) { return table.trait(trait).kin != 0; });
  const Bits& among = rule && !periodic ? found.found.front().covered : table.all();
  const auto inside = [&](std::size_t item) { return table.holds(among, item); };
  const Placed numbers = sample.counted() ? sample.placed(true, which.incidents, inside) : Placed{};
  return rhythm_of(evidence, which, sample.frames(), sample.placed(false, which.incidents, inside), numbers,
                   sample.passed_each());
}

/// Periods as clauses. Returns whether there are any.
bool give_periods(const Rhythm& rhythm, const std::vector<Facet>& all, Clauses& clauses) {
  const auto give = [&](FacetId id, const Periodic& of) {
    const auto facet = std::find_if(all.begin(), all.end(), [&](const Facet& one) { return one.id == id; });
    const auto length = std::max<std::int64_t>(1, static_cast<std::int64_t>(of.length));
    const auto from = static_cast<std::int64_t>(of.from) % length;
    clauses.give({static_cast<std::uint32_t>(facet - all.begin()), Relation::phase, (from + length) % length, length,
                  static_cast<std::int64_t>(of.width)});
  };
  if (rhythm.in_time) give(FacetId::period, *rhythm.in_time);
  if (rhythm.in_frames) give(FacetId::count, *rhythm.in_frames);
  return rhythm.in_time || rhythm.in_frames;
}

}  // namespace

Common common_of(const Evidence& evidence, const SpecimenFold& specimens, const Case& which, const Whens& when,
                 const Protocol* protocol) {
  Common common;
  common.rule_of.resize(which.incidents.size());
  const Sample sample(evidence, specimens, which);
  common.frames = sample.frames();
  common.sampled = sample.sampled();
  if (sample.hits() < least_failures || sample.others() < least_failures || !evidence.rates_known()) return common;
  common.looked = true;
  const auto facets = outer_facets(evidence.run, sample.specimens(), sample.frames(), told_conditions(when));
  auto content = content_facets(protocol, sample.specimens());
  std::vector<Facet> all = facets;
  for (Facet& each : content.fields) all.push_back(std::move(each));
  Facet period;
  period.id = FacetId::period;
  period.rank = 10;
  for (const Specimen* each : sample.specimens()) {
    period.values.push_back(std::max<Nanos>(0, each->at - evidence.from));
  }
  all.push_back(std::move(period));
  BitTable table(sample.items());
  Clauses clauses(table, all, content, sample.frames(), evidence.block_span, evidence.usual_gap);
  Subgroups found = subgroups_of(table);
  // In time they are looked at within the first rule: what is asked once in a round fails once in a round.
  common.rhythm = rhythm_within(evidence, which, sample, table, found);
  if (give_periods(common.rhythm, all, clauses)) found = subgroups_of(table);
  common.tried = found.tried;
  common.facets = clauses.facets();
  const auto told = [&](const Subgroup& group) { return rule_of(group, clauses, all, evidence, sample); };
  for (const Subgroup& group : found.found) {
    Rule rule = told(group);
    rule.sentence = sentence_of(rule, evidence, which, common.rules.empty());
    common.sentences.push_back(rule.sentence);
    const auto number = static_cast<std::uint32_t>(common.rules.size());
    sample.each_incident([&](std::size_t item, std::uint32_t incident) {
      if (table.holds(group.covered, item)) common.rule_of[incident] = number;
    });
    common.rules.push_back(std::move(rule));
  }
  if (found.open) {
    const Rule rule = told(*found.open);
    const bool around = std::all_of(rule.parts.begin(), rule.parts.end(), [](const RulePart& part) {
      return part.facet == FacetId::condition || part.facet == FacetId::sender_heat ||
             part.facet == FacetId::receiver_heat;
    });
    std::set<std::uint32_t> blocks;
    for (const Compared& item : table.items()) {
      if (item.hit) blocks.insert(item.block);
    }
    const double apart =
        static_cast<double>(rule.failed_in) / static_cast<double>(rule.failed_in + rule.failed_out) -
        static_cast<double>(rule.in - rule.failed_in) /
            static_cast<double>(std::max<std::uint64_t>(1, rule.in + rule.out - rule.failed_in - rule.failed_out));
    if (around && blocks.size() <= few_blocks && apart >= far_apart) {
      common.sentences.push_back(counts_of(rule, evidence, which) +
                                 fmt::format(". They fell into {} of {}: too few to prove it.",
                                             words::counted(blocks.size(), "block"), words::span(evidence.block_span)));
    }
  }
  if (common.sentences.empty() && common.tried == 0) {
    common.sentences.emplace_back(
        "They lie in too few stretches of time to say what separates them from what passed at the same place.");
  } else if (common.sentences.empty()) {
    common.sentences.push_back(fmt::format(
        "Nothing separates these failures from what passed at the same place: {} descriptions from {} facets were "
        "tried.",
        words::count(common.tried), words::count(common.facets)));
  }
  const bool period_told = std::any_of(common.rules.begin(), common.rules.end(), [](const Rule& rule) {
    return std::any_of(rule.parts.begin(), rule.parts.end(),
                       [](const RulePart& part) { return part.clause.relation == Relation::phase; });
  });
  // What nearly always fails where a rule holds fails again and again.
  const bool bursts_follow = !common.rules.empty() && 10 * common.rules.front().failed_in > 9 * common.rules.front().in;
  for (auto& sentence : sentences_of(common.rhythm, which, sample.frames(), period_told, bursts_follow)) {
    common.sentences.push_back(std::move(sentence));
  }
  return common;
}

}  // namespace hopbench
