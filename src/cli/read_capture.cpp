#include "cli/read_capture.h"

#include <fmt/format.h>

#include <cstdio>
#include <vector>

#include "text/scenario.h"
#include "view/number_text.h"

namespace hopbench {
namespace {

/// Hands everything on from the head on: without one nothing can be told of what follows.
class FromHead final : public Sink {
 public:
  explicit FromHead(Sink& to) : to_(to) {}
  bool seen = false;
  RunInfo run;

  void begin(const RunInfo& info) override {
    seen = true;
    run = info;
    to_.begin(info);
  }
  void exchange(const ExchangeObs& obs, const ExchangeTruth* truth) override {
    if (seen) to_.exchange(obs, truth);
  }
  void again(std::span<const ExchangeObs> models, std::span<const Repeat> repeats) override {
    if (seen) to_.again(models, repeats);
  }
  [[nodiscard]] std::uint64_t whole_from() const override { return to_.whole_from(); }
  void stray(const Stray& each) override {
    if (seen) to_.stray(each);
  }
  void arrival(const Arrival& each) override {
    if (seen) to_.arrival(each);
  }
  void tally(const Tally& each) override {
    if (seen) to_.tally(each);
  }
  void state(const State& each) override {
    if (seen) to_.state(each);
  }
  void gap(const Gap& each) override {
    if (seen) to_.gap(each);
  }
  void dropped(const Dropped& each) override {
    if (seen) to_.dropped(each);
  }
  void command(const Remark& each) override {
    if (seen) to_.command(each);
  }
  void note(const Remark& each) override {
    if (seen) to_.note(each);
  }
  void end(Nanos until, const Lateness& lateness) override {
    if (seen) to_.end(until, lateness);
  }

 private:
  Sink& to_;
};

}  // namespace

ExitCode read_capture(const std::string& path, Sink& sink, CaptureRead& read) {
  std::string why;
  const auto capture = open_capture(path, why);
  if (!capture) {
    fmt::print(stderr, "hopbench: {}: {}\n", path, why);
    return exit_trouble;
  }
  FromHead head(sink);
  replay(*capture, head);
  read.run = head.run;
  read.damage = capture->damage();
  if (head.seen) return exit_done;
  fmt::print(stderr, "hopbench: {}: {}\n", path, why_no_capture(read.damage));
  return exit_bad_input;
}

void tell_damage(const std::string& path, const CaptureDamage& damage, const char* of_the_middle) {
  const auto say = [&](const std::string& what) { fmt::print(stderr, "hopbench: {}: {}\n", path, what); };
  if (damage.bytes_skipped > 0 || damage.records_missing > 0) {
    say(fmt::format("damaged: {} bytes skipped, at least {} records missing", grouped(damage.bytes_skipped),
                    grouped(damage.records_missing)));
  }
  if (damage.segments_missing > 0)
    say(damage.segments_missing == 1 ? "one of its files is missing"
                                     : fmt::format("{} of its files are missing", grouped(damage.segments_missing)));
  if (damage.causes_unreadable > 0) {
    say(fmt::format("the causes of {} exchanges cannot be read", grouped(damage.causes_unreadable)));
  }
  if (damage.in_the_middle()) say(of_the_middle);
  if (damage.newer) say("some of it was written by a newer hopbench");
  if (damage.sum_disagrees) say("its records are not those that were written: the sum at its end does not agree");
  if (damage.unclosed) say("not closed: it is still being written, or its writer was stopped; read as far as it goes");
  if (damage.torn_bytes > 0)
    say(fmt::format("the last {} bytes are a record that is not all there", grouped(damage.torn_bytes)));
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
