#include "cli/soak_runner.h"

#include <fmt/format.h>

#include <algorithm>
#include <chrono>
#include <memory>
#include <utility>

#include "chain/chain.h"
#include "cli/border_watch.h"
#include "cli/cautions.h"
#include "cli/controller_option.h"
#include "cli/say.h"
#include "cli/soak_at_port.h"
#include "cli/watch.h"
#include "measure/fan_out.h"
#include "port/granted_run.h"

namespace hopbench {
namespace {

using Clock = SoakDesk::Clock;

/// With a program in the controller's seat. Nobody can save what it has in hand; a run that is repeated is the same, so
/// that a soak is taken up by running it again.
ExitCode soak_with_controller(SoakDesk& desk) {
  const SoakJob& job = desk.job;
  const auto controller = read_controller(job.controller, job.hang_after);
  if (!controller) return exit_bad_input;
  if (job.resumed > 0) say_line("hopbench: {} is started anew, and the run from its beginning\n", job.controller);
  BorderWatch watch(desk.soak);
  if (!job.full) watch.throw_when_decided();
  // The watch is the first to hear: where it throws nobody else has heard that record.
  FanOut all{&watch};
  if (desk.details) all.add(*desk.details);
  if (desk.directory && job.resumed == 0 && !desk.save()) return exit_trouble;
  GrantedOptions granted;
  granted.span = job.until - job.start;
  granted.hang_after = controller->hang_after;
  granted.stop = [] { return EndSignals::came(); };
  granted.tick = [&](Nanos now) {
    if (desk.details) desk.details->tick(now);
    desk.look_out(now, Clock::now());
  };
  granted.note = [](const std::string& line) { say_line("hopbench: {}\n", line); };
  GrantedEnd end;
  try {
    end = run_granted(desk.protocol, job.scenario.chain, job.scenario.chain.seed, Way::events, controller->at, granted,
                      all);
    desk.progress.clear();
    if (!end.what.empty()) say_line("hopbench: {}\n", end.what);
    if (end.why == GrantedEnd::Why::no_controller) return exit_trouble;
    watch.pass(end.at);
  } catch (const EndOfSoak&) {
    desk.progress.clear();
    const Nanos at = watch.passed();
    if (end.at == 0) all.end(at, {});
    return desk.tell(at < job.until ? SoakEnd::decided : SoakEnd::span_over, at);
  }
  switch (end.why) {
    case GrantedEnd::Why::time:
      desk.soak.decide(job.until);
      return desk.tell(SoakEnd::span_over, end.at);
    case GrantedEnd::Why::stuck:
      return desk.tell(SoakEnd::stuck, end.at);
    case GrantedEnd::Why::stopped:
      desk.soak.decide(end.at);
      return desk.tell(SoakEnd::interrupted, end.at);
    default:
      break;
  }
  desk.soak.decide(end.at);
  const ExitCode so_far = desk.tell(SoakEnd::controller_ended, end.at);
  return end.why == GrantedEnd::Why::left ? so_far : exit_trouble;
}

/// In virtual time, with the scenario's own controller.
class SimulatedSoak {
 public:
  explicit SimulatedSoak(SoakDesk& desk) : desk_(desk) {}

  ExitCode go() {
    const SoakJob& job = desk_.job;
    const auto& chain_of = job.scenario.chain;
    FanOut all{&desk_.soak.sink()};
    if (desk_.details) all.add(*desk_.details);
    std::string why;
    std::unique_ptr<Chain> chain;
    if (job.state.empty()) {
      chain = std::make_unique<Chain>(desk_.protocol, chain_of, chain_of.seed, Way::repeats, Seat::simulated, all);
    } else {
      chain = Chain::resumed(desk_.protocol, chain_of, chain_of.seed, Way::repeats, all, job.state, why);
      if (!chain) {
        say_line("hopbench: {}/state: {}\n", desk_.directory->path(), why);
        return exit_bad_input;
      }
    }
    if (!desk_.soak.fits()) {
      say_line("hopbench: {}/state: is of another chain\n", desk_.directory->path());
      return exit_bad_input;
    }
    if (desk_.directory && job.resumed == 0 && !desk_.save()) return exit_trouble;
    const SoakEnd end = run(*chain);
    if (end == SoakEnd::interrupted && desk_.directory) save_chain(*chain);
    const Nanos now = chain->now();
    chain->finish({});
    desk_.soak.decide(end == SoakEnd::span_over ? job.until : now);
    desk_.progress.clear();
    return desk_.tell(end, now);
  }

 private:
  SoakEnd run(Chain& chain) {
    const SoakJob& job = desk_.job;
    Soak& soak = desk_.soak;
    Nanos slice = second;
    while (chain.now() < job.until) {
      if (EndSignals::came()) return SoakEnd::interrupted;
      const auto before = Clock::now();
      const Nanos border = soak.next_border();
      const Nanos to = std::min({border, job.until, job.until - chain.now() > slice ? chain.now() + slice : job.until});
      if (!chain.run_until(to)) return SoakEnd::stuck;
      if (to == border) {
        soak.pass_border();
        if (!job.full && soak.decided() && chain.now() < job.until) return SoakEnd::decided;
      }
      const auto now = Clock::now();
      if (now - before < std::chrono::milliseconds(10) && slice < job.until) slice *= 2;
      if (now - before > std::chrono::milliseconds(50) && slice > millisecond) slice /= 2;
      if (desk_.save_due(now)) {
        save_chain(chain);
        desk_.saved(now);
      }
      if (desk_.details) desk_.details->tick(chain.now());
      desk_.look_out(chain.now(), now);
    }
    // Those that saving has come to.
    while (soak.next_border() <= chain.now()) soak.pass_border();
    return SoakEnd::span_over;
  }

  /// As far as the next border at most; if it is never quiet there, the old state stands.
  void save_chain(Chain& chain) {
    std::string why;
    SoakJob& job = desk_.job;
    auto state = chain.run_until_quiet(std::min(desk_.soak.next_border(), job.until)) ? chain.save(why)
                                                                                      : std::vector<std::uint8_t>();
    if (state.empty()) {
      // Now and then something is under way; if there is always something, nobody should count on the folder.
      if (++not_saved_ == 10) {
        say_line(
            "hopbench: {}/state: the chain is never quiet long enough to be saved; a resumed soak begins again from "
            "{}\n",
            desk_.directory->path(), job.state.empty() ? "its beginning" : "where it was saved last");
      }
      return;
    }
    not_saved_ = 0;
    job.state = std::move(state);
    desk_.details->close(chain.now());
    desk_.save();
    desk_.details->go_on();
  }

  SoakDesk& desk_;
  int not_saved_ = 0;
};

}  // namespace

ExitCode run_soak(SoakJob job, const SoakLook& look, std::optional<SoakDirectory> directory,
                  std::span<const std::uint8_t> saved) {
  SoakDesk desk(std::move(job), look, std::move(directory));
  if (!saved.empty() && !desk.take_up(saved)) return exit_bad_input;
  const Permissions& allowed = desk.job.at_port.port.permissions;
  if (!saved.empty() && desk.job.at_port.port.serial.empty() && (allowed.send || allowed.inject)) {
    return bad_input(fmt::format("soak: {} and {} go with a soak at a serial port, which {} is not", send_option,
                                 inject_option, desk.directory->path()));
  }
  const EndSignals signals;
  const ExitCode code = !desk.open()                   ? exit_trouble
                        : desk.job.at_port.any()       ? soak_at_port(desk)
                        : !desk.job.controller.empty() ? soak_with_controller(desk)
                                                       : SimulatedSoak(desk).go();
  if (desk.directory && !desk.saved_once()) desk.directory->discard();
  return code;
}

}  // namespace hopbench
