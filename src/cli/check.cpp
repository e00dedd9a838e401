// hopbench check FILE...: whether scenarios and bus descriptions are right, and what is wrong with them if not.
#include <fmt/format.h>

#include <cstdio>
#include <memory>
#include <string>
#include <vector>

#include "cli/commands.h"
#include "cli/say.h"
#include "text/checked.h"

namespace hopbench {
namespace {

struct CheckOptions {
  std::vector<std::string> files;
};

bool check_one(const std::string& path) {
  std::string why;
  const auto file = read_text_file(path, why);
  if (!file) {
    say_line("{}: {}\n", path, why);
    return false;
  }
  const Checked checked = check_file(*file);
  for (const Problem& problem : checked.problems) fmt::print(stderr, "{}", render(problem));
  const bool good = !has_errors(checked.problems);
  if (good) fmt::print("{}: ok ({})\n", harmless(path), harmless(checked.what_it_is));
  return good;
}

int run_check(const CheckOptions& options) {
  bool good = true;
  for (const std::string& path : options.files) {
    if (!check_one(path)) good = false;
  }
  return good ? exit_done : exit_bad_input;
}

}  // namespace

void add_check(CLI::App& app, int& exit_code) {
  auto options = std::make_shared<CheckOptions>();
  CLI::App* command =
      app.add_subcommand("check", "Check scenarios and bus descriptions; every problem with its line and column");
  command->add_option("FILE", options->files, "Scenario or bus description; told apart by what is in it")->required();
  command->callback([options, &exit_code] { exit_code = run_check(*options); });
}

}  // namespace hopbench
