#include <boost/json/array.hpp>
#include <boost/json/object.hpp>

#include "view/json_text.h"
#include "view/sweep_report.h"

namespace hopbench {
namespace {

namespace json = boost::json;

json::value micros_or_null(std::optional<Nanos> span) {
  if (!span) return nullptr;
  return static_cast<double>(*span) / 1e3;
}

double in_seconds(Nanos span) { return static_cast<double>(span) / 1e9; }

json::value unseen_json(const SweepRow& row) {
  if (!row.unseen) return nullptr;
  json::object object;
  object["seconds"] = in_seconds(row.unseen->span);
  object["never_read"] = row.unseen->never;
  object["node"] = row.unseen->node;
  object["cell"] = row.unseen->cell;
  object["seed"] = row.unseen_seed;
  object["from_seconds"] = in_seconds(row.unseen->from);
  return object;
}

json::object values_json(const std::vector<std::string>& values, const SweepPlan& plan) {
  json::object object;
  for (std::size_t i = 0; i < values.size(); ++i) object[plan.varied[i].path] = values[i];
  return object;
}

json::value worst_json(const Sweep& sweep) {
  const SweepRow* worst = worst_row(sweep);
  if (worst == nullptr) return nullptr;
  return json::object{{"values", values_json(worst->values, sweep.plan)},
                      {"of_points", points_measured(sweep)},
                      {"failed_share", rounded(worst->share.share->value)}};
}

json::object row_json(const SweepRow& row, const SweepPlan& plan) {
  json::object object;
  object["values"] = values_json(row.values, plan);
  object["problem"] = problem_of(row).empty() ? json::value(nullptr) : json::value(problem_of(row));
  object["runs"] = row.runs;
  object["runs_with_failures"] = row.failed_runs;
  object["simulated_seconds"] = in_seconds(row.covered);
  object["asked"] = row.asked;
  object["failed"] = row.failed;
  const auto& share = row.share.share;
  object["failed_share"] = share ? json::value(rounded(share->value)) : json::value(nullptr);
  object["failed_low"] = share ? json::value(rounded(share->low)) : json::value(nullptr);
  object["failed_high"] = share ? json::value(rounded(share->high)) : json::value(nullptr);
  object["interval"] = row.share.by_seeds ? "seeds" : "exact";
  object["seeds_p"] = rounded(row.share.seeds_p);
  json::object& outcomes = object["outcomes"].emplace_object();
  for (std::size_t i = 0; i < outcome_count; ++i) outcomes[name_of(static_cast<Outcome>(i))] = row.outcomes[i];
  object["tries"] = row.tries;
  object["longest_burst"] = row.longest_burst;
  object["round_trip_us"] = json::object{{"p50", micros_or_null(row.median)},
                                         {"p99", micros_or_null(row.within_99)},
                                         {"max", micros_or_null(row.longest)}};
  object["unseen"] = unseen_json(row);
  json::object& causes = object["causes"].emplace_object();
  for (const auto& [cause, tries] : row.causes) causes[name_of(cause)] = tries;
  return object;
}

}  // namespace

std::string sweep_json(const Sweep& sweep) {
  const SweepPlan& plan = sweep.plan;
  json::object document;
  document["schema"] = "hopbench.sweep/1";
  document["scenario"] = plan.scenario;
  put_reality(document, plan.reality());
  json::array& varied = document["varied"].emplace_array();
  for (const Vary& vary : plan.varied)
    varied.push_back(
        json::object{{"field", vary.path}, {"values", json::array(vary.values.begin(), vary.values.end())}});
  document["first_seed"] = plan.first_seed;
  document["seeds"] = plan.seeds;
  document["runs"] = sweep.runs;
  document["runs_planned"] = plan.runs();
  document["points_planned"] = plan.points();
  json::array& not_run = document["points_not_run"].emplace_array();
  for (const std::size_t point : sweep.points_not_run()) not_run.push_back(values_json(plan.values_at(point), plan));
  document["worst"] = worst_json(sweep);
  json::array& points = document["points"].emplace_array();
  for (const SweepRow& row : sweep.rows) points.push_back(row_json(row, plan));
  return json_text(document);
}

}  // namespace hopbench
