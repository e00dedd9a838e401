// `hopbench coexist`: whether a new kind of node can share chains with old ones.
#include <fmt/format.h>

#include <algorithm>
#include <charconv>
#include <filesystem>
#include <limits>
#include <memory>
#include <optional>
#include <span>
#include <string>
#include <system_error>
#include <vector>

#include "cli/commands.h"
#include "cli/progress_steps.h"
#include "cli/say.h"
#include "cli/scenario_file.h"
#include "cli/threads_option.h"
#include "cli/watch.h"
#include "coexist/coexist.h"
#include "record/new_file.h"
#include "view/coexist_report.h"
#include "view/number_text.h"

namespace hopbench {
namespace {

constexpr std::size_t longest_order = 200;  // nodes

struct CoexistOptions {
  std::string scenario;
  std::string new_kind;
  std::vector<std::string> old_kinds;
  std::vector<std::string> promises;
  std::vector<std::string> order;
  std::optional<std::uint64_t> seed;
  std::size_t every_up_to = 4;
  std::size_t longest = 0;  // 0: as the scenario's chain
  EditOptions edits;
  unsigned threads = 0;
  bool json = false;
  bool tap = false;
  std::string junit;
  bool force = false;
};

std::string names_of_kinds(const ChainDescription& chain) {
  std::string names;
  for (const KindSpec& kind : chain.kinds) names += (names.empty() ? "" : ", ") + kind.name;
  return names;
}

std::optional<std::size_t> kind_named(const ChainDescription& chain, const std::string& name, const char* option) {
  for (std::size_t i = 0; i < chain.kinds.size(); ++i) {
    if (chain.kinds[i].name == name) return i;
  }
  (void)bad_input(fmt::format("{}: the scenario has no kind \"{}\"; it has {}", option, harmless(name),
                              harmless(names_of_kinds(chain))));
  return std::nullopt;
}

/// The new kind first. Empty: something was wrong, and has been said.
std::vector<std::size_t> kinds_of(const CoexistOptions& options, const ChainDescription& chain) {
  const auto the_new = kind_named(chain, options.new_kind, "--new");
  if (!the_new) return {};
  std::vector<std::size_t> kinds{*the_new};
  for (const std::string& name : options.old_kinds) {
    const auto kind = kind_named(chain, name, "--old");
    if (!kind) return {};
    if (std::find(kinds.begin(), kinds.end(), *kind) != kinds.end()) {
      (void)bad_input(fmt::format("--old: \"{}\" is named twice", harmless(name)));
      return {};
    }
    kinds.push_back(*kind);
  }
  if (options.old_kinds.empty()) {
    for (const NodeSpec& node : chain.nodes) {
      if (std::find(kinds.begin(), kinds.end(), node.kind) == kinds.end()) kinds.push_back(node.kind);
    }
  }
  if (kinds.size() == 1) {
    (void)bad_input(fmt::format("--new: all nodes of the scenario are of the kind \"{}\"; name an old kind with --old",
                                harmless(options.new_kind)));
    return {};
  }
  return kinds;
}

std::optional<std::vector<PromiseNumber>> promises_of(const CoexistOptions& options) {
  std::vector<PromiseNumber> wanted;
  for (const std::string& name : options.promises) {
    const auto all = promises();
    const auto found = std::find_if(all.begin(), all.end(), [&](const Promise& each) { return each.id == name; });
    if (found == all.end()) {
      std::string ids;
      for (const Promise& each : all) ids += (ids.empty() ? "" : ", ") + std::string(each.id);
      (void)bad_input(fmt::format("--promise: there is no promise \"{}\"; there are {}", harmless(name), ids));
      return std::nullopt;
    }
    wanted.push_back(static_cast<PromiseNumber>(found - all.begin()));
  }
  std::sort(wanted.begin(), wanted.end());
  wanted.erase(std::unique(wanted.begin(), wanted.end()), wanted.end());
  return wanted;
}

/// Of --order: the number of each kind.
std::optional<KindOrder> order_named(const std::vector<std::string>& names, const std::vector<std::string>& kinds) {
  KindOrder order;
  for (const std::string& name : names) {
    const std::size_t star = name.find('*');
    const auto kind = std::find(kinds.begin(), kinds.end(), name.substr(0, star));
    if (kind == kinds.end()) {
      (void)bad_input(
          fmt::format("--order: \"{}\" is neither the new kind nor an old one", harmless(name.substr(0, star))));
      return std::nullopt;
    }
    std::size_t times = 1;
    if (star != std::string::npos) {
      const char* const end = name.data() + name.size();
      const auto read = std::from_chars(name.data() + star + 1, end, times);
      if (read.ec != std::errc() || read.ptr != end || times == 0) times = 0;
    }
    if (times == 0 || order.size() + times > longest_order) {
      (void)bad_input(fmt::format("--order: \"{}\": write KIND or KIND*N; a chain has 1 to {} nodes", harmless(name),
                                  longest_order));
      return std::nullopt;
    }
    order.insert(order.end(), times, static_cast<std::uint16_t>(kind - kinds.begin()));
  }
  return order;
}

/// The longest that a cell may go unread by what the scenario requires of all its chain.
std::optional<Nanos> unread_limit(const Scenario& scenario) {
  std::optional<Nanos> limit;
  for (const Requirement& each : scenario.requirements) {
    if (each.term.what != PropertyTerm::What::unseen || each.term.scope != PropertyTerm::Scope::all) continue;
    const auto value = static_cast<Nanos>(
        std::min<std::uint64_t>(each.term.value, static_cast<std::uint64_t>(std::numeric_limits<Nanos>::max())));
    limit = limit ? std::min(*limit, value) : value;
  }
  return limit;
}

std::string quoted(const std::string& word) {
  const bool plain = !word.empty() && word.find_first_not_of(
                                          "abcdefghijklmnopqrstuvwxyzABCDEFGHIJKLMNOPQRSTUVWXYZ"
                                          "0123456789_-./=,:*") == std::string::npos;
  if (plain) return word;
  std::string text = "'";
  for (const char c : word) text += c == '\'' ? std::string("'\\''") : std::string(1, c);
  return text + "'";
}

std::string command_so_far(const CoexistOptions& options, const std::vector<std::string>& kinds) {
  std::string command = fmt::format("hopbench coexist {} --new {}", quoted(options.scenario), quoted(kinds.front()));
  for (std::size_t i = 1; i < kinds.size(); ++i) command += fmt::format(" --old {}", quoted(kinds[i]));
  if (options.seed) command += fmt::format(" --seed {}", *options.seed);
  for (const std::string& each : options.edits.unset) command += fmt::format(" --unset {}", quoted(each));
  for (const std::string& each : options.edits.set) command += fmt::format(" --set {}", quoted(each));
  return command;
}

/// Never over what the command reads, and over nothing else without --force.
bool may_write_report(const CoexistOptions& options, const Scenario& scenario) {
  for (const std::string& input : files_read(options.scenario, scenario)) {
    if (!is_same_file(input, options.junit)) continue;
    (void)bad_input(input == options.scenario ? "--junit: that is the scenario itself; give another file"
                                              : "--junit: that is the scenario's bus description; give another file");
    return false;
  }
  std::error_code ignored;
  if (options.force || is_device(options.junit) ||
      !std::filesystem::exists(std::filesystem::symlink_status(options.junit, ignored))) {
    return true;
  }
  (void)bad_input(fmt::format("--junit: {} is there already; name another file, or replace it with --force",
                              harmless(options.junit)));
  return false;
}

ExitCode coexist(const CoexistOptions& options) {
  const auto scenario = read_scenario(options.scenario, options.edits);
  if (!scenario) return exit_bad_input;
  if (!options.junit.empty() && !may_write_report(options, *scenario)) return exit_bad_input;
  const ChainDescription& chain = scenario->chain;
  const auto kinds = kinds_of(options, chain);
  if (kinds.empty()) return exit_bad_input;
  CoexistPlan plan;
  const auto wanted = promises_of(options);
  if (!wanted) return exit_bad_input;
  plan.promises = *wanted;
  plan.bounds.every_up_to = options.every_up_to;
  plan.bounds.longest = options.longest != 0 ? options.longest : std::max(chain.nodes.size(), options.every_up_to);
  std::vector<std::string> names;
  for (const std::size_t kind : kinds) names.push_back(chain.kinds[kind].name);
  if (!options.order.empty()) {
    plan.only = order_named(options.order, names);
    if (!plan.only) return exit_bad_input;
  }

  const Protocol protocol(scenario->bus);
  const ChainMaker maker(protocol, chain, kinds);
  for (std::uint16_t kind = 0; kind < maker.kinds(); ++kind) {
    if (maker.is_asked(kind)) continue;
    return bad_input(fmt::format(
        "{}: the plan asks no node of the kind \"{}\", so nobody knows how it is asked; put one into the chain{}",
        harmless(options.scenario), harmless(names[kind]), kind == 0 ? ", or a kind with as many cells" : ""));
  }
  const TrialGround ground{protocol, maker, options.seed.value_or(chain.seed), unread_limit(*scenario)};

  const EndSignals signals;
  StepProgress progress("trials");
  Workers workers(threads_or_all(options.threads));
  const Coexistence found = coexistence(
      ground, plan, workers, [] { return EndSignals::came(); },
      [&](std::size_t done, std::size_t total) { progress.at(done, total); });
  progress.clear();
  if (found.stopped) {
    say_line("hopbench: interrupted; nothing can be said of half the trials\n");
    return exit_incomplete;
  }
  const CoexistReport report{
      found,
      chain.name,
      ground.seed,
      names,
      maker.asked_as() == new_kind ? std::string() : names[maker.asked_as()],
      command_so_far(options, names),
  };
  fmt::print("{}", options.json ? coexist_json(report) : options.tap ? coexist_tap(report) : coexist_text(report));
  if (!options.junit.empty()) {
    const std::string xml = coexist_junit(report);
    const std::span bytes(reinterpret_cast<const std::uint8_t*>(xml.data()), xml.size());
    if (const int error = write_new_file(options.junit, bytes, options.force); error != 0) {
      say_line("hopbench: {}: {}\n", harmless(options.junit), file_error(error));
      return exit_trouble;
    }
  }
  if (!found.tried()) return exit_incomplete;
  return found.broken() ? exit_failed : exit_done;
}

}  // namespace

void add_coexist(CLI::App& app, int& exit_code) {
  auto options = std::make_shared<CoexistOptions>();
  auto* command = app.add_subcommand("coexist", "Try whether a new kind of node can share chains with old ones");
  command->add_option("scenario", options->scenario, "Scenario file")->required();
  command->add_option("--new", options->new_kind, "The new kind")->type_name("KIND")->required();
  command->add_option("--old", options->old_kinds, "Old kinds; otherwise all others that stand in the chain")
      ->type_name("KIND");
  command->add_option("--promise", options->promises, "Try this one only; may be given several times")->type_name("ID");
  command
      ->add_option("--order", options->order,
                   "Try this one chain only: kinds from the controller on; KIND*3 for three of them")
      ->type_name("KIND,KIND...")
      ->delimiter(',');
  command->add_option("--every-up-to", options->every_up_to, "Nodes: of chains up to here every order is tried")
      ->check(CLI::Range(std::size_t{1}, std::size_t{8}))
      ->capture_default_str();
  command->add_option("--longest", options->longest, "Nodes of the longest chain; otherwise as in the scenario")
      ->check(CLI::Range(std::size_t{1}, longest_order));
  command->add_option("--seed", options->seed, "Use this random seed, e.g. 7 (default: the scenario's)");
  auto* json = command->add_flag("--json", options->json, "One JSON document");
  command->add_flag("--tap", options->tap, "Test Anything Protocol instead of the table")->excludes(json);
  command->add_option("--junit", options->junit, "Write a JUnit report as well")->type_name("FILE");
  command->add_flag("--force", options->force, "Replace what is there under the name of --junit");
  add_edit_options(*command, options->edits);
  add_threads_option(*command, options->threads);
  command->callback([options, &exit_code] { exit_code = coexist(*options); });
}

}  // namespace hopbench
