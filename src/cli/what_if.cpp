// `hopbench what-if`: which mechanism the failures of a scenario need.
#include "cli/what_if.h"

#include <fmt/format.h>

#include <algorithm>
#include <boost/json/array.hpp>
#include <boost/json/object.hpp>
#include <memory>
#include <thread>

#include "base/duration.h"
#include "cli/commands.h"
#include "cli/scenario_file.h"
#include "cli/watch.h"
#include "nodes/without.h"
#include "study/what_if.h"
#include "view/json_text.h"
#include "view/number_text.h"

namespace hopbench {
namespace {

namespace json = boost::json;

constexpr Nanos default_span = 3600 * second;

ExitCode bad_input(const std::string& what) {
  fmt::print(stderr, "hopbench: {}\n", what);
  return exit_bad_input;
}

double rounded(double value) { return std::strtod(fmt::format("{:.6g}", value).c_str(), nullptr); }

std::string rate_text(std::uint64_t failed, std::uint64_t asked) {
  return asked == 0 ? "-" : percent(static_cast<double>(failed) / static_cast<double>(asked)) + " %";
}

std::string unit_text(const WhatIf& found) { return found.unit == 86'400 * second ? "days" : "charge cycles"; }

void print_mechanism(const WhatIf& found, const MechanismFinding& each) {
  fmt::print("  {:<12}{:>11}{:>10}{:>11}{:>10}", name_of(each.mechanism), grouped(each.off.failed),
             rate_text(each.off.failed, each.off.asked), grouped(each.only.failed),
             rate_text(each.only.failed, each.only.asked));
  if (each.share) fmt::print("{:>9.1f} %", 100 * *each.share);
  const auto units = each.off.fewer_in + each.off.more_in;
  if (units == 0) {
    fmt::print("   no difference\n");
  } else {
    fmt::print("   fewer in {} of {} {} that differ ({:.0f} to {:.0f} %)\n", each.off.fewer_in, units, unit_text(found),
               100 * each.off.fewer->low, 100 * each.off.fewer->high);
  }
}

/// Where runs stayed in step: single failures.
void print_pairs(const WhatIf& found) {
  std::string apart;
  for (const auto& each : found.mechanisms) {
    if (!each.off.pairs(found.asked)) {
      apart += fmt::format("{}{}", apart.empty() ? "" : ", ", name_of(each.mechanism));
      continue;
    }
    if (each.off.gone + each.off.come == 0) continue;
    fmt::print("Without {}, {} of the {} failures go and {} are new.", name_of(each.mechanism), grouped(each.off.gone),
               grouped(each.off.gone + each.off.stayed), grouped(each.off.come));
    if (each.off.gone > 0 && each.only.pairs(found.asked)) {
      fmt::print(" With it alone {} of them stay; {} go without it yet do not come by it alone.",
                 grouped(each.only.stayed), grouped(each.not_alone));
    }
    fmt::print("\n");
  }
  for (const auto& each : found.together) {
    fmt::print("{} and {} only together: {} failures go without either and come by neither alone.\n", name_of(each.one),
               name_of(each.other), grouped(each.failures));
  }
  if (found.either > 0) {
    fmt::print("Failures that stay whichever single mechanism is switched off, and go without all of them: {}.\n",
               grouped(found.either));
  }
  if (!apart.empty()) {
    fmt::print(
        "Not in step with the run as it is: those without {}.\nThere single failures cannot be paired, since exchanges "
        "are "
        "asked at other instants; the totals above stand.\nA `pace` that fits a whole time-out keeps runs in step.\n",
        apart);
  }
}

void print_table(const Scenario& scenario, std::uint64_t seed, const WhatIf& found) {
  fmt::print("What if, simulated: scenario {}, seed {}, {} runs on the same luck.\n\n", harmless(scenario.chain.name),
             seed, found.runs);
  fmt::print("  as it is                     {:>11} failed of {} asked ({})\n", grouped(found.failed),
             grouped(found.asked), rate_text(found.failed, found.asked));
  fmt::print("  without all its mechanisms   {:>11} failed of {} asked ({})\n\n", grouped(found.none_failed),
             grouped(found.none_asked), rate_text(found.none_failed, found.none_asked));
  if (found.failed == 0) {
    fmt::print(
        "Nothing failed in this run, so there is nothing to attribute; a longer one or another seed may tell.\n");
    return;
  }
  if (found.mechanisms.empty()) {
    fmt::print("The scenario has no mechanism that could be switched off.\n");
    return;
  }
  const bool shares = found.mechanisms.front().share.has_value();
  fmt::print("  {:<12}{:^21}{:^20}{}\n", "", "without it", "with it alone", shares ? "       share" : "");
  for (const auto& each : found.mechanisms) print_mechanism(found, each);
  fmt::print("\n");
  print_pairs(found);
  fmt::print(
      "The limits (95 %) tell how far that holds for other {}.\n\"Alone\" keeps balancing, since others hang on it.\n",
      unit_text(found));
}

json::object json_of(const Against& against) {
  json::object object;
  object["asked"] = against.asked;
  object["failed"] = against.failed;
  object["in_step"] = against.in_step;
  object["gone"] = against.gone;
  object["stayed"] = against.stayed;
  object["new"] = against.come;
  object["fewer_in"] = against.fewer_in;
  object["more_in"] = against.more_in;
  object["p"] = rounded(against.p);
  object["fewer_low"] = against.fewer ? json::value(rounded(against.fewer->low)) : json::value(nullptr);
  object["fewer_high"] = against.fewer ? json::value(rounded(against.fewer->high)) : json::value(nullptr);
  return object;
}

json::object json_of(const Scenario& scenario, std::uint64_t seed, const WhatIf& found) {
  json::object object;
  object["what_if"] = scenario.chain.name;
  object["simulated"] = true;
  object["seed"] = seed;
  object["runs"] = found.runs;
  object["asked"] = found.asked;
  object["failed"] = found.failed;
  object["without_all_asked"] = found.none_asked;
  object["without_all_failed"] = found.none_failed;
  object["either"] = found.either;
  object["unit_s"] = found.unit / second;
  json::array mechanisms_told;
  for (const auto& each : found.mechanisms) {
    json::object told;
    told["name"] = name_of(each.mechanism);
    told["off"] = json_of(each.off);
    told["only"] = json_of(each.only);
    told["not_alone"] = each.not_alone;
    if (each.share) told["share"] = rounded(*each.share);
    mechanisms_told.push_back(told);
  }
  object["mechanisms"] = mechanisms_told;
  json::array together;
  for (const auto& each : found.together) {
    together.push_back(
        json::object{{"one", name_of(each.one)}, {"other", name_of(each.other)}, {"failures", each.failures}});
  }
  object["together"] = together;
  return object;
}

}  // namespace

int what_if_command(const WhatIfOptions& options) {
  WhatIfPlan plan;
  if (!options.span.empty()) {
    std::string why;
    const auto parsed = parse_duration(options.span, &why);
    if (!parsed || *parsed <= 0)
      return bad_input(fmt::format("--for {}: {}", options.span, why.empty() ? "must be longer than nothing" : why));
    plan.bound.span = *parsed;
  }
  if (options.exchanges == std::uint64_t{0}) return bad_input("--exchanges must be at least 1");
  const auto scenario = read_scenario(options.scenario);
  if (!scenario) return exit_bad_input;
  if (options.exchanges) {
    plan.bound = {0, *options.exchanges};
  } else if (plan.bound.span == 0) {
    plan.bound.span = scenario->chain.run_for > 0 ? scenario->chain.run_for : default_span;
  }
  plan.seed = options.seed.value_or(scenario->chain.seed);
  plan.threads = options.threads > 0 ? options.threads : std::max(1U, std::thread::hardware_concurrency());
  plan.shares = options.shares;
  const std::size_t count = mechanisms_of(scenario->chain).size();
  if (options.shares && count > most_for_shares) {
    return bad_input(
        fmt::format("--shares: the scenario has {} mechanisms; shares take a run for each set of them, "
                    "and {} are the most",
                    count, most_for_shares));
  }

  const EndSignals signals;
  const Protocol protocol(scenario->bus);
  const WhatIf found = what_if(protocol, scenario->chain, plan, [] { return EndSignals::came(); });
  switch (found.end) {
    case RunEnd::stopped:
      fmt::print(stderr, "hopbench: interrupted; nothing can be said of half the runs\n");
      return exit_incomplete;
    case RunEnd::stuck:
      return bad_input(fmt::format("{}: the chain goes round without time passing", options.scenario));
    case RunEnd::nothing_more:
      fmt::print(stderr, "hopbench: {}: the plan had nothing more to ask\n", options.scenario);
      return exit_incomplete;
    case RunEnd::too_many_failures:
      fmt::print(stderr, "hopbench: more than {} failures in one run; give a shorter --for\n",
                 grouped(most_failures_kept));
      return exit_incomplete;
    case RunEnd::done:
      break;
  }
  if (options.json) {
    fmt::print("{}", json_text(json_of(*scenario, plan.seed, found)));
  } else {
    print_table(*scenario, plan.seed, found);
  }
  return exit_done;
}

}  // namespace hopbench
