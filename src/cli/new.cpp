// `hopbench new`: a first scenario, and a first bus description.
#include <fmt/format.h>
#include <unistd.h>

#include <charconv>
#include <cstdio>
#include <filesystem>
#include <iostream>
#include <memory>
#include <optional>
#include <span>
#include <string>
#include <vector>

#include "base/duration.h"
#include "budget/budget.h"
#include "cli/commands.h"
#include "cli/say.h"
#include "record/new_file.h"
#include "text/bus.h"
#include "text/new_scenario.h"
#include "text/scenario.h"
#include "text/suggest.h"
#include "text/values.h"
#include "view/number_text.h"

namespace hopbench {
namespace {

namespace fs = std::filesystem;

constexpr const char* usual_nodes = "16x1";
constexpr const char* usual_bus = "bench-frame";
constexpr const char* usual_shape = "ring";
constexpr std::uint32_t usual_baud = 19200;  // of a bus description that is written
constexpr Nanos try_time_out = 3600 * second;

struct NewOptions {
  std::string file;
  std::string name;
  std::string nodes;
  std::string shape;
  std::string bus;
  std::string baud;
  std::string charging;
  bool force = false;
};

/// What is wrong with an answer; empty if nothing is.
using Complaint = std::string;

std::optional<std::uint32_t> baud_of(const std::string& text) {
  std::uint32_t baud = 0;
  const auto [end, error] = std::from_chars(text.data(), text.data() + text.size(), baud);
  if (error != std::errc() || end != text.data() + text.size() || baud < 50 || baud > 10'000'000) return std::nullopt;
  return baud;
}

Complaint about_nodes(const std::string& text) {
  std::string why;
  return parse_new_nodes(text, why) ? "" : why;
}
Complaint about_shape(const std::string& text) { return text == "ring" || text == "line" ? "" : "write ring or line"; }
Complaint about_baud(const std::string& text) {
  return baud_of(text) ? "" : "write bits per second, 50 to 10000000, for example 38400";
}
Complaint about_charging(const std::string& text) { return text == "yes" || text == "no" ? "" : "write yes or no"; }

bool is_file_name(const std::string& bus) { return bus.find('/') != std::string::npos || bus.ends_with(".txtpb"); }

Complaint about_bus(const std::string& text) {
  if (is_file_name(text) || shipped_bus(text)) return "";
  return "there is no bus description " + in_quotes(text) + suggestion(text, shipped_bus_names()) +
         "; a file's name ends in .txtpb";
}

/// Takes what was given as an option; else asks, where somebody is there to answer; else takes what is usual. False if
/// an option cannot be used.
bool settle(std::string& value, const char* option, const std::string& question, const std::string& usual,
            Complaint (*about)(const std::string&)) {
  const bool asks = value.empty() && ::isatty(STDIN_FILENO) == 1 && ::isatty(STDERR_FILENO) == 1;
  while (asks) {
    say_line("{} [{}] ", question, usual);
    std::string line;
    if (!std::getline(std::cin, line)) return false;
    value = line.empty() ? usual : line;
    const Complaint wrong = about(value);
    if (wrong.empty()) return true;
    say_line("  {}\n", wrong);
  }
  if (value.empty()) value = usual;
  const Complaint wrong = about(value);
  if (!wrong.empty()) (void)bad_input(fmt::format("new: {}: {}", option, wrong));
  return wrong.empty();
}

bool exists(const std::string& path) {
  std::error_code ignored;
  return fs::exists(fs::symlink_status(path, ignored));
}

/// A file's name without folder and ending, if it can name something.
std::string name_from(const std::string& path) {
  const std::string stem = fs::path(path).stem().string();
  return is_name(stem) ? stem : "chain";
}

ExitCode write_file(const std::string& path, const std::string& text, bool force) {
  const std::span bytes(reinterpret_cast<const std::uint8_t*>(text.data()), text.size());
  const int error = write_new_file(path, bytes, force);
  if (error == 0) return exit_done;
  if (error == EEXIST) {
    return bad_input(fmt::format("new: {} is there already; name another file, or replace it with --force", path));
  }
  say_line("hopbench: {}: {}\n", path, file_error(error));
  return exit_trouble;
}

ExitCode write_bus(const std::string& path, std::uint32_t baud, bool force) {
  const auto code = write_file(path, new_bus_text(name_from(path), baud), force);
  if (code == exit_done) fmt::print("{}: a bus description to change, {} Bd\n", harmless(path), baud);
  return code;
}

/// How a scenario at `file` names the bus that is called `bus` from where we are.
std::string named_from(const std::string& file, const std::string& bus) {
  if (!is_file_name(bus)) return bus;
  std::error_code ignored;
  const auto folder = fs::absolute(file, ignored).parent_path();
  const auto path = fs::absolute(bus, ignored).lexically_normal().lexically_relative(folder.lexically_normal());
  return is_file_name(path.string()) ? path.string() : "./" + path.string();
}

std::optional<TextFile> bus_file(const std::string& bus) {
  if (!is_file_name(bus)) return shipped_bus(bus);
  std::string why;
  auto file = read_text_file(bus, why);
  if (!file) say_line("hopbench: {}: {}\n", bus, why);
  return file;
}

/// Twice the longest time that the controller waits for an answer if nothing is disturbed, in whole hundredths of a
/// second.
Nanos good_time_out(const Scenario& scenario) {
  const Protocol protocol(scenario.bus);
  const Budget budget = budget_of(protocol, scenario.chain, {});
  Nanos longest = 0;
  for (const EntryBudget& entry : budget.entries) longest = std::max(longest, entry.answered.worst());
  const Nanos step = 10 * millisecond;
  return longest == never ? try_time_out : std::max((2 * longest + step - 1) / step * step, 5 * step);
}

std::optional<Scenario> loaded(const std::string& file, const std::string& text, const TextFile& bus, bool says) {
  std::vector<Problem> problems;
  auto scenario = load_scenario({file, text}, stored_bus(bus.text), problems);
  if (says) {
    for (const Problem& problem : problems) fmt::print(stderr, "{}", render(problem));
  }
  return scenario;
}

ExitCode write_scenario(const NewOptions& options) {
  NewScenario wish;
  std::string why;
  wish.name = options.name.empty() ? name_from(options.file) : options.name;
  if (!is_name(wish.name)) return bad_input(fmt::format("new: --name: {}", name_rule));
  wish.nodes = *parse_new_nodes(options.nodes, why);
  wish.line = options.shape == "line";
  wish.charging = options.charging == "yes";
  wish.bus = named_from(options.file, options.bus);
  wish.baud = baud_of(options.baud);
  const auto file = bus_file(options.bus);
  if (!file) return exit_bad_input;
  std::vector<Problem> problems;
  const auto bus = load_bus(*file, problems);
  for (const Problem& problem : problems) fmt::print(stderr, "{}", render(problem, *file));
  if (!bus) return exit_bad_input;

  wish.time_out = try_time_out;
  std::string text = new_scenario_text(wish, *bus, why);
  if (text.empty()) return bad_input(fmt::format("new: {}: {}", options.bus, why));
  auto scenario = loaded(options.file, text, *file, true);
  if (!scenario) {
    say_line("hopbench: such a chain cannot be on this bus; nothing was written\n");
    return exit_bad_input;
  }
  wish.time_out = good_time_out(*scenario);
  text = new_scenario_text(wish, *bus, why);
  scenario = loaded(options.file, text, *file, true);
  if (!scenario) return exit_bad_input;
  if (const auto code = write_file(options.file, text, options.force); code != exit_done) return code;
  fmt::print("{}: a {} of {}, {} Bd, time-out {}\n", harmless(options.file), options.shape,
             counted(scenario->chain.nodes.size(), "node"), scenario->bus.line.baud, format_duration(wish.time_out));
  return exit_done;
}

ExitCode new_files(NewOptions options) {
  const bool only_bus = options.file.empty();
  if (only_bus && options.bus.empty()) {
    return bad_input(
        "new: name the scenario that is to be written, for example hopbench new chain.txtpb, or a bus "
        "description with --bus");
  }
  if (only_bus) {
    if (!is_file_name(options.bus)) return bad_input("new: --bus: a new bus description's name ends in .txtpb");
    if (!settle(options.baud, "--baud", "Bits per second?", std::to_string(usual_baud), about_baud)) {
      return exit_bad_input;
    }
    return write_bus(options.bus, *baud_of(options.baud), options.force);
  }
  if (!options.force && exists(options.file) && !is_device(options.file)) {
    return bad_input(
        fmt::format("new: {} is there already; name another file, or replace it with --force", options.file));
  }
  const auto names = shipped_bus_names();
  std::string shipped;
  for (const std::string& name : names) shipped += (shipped.empty() ? "" : ", ") + name;
  if (!settle(options.nodes, "--nodes", "Nodes, as COUNTxCELLS (34x1,2x12: 34 of one cell, then 2 of twelve)?",
              usual_nodes, about_nodes) ||
      !settle(options.shape, "--shape", "A ring (the last node leads back to the controller) or a line?", usual_shape,
              about_shape) ||
      !settle(options.bus, "--bus", fmt::format("Bus: {}, or a file of your own?", shipped), usual_bus, about_bus)) {
    return exit_bad_input;
  }
  const bool makes_bus = is_file_name(options.bus) && !exists(options.bus);
  if (is_file_name(options.bus) && is_same_file(options.bus, options.file)) {
    return bad_input("new: --bus: that is the scenario itself; give another file");
  }
  std::uint32_t baud = usual_baud;
  if (!makes_bus) {
    const auto file = bus_file(options.bus);
    if (!file) return exit_bad_input;
    std::vector<Problem> unsaid;
    if (const auto bus = load_bus(*file, unsaid)) baud = bus->line.baud;
  }
  if (!settle(options.baud, "--baud", "Bits per second?", std::to_string(baud), about_baud) ||
      !settle(options.charging, "--charging", "With a battery that is charged and balanced: yes or no?", "no",
              about_charging)) {
    return exit_bad_input;
  }
  if (makes_bus) {
    if (const auto code = write_bus(options.bus, *baud_of(options.baud), false); code != exit_done) return code;
  }
  return write_scenario(options);
}

}  // namespace

void add_new(CLI::App& app, int& exit_code) {
  auto options = std::make_shared<NewOptions>();
  auto* command = app.add_subcommand(
      "new", "Write a first scenario, or a first bus description, with comments; ask for what is not given");
  command->add_option("OUT", options->file, "File for the scenario, e.g. chain.txtpb");
  command
      ->add_option("--nodes", options->nodes,
                   "Nodes and their cells, from the controller on, e.g. 34x1,2x12 (default: 16x1)")
      ->type_name("LIST");
  command->add_option("--shape", options->shape, "Lay the chain out as a ring or a line (default: ring)")
      ->type_name("SHAPE");
  command
      ->add_option("--bus", options->bus,
                   "Use this bus description: bench-frame (default), modbus-rtu, old-style, or a file. A file that is "
                   "not there is written; without OUT only that")
      ->type_name("BUS");
  command->add_option("--baud", options->baud, "Send so many bits per second, e.g. 38400 (default: as the bus says)")
      ->type_name("BD");
  command
      ->add_option("--charging", options->charging,
                   "Add a battery that is charged once a day and balanced near the top: yes or no (default: no)")
      ->type_name("YES|NO");
  command->add_option("--name", options->name, "Name the scenario (default: as the file)")->type_name("NAME");
  command->add_flag("--force", options->force, "Replace what is there under the name of OUT");
  command->callback([options, &exit_code] { exit_code = new_files(*options); });
}

}  // namespace hopbench
