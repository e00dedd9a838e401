// What is timed, and how.
#pragma once

#include <chrono>
#include <cstdint>
#include <functional>
#include <string>

#include "chain/chain.h"
#include "text/scenario.h"

namespace hopbench {

/// Reads a scenario of captures/; ends the program with a line if it cannot.
Scenario captured_scenario(const std::string& name);
/// ring16 with other numbers. Every entry is asked every 1.3824 s divided by 16, times the nodes, as in ring16.
Scenario ring_of(std::size_t nodes, Ppq bit_error);

/// Runs that many exchanges of a scenario, and tells `sink` of them.
void run_scenario(const Scenario& scenario, Way way, std::uint64_t exchanges, Sink& sink);

/// Seconds that `work` takes, on the thread's own clock: other programs on the machine do not count.
double seconds(const std::function<void()>& work);
/// By the wall, for work that several threads share. The least of some repetitions.
double least_wall_seconds(int times, const std::function<void()>& work);
/// The least of some repetitions.
double least_seconds(int times, const std::function<void()>& work);

}  // namespace hopbench
