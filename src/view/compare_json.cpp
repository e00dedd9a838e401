#include <boost/json/array.hpp>
#include <boost/json/object.hpp>
#include <cmath>

#include "study/compare_power.h"
#include "view/compare_report.h"
#include "view/json_text.h"

namespace hopbench {
namespace {

namespace json = boost::json;

json::value whole(double number) { return json::value(static_cast<std::uint64_t>(std::llround(number))); }

json::object counted(Counted counts) {
  json::object object;
  object["failed"] = whole(counts.hits);
  object["of"] = whole(counts.trials);
  return object;
}

template <class Number>
json::value number_or_null(const std::optional<Number>& number) {
  return number ? json::value(*number) : json::value(nullptr);
}

json::value more_of(const std::optional<More>& more) {
  if (!more) return nullptr;
  json::object object;
  object["after_only"] = number_or_null(more->after_only);
  object["before"] = more->before;
  object["after"] = more->after;
  return object;
}

json::object share_pair(const SharePair& pair) {
  json::object object;
  object["name"] = pair.name;
  object["before"] = counted(pair.before);
  object["after"] = counted(pair.after);
  object["difference"] = pair.difference.value;
  object["low"] = pair.difference.low;
  object["high"] = pair.difference.high;
  object["p_by_clusters"] = pair.p;
  object["p_adjusted"] = pair.adjusted;
  object["p_if_independent"] = pair.fisher;
  object["same_as_tries"] = pair.same_as_tries;
  object["level"] = pair.level;
  object["smallest_rise_seen"] = number_or_null(pair.smallest_rise);
  object["smallest_fall_seen"] = number_or_null(pair.smallest_fall);
  object["changed"] = pair.changed();
  return object;
}

json::array pairs(const std::vector<SharePair>& group) {
  json::array array;
  for (const auto& pair : group) array.push_back(share_pair(pair));
  return array;
}

json::object side(const Tallies& tallies, std::size_t clusters) {
  json::object object;
  object["scenario"] = tallies.run.scenario;
  object["seed"] = tallies.run.seed;
  const auto reality = reality_of(tallies.run);
  object["reality"] = name_of(reality);
  object["simulated"] = anything_simulated(reality);
  object["exchanges"] = whole(tallies.all.exchanges.trials);
  object["span_ns"] = tallies.until - tallies.from;
  object["clusters"] = clusters;
  object["in_sums"] = tallies.tallied;
  object["left_out_as_doubtful"] = tallies.doubtful;
  const auto& known = tallies.balancing;
  json::object balancing;
  balancing["as_told"] = tallies.as_told;
  balancing["known_for_exchanges"] = known.exchanges;
  balancing["told_on_this_bus"] =
      known.tellable == Tellable::not_known ? json::value(nullptr) : json::value(known.tellable == Tellable::yes);
  balancing["oldest_ns"] = tallies.as_told && known.exchanges > 0 ? json::value(known.oldest) : json::value(nullptr);
  balancing["nodes"] = known.nodes;
  object["cells_balancing"] = std::move(balancing);
  return object;
}

}  // namespace

std::string compare_json(const Comparison& comparison, const Tallies& before, const Tallies& after) {
  json::object document;
  document["schema"] = "hopbench.comparison/1";
  document["verdict"] = name_of(comparison.verdict);
  document["sentence"] = comparison.sentence;
  document["simulated"] = anything_simulated(comparison.before) || anything_simulated(comparison.after);
  document["clusters"] = comparison.unit;
  document["before"] = side(before, comparison.clusters_before);
  document["after"] = side(after, comparison.clusters_after);
  json::object missing;
  missing["power"] = compare_power;
  missing["tests"] = comparison.tests;
  missing["rise_that_matters"] = comparison.rise_that_matters;
  missing["fall_that_matters"] = comparison.fall_that_matters;
  missing["more_clusters_to_show"] = more_of(comparison.to_show);
  missing["more_clusters_to_rule_out"] = more_of(comparison.to_rule_out);
  document["power"] = std::move(missing);
  document["exchanges"] = share_pair(comparison.exchanges);
  document["tries"] = share_pair(comparison.tries);
  document["outcomes"] = pairs(comparison.outcomes);
  document["hops"] = pairs(comparison.hops);
  document["nodes"] = pairs(comparison.nodes);
  document["topics"] = pairs(comparison.topics);
  json::object equal;
  equal["bins"] = pairs(comparison.balancing);
  equal["difference"] = comparison.common.difference;
  equal["odds_ratio"] =
      std::isfinite(comparison.common.odds_ratio) ? json::value(comparison.common.odds_ratio) : json::value(nullptr);
  equal["p_by_clusters"] = comparison.common_p;
  equal["p_adjusted"] = comparison.common_adjusted;
  equal["overlap"] = comparison.overlap;
  equal["equal_numbers"] = comparison.equal_numbers;
  document["at_equal_balancing"] = comparison.balancing.empty() ? json::value(nullptr) : json::value(std::move(equal));
  json::object trips;
  json::array levels;
  for (const auto& level : comparison.round_trips.levels) {
    json::object object;
    object["share"] = level.share;
    object["before_ns"] = level.before;
    object["after_ns"] = level.after;
    levels.push_back(std::move(object));
  }
  trips["levels"] = std::move(levels);
  trips["largest_distance"] = comparison.round_trips.apart;
  trips["at_ns"] = comparison.round_trips.apart_at;
  trips["p_by_clusters"] = comparison.round_trips.p;
  document["round_trips"] = std::move(trips);
  json::array cautions;
  for (const auto& caution : comparison.cautions) cautions.emplace_back(caution);
  document["cautions"] = std::move(cautions);
  return json_text(document);
}

}  // namespace hopbench
