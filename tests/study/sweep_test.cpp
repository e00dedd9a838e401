// Sweeps: the grid, one run as bytes, and runs joined over seeds, held against measures merged by themselves.
#include "study/sweep.h"

#include <fmt/format.h>

#include "chain/chain.h"
#include "measure/causes.h"
#include "measure/fan_out.h"
#include "study/sweep_folder.h"
#include "support/catch.h"
#include "support/dice.h"

namespace hopbench {
namespace {

Scenario shipped(const std::string& name) {
  const std::string path = std::string(HOPBENCH_SOURCE_DIR) + "/captures/" + name;
  std::string why;
  const auto file = read_text_file(path, why);
  REQUIRE(file);
  std::vector<Problem> problems;
  auto scenario = load_scenario(*file, buses_beside(path), problems);
  REQUIRE(scenario);
  return *std::move(scenario);
}

const BusFinder no_files = [](const std::string& name, std::string&) { return shipped_bus(name); };
const std::function<bool()> go_on = [] { return false; };

SweepPlan small_plan() {
  SweepPlan plan;
  plan.scenario = "mixed";
  plan.varied = {{"controller.retries", {"0", "1"}}, {"baud", {"9600", "19200", "1"}}};
  plan.first_seed = 40;
  plan.seeds = 3;
  plan.span = 120 * second;
  return plan;
}

struct Whole {
  Measures measures;
  CauseCounts causes;
};

/// Without anything of the sweep: the chain, its measures and causes, merged.
Whole by_itself(const Scenario& scenario, const SweepPlan& plan) {
  Whole whole;
  for (std::uint64_t seed = plan.first_seed; seed < plan.first_seed + plan.seeds; ++seed) {
    MeasureFold fold;
    CauseFold causes;
    FanOut all{&fold, &causes};
    const Protocol protocol(scenario.bus);
    Chain chain(protocol, scenario.chain, seed, Way::events, Seat::simulated, all);
    REQUIRE(chain.run_until(chain.now() + plan.span));
    chain.finish({});
    whole.measures.merge(fold.measures());
    whole.causes.merge(causes.counts());
  }
  return whole;
}

}  // namespace

TEST_CASE("the last varied field varies fastest, and seeds within a point") {
  const SweepPlan plan = small_plan();
  REQUIRE_FALSE(plan.fault());
  CHECK(plan.points() == 6);
  CHECK(plan.runs() == 18);
  using Values = std::vector<std::string>;
  CHECK(plan.values_at(0) == Values{"0", "9600"});
  CHECK(plan.values_at(1) == Values{"0", "19200"});
  CHECK(plan.values_at(2) == Values{"0", "1"});
  CHECK(plan.values_at(3) == Values{"1", "9600"});
  CHECK(plan.point_of(5) == 1);
  CHECK(plan.seed_of(5) == 42);
}

TEST_CASE("a plan that cannot be is refused") {
  const auto fault = [](auto change) {
    SweepPlan plan = small_plan();
    change(plan);
    return plan.fault().value_or("");
  };
  CHECK(fault([](auto&) {}).empty());
  CHECK(fault([](auto& plan) { plan.varied.clear(); }).find("--vary is missing") == 0);
  CHECK(fault([](auto& plan) { plan.varied[1].path = "controller.retries"; }) ==
        "--vary: controller.retries is varied twice");
  CHECK(fault([](auto& plan) { plan.varied[1].path = "seed"; }) == "--vary: seed is what --seeds and --from-seed vary");
  CHECK(fault([](auto& plan) { plan.seeds = 0; }) == "--seeds must be at least 1");
  CHECK(fault([](auto& plan) { plan.seeds = 16'666; }).empty());
  CHECK(fault([](auto& plan) { plan.seeds = 16'667; }).find("more than 100000 runs") != std::string::npos);
  CHECK(fault([](auto& plan) { plan.seeds = ~std::uint64_t{0}; }).find("more than 100000 runs") != std::string::npos);
  CHECK(fault([](auto& plan) { plan.first_seed = ~std::uint64_t{0} - 2; }).empty());
  CHECK(fault([](auto& plan) { plan.first_seed = ~std::uint64_t{0} - 1; }).find("--from-seed") == 0);
  SweepPlan wide = small_plan();
  for (int i = 0; i < 30; ++i) wide.varied.push_back({fmt::format("f{}", i), std::vector<std::string>(1000, "x")});
  CHECK(wide.fault());
}

TEST_CASE("a row says what the measures of its seeds say when they are merged") {
  const Scenario base = shipped("mixed.txtpb");
  const SweepPlan plan = small_plan();
  std::size_t asked_for = 0;
  const Sweep sweep = joined_sweep(plan, [&](std::size_t run) {
    CHECK(run == asked_for++);
    // Through bytes, as from a folder.
    const auto made = make_sweep_run(base, plan, run, no_files, go_on);
    REQUIRE(made);
    return SweepRun::parse(made->bytes());
  });
  REQUIRE(sweep.rows.size() == 6);
  CHECK(sweep.runs == 18);
  std::uint64_t failed = 0;
  for (const SweepRow& row : sweep.rows) {
    INFO("point " << row.point);
    CHECK(row.values == plan.values_at(row.point));
    CHECK(row.runs == 3);
    if (row.values[1] == "1") {
      CHECK(row.end == SweepEnd::impossible);
      CHECK(row.why == "baud: baud must be 50 to 10000000, not 1");
      CHECK(row.asked == 0);
      continue;
    }
    const auto scenario = scenario_at(base, plan, row.point, no_files);
    const Whole whole = by_itself(std::get<Scenario>(scenario), plan);
    const ExchangeMeasures& all = whole.measures.all;
    CHECK(row.end == SweepEnd::done);
    CHECK(row.asked == all.asked);
    CHECK(row.failed == all.asked - all[Outcome::answered]);
    CHECK(row.tries == all.tries);
    CHECK(row.outcomes == all.outcomes);
    CHECK(row.median == all.round_trip.percentile(500'000));
    CHECK(row.within_99 == all.round_trip.percentile(990'000));
    CHECK(row.longest == all.round_trip.most());
    CHECK(row.covered == whole.measures.covered());
    const auto burst = whole.measures.bursts.longest_of_all();
    CHECK(row.longest_burst == (burst ? burst->length : 0));
    Nanos unseen = 0;
    for (const auto& group : whole.measures.cells) unseen = std::max(unseen, whole.measures.longest_unseen(group).span);
    REQUIRE(row.unseen);
    CHECK(row.unseen->span == unseen);
    std::uint64_t tries = 0;
    for (const auto& [cause, count] : row.causes) {
      CHECK(whole.causes.tries[static_cast<std::size_t>(cause)] == count);
      tries += count;
    }
    std::uint64_t all_tries = 0;
    for (const auto count : whole.causes.tries) all_tries += count;
    CHECK(tries == all_tries);
    failed += row.failed;
  }
  CHECK(failed > 0);
}

TEST_CASE("points without a run are left out, and rows know how many of their seeds were run") {
  const Scenario base = shipped("mixed.txtpb");
  SweepPlan plan = small_plan();
  plan.span = 10 * second;
  const Sweep sweep = joined_sweep(plan, [&](std::size_t run) {
    return run == 4 || run == 9 || run == 11 ? make_sweep_run(base, plan, run, no_files, go_on) : std::nullopt;
  });
  CHECK(sweep.runs == 3);
  REQUIRE(sweep.rows.size() == 2);
  CHECK(sweep.rows[0].point == 1);
  CHECK(sweep.rows[0].runs == 1);
  CHECK(sweep.rows[1].point == 3);
  CHECK(sweep.rows[1].runs == 2);
}

TEST_CASE("a stop leaves no half run") {
  const Scenario base = shipped("mixed.txtpb");
  CHECK_FALSE(make_sweep_run(base, small_plan(), 0, no_files, [] { return true; }));
}

TEST_CASE("that no point can be run is found before any is") {
  const Scenario base = shipped("mixed.txtpb");
  Workers workers(2);
  SweepPlan plan = small_plan();
  CHECK_FALSE(all_impossible(base, plan, no_files, workers, go_on));
  plan.varied = {{"baud", {"1", "2"}}};
  CHECK(all_impossible(base, plan, no_files, workers, go_on) == "baud: baud must be 50 to 10000000, not 1");
  plan.varied = {{"baud", {"1", "2", "9600"}}};
  CHECK_FALSE(all_impossible(base, plan, no_files, workers, go_on));
}

TEST_CASE("bytes of a run that are cut or changed are refused, or are a run") {
  const Scenario base = shipped("mixed.txtpb");
  SweepPlan plan = small_plan();
  plan.span = 60 * second;
  const auto bytes = make_sweep_run(base, plan, 0, no_files, go_on)->bytes();
  CHECK(SweepRun::parse(bytes)->bytes() == bytes);
  CHECK(SweepRun::parse(impossible_run("no such thing").bytes())->why == "no such thing");
  for (std::size_t size = 0; size < bytes.size(); ++size) CHECK_FALSE(SweepRun::parse(std::span(bytes).first(size)));
  for (std::uint64_t i = 0; i < 5000; ++i) {
    Dice dice("sweep bytes", i);
    auto bad = bytes;
    bad[dice.up_to(bad.size() - 1)] = static_cast<std::uint8_t>(dice.up_to(255));
    (void)SweepRun::parse(bad);  // and nothing worse than a refusal
  }
}

TEST_CASE("the plan of a sweep comes back from what its folder says") {
  const Scenario base = shipped("mixed.txtpb");
  for (const Nanos span : {Nanos{0}, 90 * second}) {
    SweepPlan plan = small_plan();
    plan.span = span;
    plan.varied.push_back({"controller.poll[cells].nodes", {"[a1, a2]", "[\"a3\"]"}});
    auto parts = folder_parts(plan, base, "9.9");
    const auto back = plan_of_folder(parts);
    REQUIRE(back);
    CHECK(back->scenario == "mixed");
    CHECK(back->varied == plan.varied);
    CHECK(back->first_seed == plan.first_seed);
    CHECK(back->seeds == plan.seeds);
    CHECK(back->span == plan.span);
    CHECK(difference_of(folder_parts(*back, base, "9.9"), parts).empty());
    for (std::size_t i = 1; i < 6; ++i) {
      auto bad = parts;
      bad[i].value = "x y";
      if (bad[i].name != "name") CHECK_FALSE(plan_of_folder(bad));
      bad.erase(bad.begin() + static_cast<std::ptrdiff_t>(i));
      CHECK(plan_of_folder(bad).has_value() == (parts[i].name == "varied field"));
    }
  }
}

}  // namespace hopbench
