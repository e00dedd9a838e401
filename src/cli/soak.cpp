// `hopbench soak`: a test of weeks, with a verdict at its end.
#include <fmt/format.h>

#include <algorithm>
#include <chrono>
#include <cstdio>
#include <memory>
#include <optional>
#include <string>
#include <system_error>
#include <vector>

#include "base/duration.h"
#include "chain/chain.h"
#include "chain/saved_state.h"
#include "cli/build_info.h"
#include "cli/commands.h"
#include "cli/controller_option.h"
#include "cli/progress_line.h"
#include "cli/run_length.h"
#include "cli/say.h"
#include "cli/scenario_file.h"
#include "cli/soak_details.h"
#include "cli/soak_directory.h"
#include "cli/watch.h"
#include "port/granted_run.h"
#include "port/text_server.h"
#include "record/byte_size.h"
#include "record/new_file.h"
#include "seen/reality.h"
#include "soak/plan.h"
#include "soak/soak.h"
#include "view/soak_report.h"

namespace hopbench {
namespace {

using Clock = std::chrono::steady_clock;

struct SoakOptions {
  std::string scenario;
  std::string resume;
  std::string dir;
  std::string span;
  std::optional<std::uint64_t> seed;
  std::string save_every = "30s";
  std::string at_most = "1GB";
  bool save_every_given = false;
  bool at_most_given = false;
  std::string metrics_file;
  std::string metrics;
  std::string controller;
  std::string hang_after;
  EditOptions edits;
  bool full = false;
  bool plan = false;
  bool json = false;
};

/// What was asked for, and what it came to.
struct Job {
  Scenario scenario;
  std::uint64_t seed = 0;
  Nanos start = 0;
  Nanos until = 0;
  bool full = false;
  std::uint32_t resumed = 0;
  std::uint64_t most_bytes = 0;
  std::string controller;  // as it was given; empty: the scenario's own
  std::string hang_after;
  std::vector<std::uint8_t> state;  // of the chain; empty: from the beginning
};

/// A file each 30 s for thirty years.
constexpr std::uint32_t most_details = 40'000'000;
constexpr auto show_every = std::chrono::milliseconds(500);
constexpr auto metrics_every = std::chrono::seconds(2);

/// The same, both for saving and for going on.
void keep(Archive& archive, Job& job, Soak& soak, std::uint32_t& next, std::uint32_t& oldest, std::uint64_t& removed) {
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

/// Thrown out of a run that has nothing more to decide.
struct EndOfSoak {};

/// Lets a soak pass its borders as the run's time goes by what it is told, where nobody can stop the run at them.
class BorderWatch final : public ForwardingSink {
 public:
  /// `full`: goes on also when all is decided; otherwise throws EndOfSoak at the border.
  BorderWatch(Soak& soak, bool full) : ForwardingSink({&soak.sink()}), soak_(&soak), full_(full) {}

  void exchange(const ExchangeObs& obs, const ExchangeTruth* truth) override {
    // What closes at a border belongs to what came before it.
    pass(obs.closed - 1);
    ForwardingSink::exchange(obs, truth);
  }
  /// All that closed up to `until` was told.
  void pass(Nanos until) {
    while (soak_->next_border() <= until) {
      passed_ = soak_->next_border();
      soak_->pass_border();
      if (!full_ && soak_->decided()) throw EndOfSoak{};
    }
  }
  /// The last border.
  [[nodiscard]] Nanos passed() const { return passed_; }

 private:
  Soak* soak_;
  bool full_;
  Nanos passed_ = 0;
};

class Runner {
 public:
  Runner(Job job, const SoakOptions& options, std::optional<SoakDirectory> directory, Nanos save_every)
      : job_(std::move(job)),
        options_(&options),
        directory_(std::move(directory)),
        save_every_(std::chrono::nanoseconds(save_every)),
        protocol_(job_.scenario.bus),
        soak_(job_.scenario.requirements, job_.start, job_.until, cycle_of(job_.scenario.chain)),
        began_(Clock::now()) {
    if (!directory_) return;
    const auto run_id = run_id_of(job_.scenario.scenario_text, job_.scenario.bus_text, job_.seed);
    details_.emplace(*directory_,
                     CaptureOrigin{run_id, job_.scenario.scenario_text, job_.scenario.bus_text, this_build(0)},
                     job_.most_bytes);
  }

  /// Puts back what was saved. False, said on the standard error, if it cannot be.
  bool take_up(std::span<const std::uint8_t> bytes) {
    std::string why;
    const auto inner = unwrap_state({fingerprint(job_.scenario.bus, job_.scenario.chain), job_.seed}, bytes, why);
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

  /// Where --metrics says, if it does. False, said on the standard error, if nobody can listen there.
  bool serve() {
    if (options_->metrics.empty()) return true;
    std::string address;
    std::uint16_t port = 0;
    if (!parse_endpoint(options_->metrics, address, port)) {
      say_line("hopbench: --metrics {}: give an address and a port, such as 127.0.0.1:9300\n", options_->metrics);
      return false;
    }
    try {
      server_.emplace(address, port, "text/plain; version=0.0.4; charset=utf-8");
    } catch (const std::system_error& error) {
      say_line("hopbench: --metrics {}: {}\n", options_->metrics, error.code().message());
      return false;
    }
    say_line("hopbench: figures at http://{}:{}/metrics\n", address, server_->port());
    return true;
  }

  ExitCode go() {
    if (!serve()) return exit_trouble;
    if (!job_.controller.empty()) return go_with_controller();
    FanOut all{&soak_.sink()};
    if (details_) all.add(*details_);
    std::string why;
    std::unique_ptr<Chain> chain;
    if (job_.state.empty()) {
      chain = std::make_unique<Chain>(protocol_, job_.scenario.chain, job_.seed, Way::repeats, Seat::simulated, all);
    } else {
      chain = Chain::resumed(protocol_, job_.scenario.chain, job_.seed, Way::repeats, all, job_.state, why);
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
      end = run_granted(protocol_, job_.scenario.chain, job_.seed, Way::events, controller->at, granted, all);
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
    report.seed = job_.seed;
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
    if ((server_ || !options_->metrics_file.empty()) && now >= metrics_from_) {
      metrics_from_ = now + metrics_every;
      write_metrics(report(SoakEnd::still_running, at));
    }
  }

  void write_metrics(const SoakReport& report) {
    if (!server_ && options_->metrics_file.empty()) return;
    const std::string text = soak_metrics(report);
    if (server_) server_->show(text);
    if (options_->metrics_file.empty()) return;
    const int error =
        write_new_file(options_->metrics_file, {reinterpret_cast<const std::uint8_t*>(text.data()), text.size()}, true);
    if (error != 0 && !metrics_said_) say_line("hopbench: {}: {}\n", options_->metrics_file, file_error(error));
    metrics_said_ = metrics_said_ || error != 0;
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
    const auto bytes = wrap_state({fingerprint(job_.scenario.bus, job_.scenario.chain), job_.seed}, archive.bytes());
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
    fmt::print("{}", options_->json ? document : text);
    std::fflush(stdout);
    write_metrics(last);
    if (directory_) {
      if (const int error = directory_->save_verdict(text, document); error != 0) {
        say_line("hopbench: {}/verdict.txt: {}\n", directory_->path(), file_error(error));
        return exit_trouble;
      }
      if (end == SoakEnd::interrupted) {
        say_line("hopbench: interrupted; `hopbench soak --resume {}` goes on\n", directory_->path());
      }
    } else if (end == SoakEnd::interrupted && job_.controller.empty()) {
      say_line("hopbench: interrupted; with --dir a soak can be resumed\n");
    }
    if (end == SoakEnd::stuck) {
      say_line("hopbench: {}: the chain goes round without time passing; the run ended there\n", options_->scenario);
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

  Job job_;
  const SoakOptions* options_;
  std::optional<SoakDirectory> directory_;
  Clock::duration save_every_;
  Protocol protocol_;
  Soak soak_;
  std::optional<SoakDetails> details_;
  std::optional<TextServer> server_;
  ProgressLine progress_;
  Clock::time_point began_;
  Clock::time_point show_from_;
  Clock::time_point metrics_from_;
  int not_saved_ = 0;
  bool trouble_said_ = false;
  bool saved_once_ = false;
  bool metrics_said_ = false;
};

ExitCode plan(const Job& job, bool json) {
  const Nanos length = std::min(job.until - job.start, 86'400 * second);
  Soak rehearsal(job.scenario.requirements, job.start, job.start + length, cycle_of(job.scenario.chain));
  const Protocol protocol(job.scenario.bus);
  Chain chain(protocol, job.scenario.chain, job.seed, Way::repeats, Seat::simulated, rehearsal.sink());
  const EndSignals signals;
  for (Nanos at = job.start; at < job.start + length;) {
    if (EndSignals::came()) return exit_incomplete;
    at = std::min(at + 600 * second, job.start + length);
    if (!chain.run_until(at)) return bad_input("the chain goes round without time passing");
  }
  chain.finish({});
  const auto made = plan_of(rehearsal, length, cycle_of(job.scenario.chain));
  const std::string& name = job.scenario.chain.name;
  fmt::print("{}", json ? soak_plan_json(name, made) : soak_plan_text(name, made));
  return exit_done;
}

/// The scenario with the seed and the length that it is run with, so that its text alone says all.
std::optional<Scenario> as_run(Scenario scenario, std::uint64_t seed, Nanos span, const std::string& path) {
  EditOptions edits;
  edits.set = {fmt::format("seed={}", seed), fmt::format("run_for={}", format_duration(span))};
  return apply(edits, std::move(scenario), path);
}

bool read_options(const SoakOptions& options, Nanos& save_every, std::uint64_t& most) {
  const auto every = parse_duration(options.save_every);
  if (!every || *every <= 0 || *every > 60 * second) {
    (void)bad_input(fmt::format("--save-every {}: give a duration of at most 1min, such as 30s", options.save_every));
    return false;
  }
  save_every = *every;
  const auto size = parse_byte_size(options.at_most);
  if (!size || *size < 1'000'000) {
    (void)bad_input(fmt::format("--at-most {}: give a size of at least 1MB, such as 1GB", options.at_most));
    return false;
  }
  most = *size;
  return true;
}

ExitCode resume(const SoakOptions& options, Nanos save_every) {
  auto directory = SoakDirectory::open(options.resume);
  if (!directory) return exit_trouble;
  auto scenario = directory->scenario();
  if (!scenario) return exit_bad_input;
  std::string why;
  const auto state = directory->state(why);
  if (state.empty()) {
    say_line("hopbench: {}/state: {}; nothing was saved there: begin again with --dir and another folder\n",
             options.resume, why.empty() ? "is empty" : why);
    return exit_trouble;
  }
  Job job;
  job.seed = scenario->chain.seed;
  job.start = scenario->chain.start.at;
  job.until = job.start + scenario->chain.run_for;
  job.scenario = *std::move(scenario);
  const EndSignals signals;
  Runner runner(std::move(job), options, std::move(directory), save_every);
  if (!runner.take_up(state)) return exit_bad_input;
  return runner.go();
}

ExitCode soak(const SoakOptions& options) {
  Nanos save_every = 0;
  Job job;
  if (!read_options(options, save_every, job.most_bytes)) return exit_bad_input;
  if (!options.resume.empty()) return resume(options, save_every);
  if (options.dir.empty() && (options.save_every_given || options.at_most_given)) {
    return bad_input("--save-every and --at-most go with --dir: without it nothing is kept");
  }
  if (options.scenario.empty()) return bad_input("name a scenario, or a soak to go on with: --resume DIR");
  const auto asked = read_for(options.span);
  if (!asked) return exit_bad_input;
  auto scenario = read_scenario(options.scenario, options.edits);
  if (!scenario) return exit_bad_input;
  if (scenario->requirements.empty()) {
    return bad_input(options.scenario +
                     ": says nothing of what is required; add for example: requirement { that: \"failed <= 0.01%\" "
                     "acceptable: \"0.001%\" }");
  }
  job.seed = options.seed.value_or(scenario->chain.seed);
  const Nanos span = length_of_run(*asked, scenario->chain);
  auto whole = as_run(*std::move(scenario), job.seed, span, options.scenario);
  if (!whole) return exit_bad_input;
  job.scenario = *std::move(whole);
  job.start = job.scenario.chain.start.at;
  job.until = job.start + span;
  job.full = options.full;
  job.controller = options.controller;
  job.hang_after = options.hang_after;
  if (!read_controller(options.controller, options.hang_after)) return exit_bad_input;
  if (options.plan && !options.controller.empty())
    return bad_input("--plan is worked out with the scenario's own controller");
  if (options.plan) return plan(job, options.json);
  auto directory = options.dir.empty() ? std::nullopt : SoakDirectory::make(options.dir, job.scenario);
  if (!directory && !options.dir.empty()) return exit_trouble;
  const EndSignals signals;
  Runner runner(std::move(job), options, std::move(directory), save_every);
  return runner.go();
}

}  // namespace

void add_soak(CLI::App& app, int& exit_code) {
  auto options = std::make_shared<SoakOptions>();
  auto* command = app.add_subcommand("soak", "Test a chain for weeks against what its scenario requires");
  auto* scenario = command->add_option("scenario", options->scenario, "Scenario file; it has a requirement");
  auto* span = command
                   ->add_option("--for", options->span,
                                "Test for at most this long, e.g. 80d (default: run_for of the scenario, or 1h)")
                   ->type_name("DURATION");
  auto* full = command->add_flag("--full", options->full,
                                 "Run to the end, also when all is decided before (default: stop then)");
  auto* seed = command->add_option("--seed", options->seed, "Random seed, e.g. 7 (default: the scenario's)");
  const auto edits = add_edit_options(*command, options->edits);
  auto* controller = add_controller_option(*command, options->controller, options->hang_after);
  auto* dir = command
                  ->add_option("--dir", options->dir,
                               "Keep the soak in this new folder: its state, captures of failures, the verdict")
                  ->type_name("DIR");
  auto* resume =
      command->add_option("--resume", options->resume, "Go on with the soak in this folder")->type_name("DIR");
  auto* save_every = command
                         ->add_option("--save-every", options->save_every,
                                      "Save the state this often, of the computer's time, e.g. 10s")
                         ->type_name("DURATION")
                         ->capture_default_str();
  auto* at_most =
      command
          ->add_option("--at-most", options->at_most, "Keep captures of failures within this size; the oldest go first")
          ->type_name("SIZE")
          ->capture_default_str();
  command
      ->add_option("--metrics-file", options->metrics_file, "Write figures to this file every 2 s, as Prometheus text")
      ->type_name("FILE");
  command
      ->add_option("--metrics", options->metrics, "Answer collectors of figures over HTTP there, e.g. 127.0.0.1:9300")
      ->type_name("ADDRESS:PORT");
  auto* plan =
      command->add_flag("--plan", options->plan, "Do not test; tell how long a test takes for which statement");
  command->add_flag("--json", options->json, "Print the verdict as JSON");
  // What a soak was begun with it keeps.
  for (auto* each : {scenario, span, full, seed, edits[0], edits[1], controller, dir, at_most, plan})
    resume->excludes(each);
  plan->excludes(dir)->excludes(controller);
  command->callback([options, save_every, at_most, &exit_code] {
    options->save_every_given = save_every->count() > 0;
    options->at_most_given = at_most->count() > 0;
    exit_code = soak(*options);
  });
}

}  // namespace hopbench
