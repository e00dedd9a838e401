// A soak test as text for people, as JSON for machines, and as figures for whoever collects them.
#pragma once

#include <cstdint>
#include <optional>
#include <string>

#include "base/time.h"
#include "seen/reality.h"
#include "soak/clock_watch.h"
#include "soak/plan.h"
#include "soak/soak.h"

namespace hopbench {

enum class SoakEnd : std::uint8_t {
  still_running,
  span_over,
  decided,           // before the span was over
  interrupted,       // by a signal
  controller_ended,  // or failed: the program in its seat
  stuck,             // the chain goes round without time passing
};

/// The soak must outlive it.
struct SoakReport {
  explicit SoakReport(const Soak& what) : soak(what) {}

  const Soak& soak;
  Reality reality = Reality::simulated;
  std::string scenario;  // its name
  std::uint64_t seed = 0;
  Nanos start = 0;
  Nanos now = 0;
  Nanos until = 0;
  SoakEnd end = SoakEnd::still_running;
  std::uint32_t resumed = 0;         // so many times
  std::uint64_t detail_removed = 0;  // files with details that were removed to keep within the disk's bound
  std::uint64_t detail_lost = 0;     // records that are in no detail file, since the disk did not take them
  /// In real time: what became of the computer's clock, and how the port kept up.
  struct Port {
    ClockCounts clock;
    Lateness lateness;
  };
  std::optional<Port> port;
  std::optional<Nanos> saved_at;      // since 1970, when the state was saved last; for who looks on only
  std::optional<Nanos> wall_elapsed;  // of the computer's time; for who looks on only
};

std::string soak_text(const SoakReport& report);
/// One document with a line end. Nothing in it depends on how fast the computer is or how often the soak was resumed,
/// but for `resumed` and `detail_removed`.
std::string soak_json(const SoakReport& report);
/// In the Prometheus text format, version 0.0.4.
std::string soak_metrics(const SoakReport& report);
/// One line while the soak goes on: how far, how fast, what failed, when a verdict may be expected.
std::string soak_progress(const SoakReport& report);

/// `real_time`: the soak is to be at a port.
std::string soak_plan_text(const std::string& scenario, const SoakPlan& plan, bool real_time);
std::string soak_plan_json(const std::string& scenario, const SoakPlan& plan, bool real_time);

}  // namespace hopbench
