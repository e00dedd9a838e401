// How often explain is right, over random chains with hidden mechanisms. Makes docs/explain-rates.md.
#include <fmt/format.h>
#include <CLI/CLI.hpp>

#include <algorithm>
#include <string>
#include <thread>
#include <vector>

#include "page.h"

using namespace hopbench;
using namespace hopbench::rates;

namespace {

std::vector<std::string> names_of_plants() {
  std::vector<std::string> names;
  for (const Plant& plant : plants()) names.emplace_back(plant.name);
  return names;
}

}  // namespace

int main(int argc, char** argv) {
  CLI::App app("Tell how often explain is right: random chains with hidden mechanisms");
  Wish wish;
  std::string vantage = "both";
  bool list = false;
  bool given_up = false;
  bool page = false;
  std::uint64_t scenario = 0;
  std::uint64_t foreign = 0;
  wish.threads = std::max(1U, std::thread::hardware_concurrency());
  app.add_option("cases", wish.cases, "Number of cases (default: 100)");
  app.add_option("--from", wish.from, "First seed: 1 and on for shaping, 900001 and on for reports (default: 1)");
  app.add_option("--vantage", vantage, "hops, controller or both (default: both)")
      ->check(CLI::IsMember({"hops", "controller", "both"}));
  bool simulate = false;
  app.add_flag("--simulate", simulate, "From the controller: with simulations, as explain without --quick; takes long");
  app.add_flag("--list", list, "A paragraph for each case that is not right");
  app.add_option("--foreign", foreign, "Instead: each fault that no scenario can say, so many times");
  app.add_flag("--page", page, "Instead: docs/explain-rates.md, with seeds that are for reports");
  app.add_flag("--given-up", given_up, "Instead: draw the cases, and tell which drawings came to nothing and why");
  app.add_option("--scenario", scenario, "Print the scenario of this seed, and nothing else");
  app.add_option("--threads", wish.threads, "Cases at the same time (default: all cores)");
  app.add_option("--only", wish.only, "Hide this and nothing else, e.g. \"bad tap\"")
      ->check(CLI::IsMember(names_of_plants()));
  app.add_option("--keep", wish.keep, "Folder in which drawn scenarios are kept, and looked for")
      ->check(CLI::ExistingDirectory);
  CLI11_PARSE(app, argc, argv);
  wish.hops = vantage != "controller";
  wish.effort = simulate ? Effort::simulated : Effort::quick;
  wish.controller = vantage != "hops";
  if (scenario > 0) {
    const auto made = kept_case(scenario, wish.only, wish.keep);
    if (!made) return 1;
    for (const Hidden& each : made->hidden)
      fmt::print("# hidden: {} ({}), {} failed tries\n", each.name, name_of(each.mechanism), each.failures);
    fmt::print("{}", made->text);
    return 0;
  }
  if (given_up) {
    for (std::uint64_t seed = wish.from; seed < wish.from + wish.cases; ++seed) {
      std::vector<std::string> log;
      (void)hidden_case(seed, wish.only, &log);
      for (const auto& line : log) fmt::print("{}\n", line);
    }
    return 0;
  }
  if (page) {
    wish.from = first_to_report;
    wish.effort = Effort::simulated;
    if (app.get_option("cases")->empty()) wish.cases = 200;
    constexpr std::uint64_t each = 3;
    const auto cases = judged_cases(wish);
    fmt::print("{}", page_of(wish, cases, first_to_report, judged_foreign(first_to_report, each, wish.threads)));
    return 0;
  }
  if (foreign > 0) {
    const auto all = judged_foreign(wish.from, foreign, wish.threads);
    fmt::print("{}\n", foreign_table(all));
    if (list) fmt::print("{}\n", foreign_list(all));
    return 0;
  }
  const auto cases = judged_cases(wish);
  if (vantage != "controller") {
    fmt::print("{}\n", hops_table(cases));
    if (list) fmt::print("{}\n", list_of(cases, Eyes::every_hop));
  }
  if (vantage != "hops") {
    fmt::print("{}\n", controller_table(cases));
    if (list) fmt::print("{}\n", list_of(cases, Eyes::controller));
  }
  return 0;
}
