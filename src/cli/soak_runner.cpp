#include "cli/soak_runner.h"

#include <fmt/format.h>

#include <algorithm>
#include <chrono>
#include <cstdio>
#include <memory>
#include <utility>

#include "chain/chain.h"
#include "chain/saved_state.h"
#include "cli/border_watch.h"
#include "cli/build_info.h"
#include "cli/controller_option.h"
#include "cli/progress_line.h"
#include "cli/say.h"
#include "cli/soak_details.h"
#include "cli/soak_figures.h"
#include "cli/watch.h"
#include "port/granted_run.h"
#include "record/new_file.h"
#include "seen/reality.h"
#include "soak/soak.h"
#include "view/soak_report.h"

namespace hopbench {
namespace {

using Clock = std::chrono::steady_clock;

/// A file each 30 s for thirty years.
constexpr std::uint32_t most_details = 40'000'000;
constexpr auto show_every = std::chrono::milliseconds(500);

/// The same, both for saving and for going on.
void keep(Archive& archive, SoakJob& job, Soak& soak, std::uint32_t& next, std::uint32_t& oldest,
          std::uint64_t& removed) {
  // All that the scenario says counts: its requirements and its length are in no fingerprint of the chain.
  const std::uint64_t is = name_hash(job.scenario.bus_text, name_hash(job.scenario.scenario_text));
  std::uint64_t scenario = is;
  archive.number("scenario", scenario);
  if (archive.good() && scenario != is) archive.refuse("scenario", "was changed since; begin again in another folder");
  archive.flag("full", job.full);
  archive.number("resumed", job.resumed);
  archive.number("most bytes", job.most_bytes);
  archive.number("next detail", next, 1U, most_details);
  archive.number("oldest detail", oldest, 1U, next);
  archive.number("details removed", removed);
  archive.list("controller", job.controller, [&](char& each) { archive.number("letter", each); });
  archive.list("hang after", job.hang_after, [&](char& each) { archive.number("letter", each); });
  archive.list("chain", job.state, [&](std::uint8_t& byte) { archive.number("byte", byte); });
  soak.keep(archive);
  archive.end();
}

class Runner {
 public:
  Runner(SoakJob job, const SoakLook& look, std::optional<SoakDirectory> directory)
      : job_(std::move(job)),
        json_(look.json),
        directory_(std::move(directory)),
        save_every_(std::chrono::nanoseconds(look.save_every)),
        figures_(look.file, look.endpoint),
        protocol_(job_.scenario.bus),
        soak_(job_.scenario.requirements, job_.start, job_.until, cycle_of(job_.scenario.chain)),
        began_(Clock::now()) {
    if (!directory_) return;
    const auto run_id = run_id_of(job_.scenario.scenario_text, job_.scenario.bus_text, job_.scenario.chain.seed);
    details_.emplace(*directory_,
                     CaptureOrigin{run_id, job_.scenario.scenario_text, job_.scenario.bus_text, this_build(0)},
                     job_.most_bytes);
  }

  /// Puts back what was saved. False, said on the standard error, if it cannot be.
  bool take_up(std::span<const std::uint8_t> bytes) {
    std::string why;
    const auto inner =
        unwrap_state({fingerprint(job_.scenario.bus, job_.scenario.chain), job_.scenario.chain.seed}, bytes, why);
    std::uint32_t next = 1;
    std::uint32_t oldest = 1;
    std::uint64_t removed = 0;
    if (why.empty()) {
      Archive archive(inner);
      keep(archive, job_, soak_, next, oldest, removed);
      why = archive.why();
    }
    if (!why.empty()) {
      say_line("hopbench: {}/state: {}\n", directory_->path(), why);
      return false;
    }
    ++job_.resumed;
    saved_once_ = true;
    details_->take_up(next, oldest, removed, job_.most_bytes);
    return true;
  }

  ExitCode go() {
    if (!figures_.serve()) return exit_trouble;
    if (!job_.controller.empty()) return go_with_controller();
    FanOut all{&soak_.sink()};
    if (details_) all.add(*details_);
    std::string why;
    std::unique_ptr<Chain> chain;
    if (job_.state.empty()) {
      chain = std::make_unique<Chain>(protocol_, job_.scenario.chain, job_.scenario.chain.seed, Way::repeats,
                                      Seat::simulated, all);
    } else {
      chain =
          Chain::resumed(protocol_, job_.scenario.chain, job_.scenario.chain.seed, Way::repeats, all, job_.state, why);
      if (!chain) {
        say_line("hopbench: {}/state: {}\n", directory_->path(), why);
        return exit_bad_input;
      }
    }
    if (!soak_.fits()) {
      say_line("hopbench: {}/state: is of another chain\n", directory_->path());
      return exit_bad_input;
    }
    if (directory_ && job_.resumed == 0 && !save()) return exit_trouble;
    const SoakEnd end = run(*chain);
    if (end == SoakEnd::interrupted && directory_) save_chain(*chain, std::min(soak_.next_border(), job_.until));
    const Nanos now = chain->now();
    chain->finish({});
    soak_.decide(end == SoakEnd::span_over ? job_.until : now);
    progress_.clear();
    return tell(end, now);
  }

 private:
  /// With a program in the controller's seat. Nobody can save what it has in hand; a run that is repeated is the same,
  /// so that a soak is taken up by running it again.
  ExitCode go_with_controller() {
    const auto controller = read_controller(job_.controller, job_.hang_after);
    if (!controller) return exit_bad_input;
    if (job_.resumed > 0) {
      say_line("hopbench: {} is started anew, and the run from its beginning\n", job_.controller);
    }
    BorderWatch watch(soak_, job_.full);
    // The watch is the first to hear: where it throws nobody else has heard that record.
    FanOut all{&watch};
    if (details_) all.add(*details_);
    if (directory_ && job_.resumed == 0 && !save()) return exit_trouble;
    GrantedOptions granted;
    granted.span = job_.until - job_.start;
    granted.hang_after = controller->hang_after;
    granted.stop = [] { return EndSignals::came(); };
    granted.tick = [this](Nanos now) {
      if (details_) details_->tick();
      look_out(now, Clock::now());
    };
    granted.note = [](const std::string& line) { say_line("hopbench: {}\n", line); };
    GrantedEnd end;
    try {
      end = run_granted(protocol_, job_.scenario.chain, job_.scenario.chain.seed, Way::events, controller->at, granted,
                        all);
      progress_.clear();
      if (!end.what.empty()) say_line("hopbench: {}\n", end.what);
      if (end.why == GrantedEnd::Why::no_controller) return exit_trouble;
      watch.pass(end.at);
    } catch (const EndOfSoak&) {
      progress_.clear();
      const Nanos at = watch.passed();
      if (end.at == 0) all.end(at, {});
      return tell(at < job_.until ? SoakEnd::decided : SoakEnd::span_over, at);
    }
    switch (end.why) {
      case GrantedEnd::Why::time:
        soak_.decide(job_.until);
        return tell(SoakEnd::span_over, end.at);
      case GrantedEnd::Why::stuck:
        return tell(SoakEnd::stuck, end.at);
      case GrantedEnd::Why::stopped:
        soak_.decide(end.at);
        return tell(SoakEnd::interrupted, end.at);
      default:
        break;
    }
    soak_.decide(end.at);
    const ExitCode so_far = tell(SoakEnd::controller_ended, end.at);
    return end.why == GrantedEnd::Why::left ? so_far : exit_trouble;
  }

  SoakEnd run(Chain& chain) {
    Nanos slice = second;
    auto saved = Clock::now();
    while (chain.now() < job_.until) {
      if (EndSignals::came()) return SoakEnd::interrupted;
      const auto before = Clock::now();
      const Nanos border = soak_.next_border();
      const Nanos to =
          std::min({border, job_.until, job_.until - chain.now() > slice ? chain.now() + slice : job_.until});
      if (!chain.run_until(to)) return SoakEnd::stuck;
      if (to == border) {
        soak_.pass_border();
        if (!job_.full && soak_.decided() && chain.now() < job_.until) return SoakEnd::decided;
      }
      const auto now = Clock::now();
      if (now - before < std::chrono::milliseconds(10) && slice < job_.until) slice *= 2;
      if (now - before > std::chrono::milliseconds(50) && slice > millisecond) slice /= 2;
      if (directory_ && now - saved >= save_every_) {
        // As far as the next border at most; if it is never quiet there, the old state stands.
        save_chain(chain, std::min(soak_.next_border(), job_.until));
        saved = now;
      }
      if (details_) details_->tick();
      look_out(chain.now(), now);
    }
    pass_borders(chain.now());
    return SoakEnd::span_over;
  }

  /// Those that saving has come to.
  void pass_borders(Nanos now) {
    while (soak_.next_border() <= now) soak_.pass_border();
  }

  SoakReport report(SoakEnd end, Nanos now) {
    SoakReport report(soak_);
    report.reality = reality_of(soak_.run());
    report.scenario = job_.scenario.chain.name;
    report.seed = job_.scenario.chain.seed;
    report.start = job_.start;
    report.now = now;
    report.until = job_.until;
    report.end = end;
    report.resumed = job_.resumed;
    report.detail_removed = details_ ? details_->removed() : 0;
    return report;
  }

  void look_out(Nanos at, Clock::time_point now) {
    if (progress_.shows() && now >= show_from_) {
      show_from_ = now + show_every;
      auto so_far = report(SoakEnd::still_running, at);
      so_far.wall_elapsed = std::chrono::duration_cast<std::chrono::nanoseconds>(now - began_).count();
      progress_.show(soak_progress(so_far));
    }
    if (figures_.due(now)) figures_.show(report(SoakEnd::still_running, at));
  }

  void save_chain(Chain& chain, Nanos limit) {
    std::string why;
    auto state = chain.run_until_quiet(limit) ? chain.save(why) : std::vector<std::uint8_t>();
    if (state.empty()) {
      // Now and then something is under way; if there is always something, nobody should count on the folder.
      if (++not_saved_ == 10) {
        say_line(
            "hopbench: {}/state: the chain is never quiet long enough to be saved; a resumed soak begins again from "
            "{}\n",
            directory_->path(), job_.state.empty() ? "its beginning" : "where it was saved last");
      }
      return;
    }
    not_saved_ = 0;
    job_.state = std::move(state);
    if (details_) details_->close(chain.now());
    save();
    if (details_) details_->go_on();
  }

  bool save() {
    std::uint32_t next = details_->next();
    std::uint32_t oldest = details_->oldest();
    std::uint64_t removed = details_->removed();
    // At the beginning the first file is open already, and is begun again.
    if (job_.state.empty()) next = 1;
    Archive archive;
    keep(archive, job_, soak_, next, oldest, removed);
    const auto bytes =
        wrap_state({fingerprint(job_.scenario.bus, job_.scenario.chain), job_.scenario.chain.seed}, archive.bytes());
    const int error = directory_->save(bytes);
    if (error != 0 && !trouble_said_) {
      say_line("hopbench: {}/state: {}{}\n", directory_->path(), file_error(error),
               saved_once_ ? "; the soak goes on, and can be resumed from where it was saved last" : "");
    }
    trouble_said_ = error != 0;
    saved_once_ = saved_once_ || error == 0;
    return error == 0;
  }

  ExitCode tell(SoakEnd end, Nanos now) {
    const auto last = report(end, now);
    const std::string text = soak_text(last);
    const std::string document = soak_json(last);
    fmt::print("{}", json_ ? document : text);
    std::fflush(stdout);
    figures_.show(last);
    if (directory_) {
      if (const int error = directory_->save_verdict(text, document); error != 0) {
        say_line("hopbench: {}/verdict.txt: {}\n", directory_->path(), file_error(error));
        return exit_trouble;
      }
      if (end == SoakEnd::interrupted) {
        say_line("hopbench: interrupted; `hopbench soak --resume {}` {}\n", directory_->path(),
                 job_.controller.empty() ? "goes on" : "runs it again from its beginning");
      }
    } else if (end == SoakEnd::interrupted && job_.controller.empty()) {
      say_line("hopbench: interrupted; with --dir a soak can be resumed\n");
    }
    if (end == SoakEnd::stuck) {
      say_line("hopbench: {}: the chain goes round without time passing; the run ended there\n",
               job_.scenario.chain.name);
      return exit_bad_input;
    }
    switch (soak_.verdict()) {
      case Ruling::accepted:
        return exit_done;
      case Ruling::rejected:
        return exit_failed;
      case Ruling::undecided:
        break;
    }
    return exit_incomplete;
  }

  SoakJob job_;
  bool json_;
  std::optional<SoakDirectory> directory_;
  Clock::duration save_every_;
  SoakFigures figures_;
  Protocol protocol_;
  Soak soak_;
  std::optional<SoakDetails> details_;
  ProgressLine progress_;
  Clock::time_point began_;
  Clock::time_point show_from_;
  int not_saved_ = 0;
  bool trouble_said_ = false;
  bool saved_once_ = false;
};

}  // namespace

SoakJob::SoakJob(Scenario what, std::uint64_t bytes)
    : scenario(std::move(what)),
      start(scenario.chain.start.at),
      until(start + scenario.chain.run_for),
      most_bytes(bytes) {}

ExitCode run_soak(SoakJob job, const SoakLook& look, std::optional<SoakDirectory> directory,
                  std::span<const std::uint8_t> saved) {
  const EndSignals signals;
  Runner runner(std::move(job), look, std::move(directory));
  if (!saved.empty() && !runner.take_up(saved)) return exit_bad_input;
  return runner.go();
}

}  // namespace hopbench
