#include "study/sweep.h"

#include <fmt/format.h>

#include <algorithm>
#include <limits>

#include "base/plain_text.h"
#include "text/edit.h"

namespace hopbench {
namespace {

/// Runs of one point, seed by seed.
class PointJoin {
 public:
  void add(std::uint64_t seed, SweepRun run) {
    ++row_.runs;
    row_.end = std::max(row_.end, run.end);
    if (row_.why.empty()) row_.why = run.why;
    const ExchangeMeasures& all = run.measures.all;
    if (all.asked > all[Outcome::answered]) ++row_.failed_runs;
    for (std::size_t i = 0; i < causes_.size(); ++i) causes_[i] += run.causes[i];
    if (run.unseen && is_longer(*run.unseen)) {
      row_.unseen = std::move(run.unseen);
      row_.unseen_seed = seed;
    }
    if (all.asked > 0) {
      by_seed_.push_back({static_cast<double>(all.asked - all[Outcome::answered]), static_cast<double>(all.asked)});
    }
    measures_.merge(run.measures);
  }

  SweepRow row() {
    const ExchangeMeasures& all = measures_.all;
    row_.covered = measures_.covered();
    row_.asked = all.asked;
    row_.failed = all.asked - all[Outcome::answered];
    row_.share = sweep_share(by_seed_);
    row_.tries = all.tries;
    row_.outcomes = all.outcomes;
    row_.median = all.round_trip.percentile(500'000);
    row_.within_99 = all.round_trip.percentile(990'000);
    row_.longest = all.round_trip.most();
    const auto burst = measures_.bursts.longest_of_all();
    row_.longest_burst = burst ? burst->length : 0;
    for (std::size_t i = 1; i < causes_.size(); ++i) {
      if (causes_[i] > 0) row_.causes.emplace_back(static_cast<Cause>(i), causes_[i]);
    }
    return std::move(row_);
  }

 private:
  [[nodiscard]] bool is_longer(const SweepUnseen& unseen) const {
    if (!row_.unseen) return true;
    if (unseen.never != row_.unseen->never) return unseen.never;
    return unseen.span > row_.unseen->span;
  }

  SweepRow row_;
  Measures measures_;
  std::vector<Counted> by_seed_;
  std::array<std::uint64_t, 256> causes_{};
};

}  // namespace

std::size_t SweepPlan::points() const {
  std::size_t points = 1;
  for (const Vary& vary : varied) points *= vary.values.size();
  return points;
}

std::vector<std::string> SweepPlan::values_at(std::size_t point) const {
  std::vector<std::string> values(varied.size());
  for (std::size_t i = varied.size(); i-- > 0;) {
    values[i] = varied[i].values[point % varied[i].values.size()];
    point /= varied[i].values.size();
  }
  return values;
}

std::optional<std::string> SweepPlan::fault() const {
  if (varied.empty())
    return "--vary is missing: say which field takes which values, for example controller.retries=0,1,2";
  if (seeds == 0) return "--seeds must be at least 1";
  std::size_t runs = 1;
  const auto times = [&](std::uint64_t factor) {
    runs = factor > most_sweep_runs ? most_sweep_runs + 1
                                    : std::min(runs * static_cast<std::size_t>(factor), most_sweep_runs + 1);
  };
  for (std::size_t i = 0; i < varied.size(); ++i) {
    times(varied[i].values.size());
    if (varied[i].path == "seed") return "--vary: seed is what --seeds and --from-seed vary";
    for (std::size_t j = 0; j < i; ++j) {
      if (varied[i].path == varied[j].path) return fmt::format("--vary: {} is varied twice", harmless(varied[i].path));
    }
  }
  times(seeds);
  if (runs > most_sweep_runs)
    return fmt::format("values and seeds make more than {} runs; take fewer, or several sweeps", most_sweep_runs);
  if (first_seed > std::numeric_limits<std::uint64_t>::max() - (seeds - 1))
    return "--from-seed: seeds end at 18446744073709551615; begin lower";
  return std::nullopt;
}

std::variant<Scenario, std::string> scenario_at(const Scenario& base, const SweepPlan& plan, std::size_t point,
                                                const BusFinder& buses) {
  std::vector<Edit> edits;
  const auto values = plan.values_at(point);
  for (std::size_t i = 0; i < values.size(); ++i) edits.push_back({plan.varied[i].path, values[i]});
  auto changed = edited(base, edits, buses);
  if (const auto* problem = std::get_if<EditProblem>(&changed)) return render(*problem);
  return std::get<Scenario>(std::move(changed));
}

std::optional<SweepRun> make_sweep_run(const Scenario& base, const SweepPlan& plan, std::size_t run,
                                       const BusFinder& buses, const std::function<bool()>& stop) {
  const auto scenario = scenario_at(base, plan, plan.point_of(run), buses);
  if (const auto* why = std::get_if<std::string>(&scenario)) return impossible_run(*why);
  const auto& good = std::get<Scenario>(scenario);
  const Nanos stated = good.chain.run_for > 0 ? good.chain.run_for : plan.otherwise;
  return sweep_run(good, plan.seed_of(run), plan.span > 0 ? plan.span : stated, plan.in_seat, stop);
}

std::optional<std::string> all_impossible(const Scenario& base, const SweepPlan& plan, const BusFinder& buses,
                                          Workers& workers, const std::function<bool()>& stop) {
  const auto possible = [&](std::size_t point, const StopAsked&) {
    return std::holds_alternative<Scenario>(scenario_at(base, plan, point, buses));
  };
  if (workers.first(plan.points(), possible, stop) || stop()) return std::nullopt;
  return std::get<std::string>(scenario_at(base, plan, 0, buses));
}

Sweep joined_sweep(const SweepPlan& plan, const std::function<std::optional<SweepRun>(std::size_t)>& result) {
  Sweep sweep;
  sweep.plan = plan;
  std::size_t run = 0;
  for (std::size_t point = 0; point < plan.points(); ++point) {
    PointJoin join;
    std::uint64_t made = 0;
    for (std::uint64_t seed = 0; seed < plan.seeds; ++seed, ++run) {
      auto one = result(run);
      if (!one) continue;
      join.add(plan.seed_of(run), *std::move(one));
      ++made;
    }
    if (made == 0) continue;
    sweep.runs += made;
    SweepRow& row = sweep.rows.emplace_back(join.row());
    row.point = point;
    row.values = plan.values_at(point);
  }
  return sweep;
}

std::vector<std::size_t> Sweep::points_not_run() const {
  std::vector<std::size_t> missing;
  std::size_t row = 0;
  for (std::size_t point = 0; point < plan.points(); ++point) {
    if (row < rows.size() && rows[row].point == point) {
      ++row;
    } else {
      missing.push_back(point);
    }
  }
  return missing;
}

}  // namespace hopbench
