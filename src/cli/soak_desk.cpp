#include "cli/soak_desk.h"

#include <fmt/format.h>

#include <cstdio>
#include <utility>

#include "cli/build_info.h"
#include "cli/say.h"
#include "record/new_file.h"
#include "seen/reality.h"
#include "view/soak_report.h"

namespace hopbench {
namespace {

constexpr auto show_every = std::chrono::milliseconds(500);

/// What a person may do with one that was interrupted.
std::string_view going_on(const SoakJob& job) {
  return job.controller.empty() ? "goes on" : "runs it again from its beginning";
}

}  // namespace

SoakDesk::SoakDesk(SoakJob what, const SoakLook& look, std::optional<SoakDirectory> folder)
    : job(std::move(what)),
      directory(std::move(folder)),
      protocol(job.scenario.bus),
      soak(job.scenario.requirements, job.start, job.until, cycle_of(job.scenario.chain)),
      figures(look.file, look.endpoint),
      json_(look.json),
      save_every_(std::chrono::nanoseconds(look.save_every)),
      began_(Clock::now()),
      saved_(began_) {}

bool SoakDesk::take_up(std::span<const std::uint8_t> bytes) {
  const std::string why = take_up_soak(bytes, job, soak, next_detail_);
  if (!why.empty()) {
    say_line("hopbench: {}/state: {}\n", directory->path(), why);
    return false;
  }
  ++job.resumed;
  saved_once_ = true;
  return true;
}

std::uint64_t SoakDesk::run_id() const {
  return run_id_of(job.scenario.scenario_text, job.scenario.bus_text, job.scenario.chain.seed);
}

bool SoakDesk::open() {
  if (!figures.serve()) return false;
  if (!directory) return true;
  details.emplace(*directory, CaptureOrigin{run_id(), job.scenario.scenario_text, job.scenario.bus_text, this_build(0)},
                  job.most_bytes, job.at_port.any() ? SoakPace::of_the_clock : SoakPace::of_its_own);
  if (job.resumed > 0) details->take_up(next_detail_, job.most_bytes);
  return true;
}

std::vector<std::uint8_t> SoakDesk::state_now() {
  std::uint32_t next = details->next();
  // At the beginning the first file is open already, and is begun again.
  if (job.state.empty() && !job.at_port.any()) next = 1;
  return soak_state(job, soak, next);
}

bool SoakDesk::told_of_save(int error) {
  if (error != 0 && !trouble_said_) {
    say_line("hopbench: {}/state: {}{}\n", directory->path(), file_error(error),
             saved_once_ ? "; the soak goes on, and can be resumed from where it was saved last" : "");
  }
  if (error == 0 && trouble_said_) say_line("hopbench: {}/state: saved again\n", directory->path());
  if (error == 0) saved_at_ = std::chrono::system_clock::now().time_since_epoch();
  trouble_said_ = error != 0;
  saved_once_ = saved_once_ || error == 0;
  return error == 0;
}

bool SoakDesk::save() {
  if (saving_.valid()) told_of_save(saving_.get());
  return told_of_save(directory->save(state_now()));
}

bool SoakDesk::save_beside() {
  if (saving_.valid()) {
    if (saving_.wait_for(std::chrono::seconds(0)) != std::future_status::ready) return false;
    told_of_save(saving_.get());
  }
  saving_ = std::async(std::launch::async, [this, state = state_now()] { return directory->save(state); });
  return true;
}

SoakReport SoakDesk::report(SoakEnd end, Nanos now) {
  SoakReport report(soak);
  report.reality = reality_of(soak.run());
  report.scenario = job.scenario.chain.name;
  report.seed = job.scenario.chain.seed;
  report.start = job.start;
  report.now = now;
  report.until = job.until;
  report.end = end;
  report.resumed = job.resumed;
  if (saved_at_) report.saved_at = std::chrono::duration_cast<std::chrono::nanoseconds>(*saved_at_).count();
  report.detail_removed = details ? details->removed() : 0;
  report.detail_lost = details ? details->lost() : 0;
  if (job.at_port.any()) report.port = SoakReport::Port{job.at_port.clock, job.at_port.lateness};
  return report;
}

void SoakDesk::look_out(Nanos at, Clock::time_point now) {
  if (saving_.valid() && saving_.wait_for(std::chrono::seconds(0)) == std::future_status::ready) {
    told_of_save(saving_.get());
  }
  if (progress.shows() && now >= show_from_) {
    show_from_ = now + show_every;
    auto so_far = report(SoakEnd::still_running, at);
    if (!job.at_port.any())
      so_far.wall_elapsed = std::chrono::duration_cast<std::chrono::nanoseconds>(now - began_).count();
    progress.show(soak_progress(so_far));
  }
  if (figures.due(now)) figures.show(report(SoakEnd::still_running, at));
}

ExitCode SoakDesk::tell(SoakEnd how, Nanos now) {
  if (saving_.valid()) told_of_save(saving_.get());
  const auto last = report(how, now);
  const std::string text = soak_text(last);
  const std::string document = soak_json(last);
  // What is kept comes first: nobody may be there to read it.
  const int error = directory ? directory->save_verdict(text, document) : 0;
  const std::string& shown = json_ ? document : text;
  (void)std::fwrite(shown.data(), 1, shown.size(), stdout);
  std::fflush(stdout);
  figures.show(last);
  if (error != 0) {
    say_line("hopbench: {}/verdict.txt: {}\n", directory->path(), file_error(error));
    return exit_trouble;
  }
  if (how == SoakEnd::interrupted && directory) {
    say_line("hopbench: interrupted; `hopbench soak --resume {}` {}\n", directory->path(), going_on(job));
  } else if (how == SoakEnd::interrupted && job.controller.empty()) {
    say_line("hopbench: interrupted; with --dir a soak can be resumed\n");
  }
  if (how == SoakEnd::stuck) {
    say_line("hopbench: {}: the chain is stuck at one instant (events without end); the run ended there\n",
             job.scenario.chain.name);
    return exit_bad_input;
  }
  switch (soak.verdict()) {
    case Ruling::accepted:
      return exit_done;
    case Ruling::rejected:
      return exit_failed;
    case Ruling::undecided:
      break;
  }
  return exit_incomplete;
}

}  // namespace hopbench
