// Reading a capture for a command, and saying what is wrong with it in one line.
#pragma once

#include <cstdint>
#include <memory>
#include <optional>
#include <string>

#include "bus/protocol.h"
#include "cli/commands.h"
#include "record/truth.h"
#include "text/scenario.h"

namespace hopbench {

struct CaptureRead {
  RunInfo run;
  CaptureDamage damage;
};

/// Tells `sink` all that the capture holds, causes included. exit_trouble if it cannot be opened, exit_bad_input if it
/// is no capture; both have been said on the standard error then.
ExitCode read_capture(const std::string& path, Sink& sink, CaptureRead& read);

/// Says on the standard error what is wrong with a capture; `of_the_middle`: what it means for the numbers if something
/// is missing there.
void tell_damage(const std::string& path, const CaptureDamage& damage, const char* of_the_middle);

/// Which run the capture at `path` is of; none if it cannot be read, or its head cannot.
std::optional<std::uint64_t> run_id_in(const std::string& path);

/// The bus that a capture was taken of, from the texts in its head; null if they do not say.
std::unique_ptr<Protocol> bus_of(const std::string& path, const std::string& scenario_text,
                                 const std::string& bus_text);

/// The same of the capture at `path`; null as well if it cannot be read.
std::unique_ptr<Protocol> bus_in(const std::string& path);

/// The scenario that the capture at `path` was taken of, and its bus; none if its head does not hold it.
std::optional<Scenario> scenario_in(const std::string& path);

/// The wall clock (since 1970, UTC) when the clock of the capture's run stood at 0; none if it ran in virtual time, or
/// if that cannot be read. `began_at`: where the run's clock stood at its start.
std::optional<Nanos> wall_clock_in(const std::string& path, Nanos began_at);

/// What a head that could not be read comes from, in a few words.
const char* why_no_capture(const CaptureDamage& damage);

}  // namespace hopbench
