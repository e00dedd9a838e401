#include "study/common.h"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <functional>
#include <set>

#include "judge/subgroups.h"
#include "study/case_sample.h"
#include "study/clauses.h"
#include "study/facets.h"
#include "study/rule_words.h"
#include "study/words.h"

namespace hopbench {
namespace {

constexpr std::size_t least_failures = 12;
// What separates well and could be chance only because it was seen in few stretches of time is told as open.
constexpr std::size_t few_blocks = 12;
constexpr double far_apart = 0.8;

/// Conditions that the case was found to go with, and that others do not explain.
std::vector<Condition> told_conditions(const Whens& when) {
  std::vector<Condition> told;
  for (const When& each : when.found) {
    // Hours are a facet of their own.
    const bool own = each.condition != Condition::hour && each.condition != Condition::gap &&
                     each.condition != Condition::length && each.condition != Condition::distance &&
                     each.condition != Condition::payload;
    if (own && each.confounding != Confounding::borrowed) told.push_back(each.condition);
  }
  return told;
}

std::uint64_t whole(double weight) { return static_cast<std::uint64_t>(std::llround(std::max(0.0, weight))); }

Rule rule_of(const Subgroup& group, const Clauses& clauses, const std::vector<Facet>& all, const Evidence& evidence,
             const CaseSample& sample) {
  Rule rule;
  rule.frames = sample.frames();
  rule.scaled = sample.sampled();
  for (const auto trait : group.traits) {
    const Clause& clause = clauses.all()[trait];
    RulePart part;
    part.clause = clause;
    part.facet = all[clause.facet].id;
    rule.parts.push_back(part);
  }
  std::stable_sort(rule.parts.begin(), rule.parts.end(),
                   [](const RulePart& a, const RulePart& b) { return a.facet < b.facet; });
  for (RulePart& part : rule.parts) say_part(part, all[part.clause.facet], evidence, rule.parts);
  rule.failed_in = whole(group.in.hits);
  rule.in = whole(group.in.hits + group.in.others);
  rule.failed_out = whole(group.out.hits);
  rule.out = whole(group.out.hits + group.out.others);
  rule.p = group.p;
  return rule;
}

/// How failures lie in time among what falls under the first rule: what is asked once in a round fails once in a round.
/// A rule of numbers that count up may be the period already, by another name.
Rhythm rhythm_within(const Evidence& evidence, const Case& which, const CaseSample& sample, const BitTable& table,
                     const Subgroups& found, const std::vector<Facet>& all) {
  const bool rule = !found.found.empty();
  const bool counting = rule && std::any_of(found.found.front().traits.begin(), found.found.front().traits.end(),
                                            [&](std::uint32_t trait) {
                                              const Trait& one = table.trait(trait);
                                              return one.kin != 0 || all[one.facet].counts;
                                            });
  const Bits& among = rule && !counting ? found.found.front().covered : table.all();
  const auto inside = [&](std::size_t item) { return table.holds(among, item); };
  const Placed numbers = sample.counted() ? sample.placed(true, inside) : Placed{};
  return rhythm_of(evidence, which, sample.frames(), sample.placed(false, inside), numbers, sample.passed_each());
}

/// Periods, beginning and end as clauses. Returns whether there are any.
bool give_rhythm(const Rhythm& rhythm, const std::vector<Facet>& all, Clauses& clauses) {
  const auto index_of = [&](FacetId id) {
    const auto facet = std::find_if(all.begin(), all.end(), [&](const Facet& one) { return one.id == id; });
    return static_cast<std::uint32_t>(facet - all.begin());
  };
  const auto give = [&](FacetId id, const Periodic& of) {
    const auto length = std::max<std::int64_t>(1, static_cast<std::int64_t>(of.length));
    const auto from = static_cast<std::int64_t>(of.from) % length;
    clauses.give(
        {index_of(id), Relation::phase, (from + length) % length, length, static_cast<std::int64_t>(of.width)});
  };
  if (rhythm.in_time) give(FacetId::period, *rhythm.in_time);
  if (rhythm.in_frames) give(FacetId::count, *rhythm.in_frames);
  const std::uint32_t since = index_of(FacetId::since_start);
  if (rhythm.onset) clauses.give({since, Relation::more_than, rhythm.onset->at - 1});
  if (rhythm.end) clauses.give({since, Relation::at_most, rhythm.end->at});
  return rhythm.in_time || rhythm.in_frames || rhythm.onset || rhythm.end;
}

/// Everything that is asked of the specimens.
std::vector<Facet> facets_of(const Evidence& evidence, const CaseSample& sample, const Whens& when,
                             ContentFacets& content) {
  const bool rows = sample.frames();
  auto all = outer_facets(evidence.run, sample.specimens(), rows, told_conditions(when));
  for (Facet& each : content.fields) all.push_back(std::move(each));
  const auto add = [&](FacetId id, std::uint32_t rank) -> Facet& {
    Facet facet;
    facet.id = id;
    facet.rank = rank;
    all.push_back(std::move(facet));
    return all.back();
  };
  // Of bytes: without values.
  add(FacetId::asked_byte, 6);
  add(FacetId::reply_byte, 6).known_from = content.replies_known_from;
  if (rows) {
    add(FacetId::frame_byte, 6);
    add(FacetId::byte_at, 10);
    add(FacetId::byte_pair, 12);
  }
  std::vector<std::int64_t> since;
  for (const Specimen* each : sample.specimens()) since.push_back(std::max<Nanos>(0, each->at - evidence.from));
  add(FacetId::period, 10).values = since;
  // That failures begin or end is tested before it becomes a part (study/rhythm.h).
  add(FacetId::since_start, 4).values = std::move(since);
  constexpr Nanos day = 86'400 * second;
  if (evidence.until - evidence.from < day + day / 2) return all;  // an hour comes once, or hardly again
  Facet& hour = add(FacetId::hour, 3);
  hour.slow = true;
  hour.known_from = evidence.wall_zero ? "UTC" : "days since the capture began";
  for (const Specimen* each : sample.specimens()) hour.values.push_back(evidence.hour_at(each->at));
  return all;
}

bool any_part(const std::vector<Rule>& rules, const std::function<bool(const RulePart&)>& so) {
  return std::any_of(rules.begin(), rules.end(),
                     [&](const Rule& rule) { return std::any_of(rule.parts.begin(), rule.parts.end(), so); });
}

/// One that separates well, but may do so because failures lie in few stretches of time.
std::string open_sentence(const Rule& rule, const BitTable& table, const Evidence& evidence, const Case& which) {
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
  if (!around || blocks.size() > few_blocks || apart < far_apart) return {};
  return counts_of(rule, evidence, which) + fmt::format(". They fell into {} of {}: too few to prove it.",
                                                        words::counted(blocks.size(), "block"),
                                                        words::span(evidence.block_span));
}

/// Hardly anything that falls under it passes.
bool nearly_certain(const Rule& rule) { return 2 * rule.failed_in > rule.in; }

void say(Common& common, const Case& which, const RunInfo& run, const std::string& open) {
  auto& said = common.sentences;
  said = sentences_of(common.strange, run);
  for (const Rule& rule : common.rules) said.push_back(rule.sentence);
  if (!open.empty()) said.push_back(open);
  if (common.damage) {
    const DamagePlace& place = *common.damage;
    const bool leads = 10 * place.in >= 9 * place.of && (common.rules.empty() || !nearly_certain(common.rules.front()));
    said.insert(leads ? said.begin() : said.end(), sentence_of(place, common.sampled));
  }
  const ToldElsewhere elsewhere{
      any_part(common.rules, [](const RulePart& part) { return part.clause.relation == Relation::phase; }),
      any_part(common.rules, [](const RulePart& part) { return part.facet == FacetId::since_start; }),
      // What nearly always fails where a rule holds fails again and again.
      !common.rules.empty() && 10 * common.rules.front().failed_in > 9 * common.rules.front().in};
  for (auto& sentence : sentences_of(common.rhythm, which, common.frames, elsewhere)) {
    said.push_back(std::move(sentence));
  }
  if (!said.empty()) return;
  said.push_back(common.tried == 0
                     ? "They lie in too few stretches of time to say what separates them from what passed at the same "
                       "place."
                     : fmt::format("Nothing separates these failures from what passed at the same place: {} "
                                   "descriptions from {} facets were tried.",
                                   words::count(common.tried), words::count(common.facets)));
}

}  // namespace

Common common_of(const Evidence& evidence, const SpecimenFold& specimens, const Case& which, const Whens& when,
                 const Protocol* protocol) {
  Common common;
  common.rule_of.resize(which.incidents.size());
  const CaseSample sample(evidence, specimens, which);
  common.frames = sample.frames();
  common.sampled = sample.sampled();
  if (sample.hits() < least_failures || sample.others() < least_failures || !evidence.rates_known()) return common;
  common.looked = true;
  auto content = content_facets(protocol, sample.specimens(), sample.frames(), evidence.run.links.size());
  const auto all = facets_of(evidence, sample, when, content);
  BitTable table(sample.items());
  Clauses clauses(table, all, content, sample.frames(), evidence.block_span, evidence.usual_gap);
  Subgroups found = subgroups_of(table);
  // In time they are looked at within the first rule: what is asked once in a round fails once in a round.
  common.rhythm = rhythm_within(evidence, which, sample, table, found, all);
  if (give_rhythm(common.rhythm, all, clauses)) found = subgroups_of(table);
  common.tried = found.tried;
  common.facets = clauses.facets();
  const auto told = [&](const Subgroup& group) { return rule_of(group, clauses, all, evidence, sample); };
  for (const Subgroup& group : found.found) {
    Rule rule = told(group);
    rule.sentence = sentence_of(rule, evidence, which, common.rules.empty());
    const auto number = static_cast<std::uint32_t>(common.rules.size());
    sample.each_incident([&](std::size_t item, std::uint32_t incident) {
      if (table.holds(group.covered, item)) common.rule_of[incident] = number;
    });
    common.rules.push_back(std::move(rule));
  }
  if (sample.frames()) {
    common.damage = damage_place_of(sample);
    common.damage_starts = damage_starts_of(sample);
  }
  if (!sample.frames()) common.strange = strange_answers_of(sample, protocol);
  say(common, which, evidence.run, found.open ? open_sentence(told(*found.open), table, evidence, which) : "");
  return common;
}

}  // namespace hopbench
