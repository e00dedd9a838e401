#include "cli/controller_option.h"

#include <fmt/format.h>

#include <utility>

#include "base/duration.h"
#include "base/plain_text.h"
#include "cli/commands.h"

namespace hopbench {

CLI::Option* add_controller_option(CLI::App& command, std::string& controller, std::string& hang_after) {
  auto* option =
      command
          .add_option("--controller", controller,
                      "Put a program in the controller's seat: exec:PROGRAM ARGUMENTS starts it, socket:PATH "
                      "waits for it (docs/granted-time.md)")
          ->type_name("WHERE");
  command
      .add_option("--hang-after", hang_after,
                  "With --controller: give it up when it keeps time standing still for this long by the computer's "
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
