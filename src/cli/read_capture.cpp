#include "cli/read_capture.h"

#include <fmt/format.h>

#include <cstdio>
#include <vector>

#include "measure/fan_out.h"
#include "text/scenario.h"

namespace hopbench {
namespace {

/// Listens for the head only.
class HeadSeen final : public Sink {
 public:
  bool seen = false;
  RunInfo run;

  void begin(const RunInfo& info) override {
    seen = true;
    run = info;
  }
  void exchange(const ExchangeObs&, const ExchangeTruth*) override {}
  void stray(const Stray&) override {}
  void arrival(const Arrival&) override {}
  void end(Nanos, const Lateness&) override {}
  [[nodiscard]] std::uint64_t whole_from() const override { return ~std::uint64_t{0}; }
};

}  // namespace

ExitCode read_capture(const std::string& path, Sink& sink, CaptureRead& read) {
  std::string why;
  const auto capture = open_capture(path, why);
  if (!capture) {
    fmt::print(stderr, "hopbench: {}: {}\n", path, why);
    return exit_trouble;
  }
  HeadSeen head;
  FanOut all{&head, &sink};
  replay(*capture, all);
  read.run = head.run;
  read.damage = capture->damage();
  if (head.seen) return exit_done;
  fmt::print(stderr, "hopbench: {}: {}\n", path, why_no_capture(read.damage));
  return exit_bad_input;
}

std::unique_ptr<Protocol> bus_of(const std::string& path, const std::string& scenario_text,
                                 const std::string& bus_text) {
  std::vector<Problem> problems;
  const auto scenario = load_scenario({path, scenario_text}, stored_bus(bus_text), problems);
  return scenario ? std::make_unique<Protocol>(scenario->bus) : nullptr;
}

const char* why_no_capture(const CaptureDamage& damage) {
  return damage.newer ? "written by a newer hopbench" : "no capture, or its head cannot be read";
}

}  // namespace hopbench
