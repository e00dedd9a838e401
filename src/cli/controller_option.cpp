#include "cli/controller_option.h"

#include <fmt/format.h>

#include <string_view>
#include <utility>

#include "base/duration.h"
#include "base/plain_text.h"
#include "cli/commands.h"

namespace hopbench {
namespace {

/// Of the scenario's controller a program in its seat has the name (its luck goes by it), the clock and the receiver:
/// its line is simulated. Everything else is the program's own affair.
bool used_by_program(std::string_view path) {
  if (path.starts_with("scenario.")) path.remove_prefix(9);
  if (!path.starts_with("controller")) return true;
  path.remove_prefix(10);
  if (path.empty()) return false;
  if (path.front() != '.') return true;  // another field, whose name begins alike
  path.remove_prefix(1);
  const auto field = path.substr(0, path.find_first_of(".["));
  return field == "name" || field == "clock" || field == "receiver";
}

/// One line on the first edit that a program would ignore; empty if there is none.
std::string ignored_edit(const CLI::App& command) {
  for (const char* name : {"--set", "--unset", "--vary"}) {
    const auto* edits = command.get_option_no_throw(name);
    if (edits == nullptr) continue;
    for (const std::string& edit : edits->results()) {
      const std::string path = edit.substr(0, edit.find('='));
      if (used_by_program(path)) continue;
      return fmt::format(
          "{} {}: a program ignores that, and has its own plan, time-out and retries; leave it out, and change "
          "the program or its arguments",
          name, harmless(path));
    }
  }
  return {};
}

}  // namespace

CLI::Option* add_controller_option(CLI::App& command, std::string& controller, std::string& hang_after) {
  auto* option =
      command
          .add_option("--controller", controller,
                      "Put a program in the controller's seat: exec:PROGRAM ARGUMENTS starts it, socket:PATH "
                      "waits for it (docs/granted-time.md)")
          ->type_name("WHERE");
  // Checked when all options were read, and so by no command forgotten.
  option->check([&command](const std::string&) { return ignored_edit(command); }, "", "");
  command
      .add_option(
          "--hang-after", hang_after,
          "Give up the program of --controller when it keeps time standing still for this long by the computer's "
          "clock (default: 30s; never: wait for ever, for a debugger)")
      ->type_name("DURATION")
      ->needs(option);
  return option;
}

std::optional<ControllerOption> read_controller(const std::string& controller, const std::string& hang_after) {
  ControllerOption option;
  if (controller.empty()) return option;
  auto at = controller_at(controller);
  if (const auto* error = std::get_if<PortError>(&at)) {
    bad_input("--controller " + harmless(error->what));
    return std::nullopt;
  }
  option.at = std::get<ControllerAt>(std::move(at));
  option.hang_after = std::chrono::seconds(30);
  if (hang_after == "never") {
    option.hang_after = {};
  } else if (!hang_after.empty()) {
    const auto span = parse_duration(hang_after);
    if (!span || *span < millisecond) {
      bad_input(fmt::format("--hang-after {}: give a duration, such as 30s, or never", harmless(hang_after)));
      return std::nullopt;
    }
    option.hang_after = std::chrono::milliseconds(*span / millisecond);
  }
  return option;
}

InSeat in_seat(const ControllerOption& controller, std::shared_ptr<ControllerTrouble> trouble) {
  if (controller.at.name.empty()) return {};
  return [=](const Protocol& protocol, const ChainDescription& chain, std::uint64_t seed, Nanos span,
             const std::function<bool()>& stop, Sink& sink) {
    GrantedOptions options;
    options.span = span;
    options.hang_after = controller.hang_after;
    options.stop = stop;
    const GrantedEnd end = run_granted(protocol, chain, seed, Way::events, controller.at, options, sink);
    if (!end.what.empty()) trouble->say(end.what);
    return end.why == GrantedEnd::Why::time;
  };
}

}  // namespace hopbench
