#include "cli/soak_at_port.h"

#include <fmt/format.h>
#include <poll.h>
#include <time.h>

#include <algorithm>
#include <chrono>
#include <memory>
#include <string>
#include <utility>

#include "base/counted.h"
#include "chain/chain.h"
#include "cli/border_watch.h"
#include "cli/read_capture.h"
#include "cli/say.h"
#include "cli/untested_time.h"
#include "cli/watch.h"
#include "measure/fan_out.h"
#include "pack/pack.h"
#include "port/real_time.h"
#include "soak/replay.h"
#include "view/number_text.h"

namespace hopbench {
namespace {

using Clock = SoakDesk::Clock;

constexpr Nanos shortest_wait = 100 * millisecond;  // for a port that is gone
constexpr Nanos longest_wait = 5 * second;

Nanos read_clock(clockid_t which) {
  timespec now{};
  (void)clock_gettime(which, &now);
  return static_cast<Nanos>(now.tv_sec) * second + static_cast<Nanos>(now.tv_nsec);
}

/// None if the computer was busy with something else between them: they would not be of one instant.
std::optional<ClockReading> read_clocks() {
  const Nanos before = read_clock(CLOCK_MONOTONIC);
  const ClockReading reading{read_clock(CLOCK_REALTIME), read_clock(CLOCK_MONOTONIC), read_clock(CLOCK_BOOTTIME)};
  if (read_clock(CLOCK_MONOTONIC) - before > millisecond) return std::nullopt;
  return reading;
}

ClockReading first_reading() {
  for (int i = 0; i < 100; ++i) {
    if (const auto reading = read_clocks()) return *reading;
  }
  return {};
}

/// False if a signal to end came first.
bool wait_for(Nanos span) {
  constexpr Nanos slice = 100 * millisecond;
  for (; span > 0 && !EndSignals::came(); span -= slice) {
    (void)poll(nullptr, 0, static_cast<int>(std::min(span, slice) / millisecond));
  }
  return !EndSignals::came();
}

class SoakAtPortRun {
 public:
  explicit SoakAtPortRun(SoakDesk& desk)
      : desk_(desk), job_(desk.job), clocks_(first_reading()), before_(desk.job.at_port.lateness) {}

  ExitCode go() {
    const bool resumed = job_.resumed > 0;
    std::optional<Nanos> time_out;
    if (!read_port_time_out(job_.at_port.port, time_out)) return exit_bad_input;
    if (resumed && !captures_are_its_own()) return exit_bad_input;
    const Nanos broken_off = resumed ? take_in_what_was_recorded() : job_.start;
    if (resumed && (broken_off >= job_.until || (!job_.full && desk_.soak.decided()))) return tell_again(broken_off);
    if (!may_use_port(job_.at_port.port, job_.scenario.chain)) return exit_bad_input;
    auto opened = first_opening(resumed);
    if (!opened) return EndSignals::came() ? exit_incomplete : exit_trouble;
    ChainDescription description = job_.scenario.chain;
    if (resumed) description.start = goes_on_at(broken_off);

    BorderWatch watch(desk_.soak);
    FanOut all{&watch};
    if (desk_.details) all.add(*desk_.details);
    UntestedTime untested(all, watch, broken_off,
                          resumed ? "the bench was not running" : "the controller had not asked yet");
    Chain chain(desk_.protocol, description, description.seed, Way::events, Seat{true, time_out}, untested);
    if (!desk_.soak.fits()) {
      say_line("hopbench: {}/state: is of another chain\n", desk_.directory->path());
      return exit_bad_input;
    }
    chain_ = &chain;
    untested_ = &untested;
    note_where_it_is();
    // A soak that goes on does so with a full disk as well.
    if (desk_.directory && !desk_.save() && !resumed) return exit_trouble;
    in_state_ = job_.at_port.file;
    const SoakEnd end = run(*std::move(opened));
    const Nanos now = std::min(chain.now(), job_.until);
    note_where_it_is();
    untested.ending();
    chain.finish(job_.at_port.lateness);
    untested.pass(now);
    desk_.soak.decide(end == SoakEnd::span_over ? job_.until : now);
    if (desk_.directory) {
      note_where_it_is();
      desk_.save();
    }
    desk_.progress.clear();
    return desk_.tell(end, now);
  }

 private:
  /// The port as it is when the soak begins. One that goes on waits for it.
  std::optional<OpenedPort> first_opening(bool waits) {
    std::string why;
    auto opened = open_port(job_.at_port.port, desk_.protocol.line(), why);
    if (!opened) say_of_port(why);
    if (!waits) return opened;
    for (Nanos wait = shortest_wait; !opened && wait_for(wait); wait = std::min(2 * wait, longest_wait)) {
      opened = open_port(job_.at_port.port, desk_.protocol.line(), why);
    }
    return opened;
  }

  /// The verdict of one that was over: nothing is opened, and no time goes by.
  ExitCode tell_again(Nanos at) {
    FanOut watch{&desk_.soak.sink()};
    const Chain chain(desk_.protocol, job_.scenario.chain, job_.scenario.chain.seed, Way::events, Seat::outside, watch);
    if (!desk_.soak.fits()) {
      say_line("hopbench: {}/state: is of another chain\n", desk_.directory->path());
      return exit_bad_input;
    }
    const bool over = at >= job_.until;
    desk_.soak.decide(over ? job_.until : at);
    return desk_.tell(over ? SoakEnd::span_over : SoakEnd::decided, std::min(at, job_.until));
  }

  /// False, said on the standard error, if one that is to be counted is of another run.
  bool captures_are_its_own() {
    for (const auto& [number, bytes] : desk_.directory->details()) {
      if (number < job_.at_port.file) continue;
      const std::string path = desk_.directory->detail(number);
      if (run_id_in(path).value_or(desk_.run_id()) == desk_.run_id()) continue;
      say_line("hopbench: {}: is of another run; move it out of the folder\n", path);
      return false;
    }
    return true;
  }

  /// What the captures hold and the state does not. The last instant that either of them tells of.
  Nanos take_in_what_was_recorded() {
    SoakAtPort& at_port = job_.at_port;
    BorderWatch watch(desk_.soak);
    SoakReplay replay(watch, at_port.at);
    for (const auto& [number, bytes] : desk_.directory->details()) {
      if (number < at_port.file || number >= desk_.details->next()) continue;
      CaptureRead read;
      // A file that was only just begun has no head yet, and tells nothing. One that cannot be read was said.
      if (read_capture(desk_.directory->detail(number), replay, read) != exit_done) continue;
      if (read.damage.bytes_skipped > 0)
        say_line("hopbench: {}: damaged: what is missing is in no count\n", desk_.directory->detail(number));
    }
    if (replay.began()) desk_.soak.settle();
    if (replay.exchanges() > 0) {
      say_line("hopbench: counted now, since the state did not have them yet: {}\n",
               counted(replay.exchanges(), "exchange"));
    }
    return std::min(replay.latest(), job_.until);
  }

  /// The run's clock went on while nobody was here, as far as the computer's clock can tell.
  StartSpec goes_on_at(Nanos broken_off) {
    const Nanos away = std::max<Nanos>(0, read_clock(CLOCK_REALTIME) - job_.at_port.wall);
    const Nanos now = std::min(std::max(job_.at_port.at + away, broken_off), job_.until);
    StartSpec start = job_.at_port.standing;
    start.at = (now + Pack::step - 1) / Pack::step * Pack::step;
    return start;
  }

  SoakEnd run(OpenedPort opened) {
    DrivenChain driven(*chain_);
    bool said_ready = false;
    while (true) {
      const RealTimeEnd end = run_at(opened, driven, said_ready);
      said_ready = true;
      switch (end.why) {
        case RealTimeEnd::Why::time:
          return SoakEnd::span_over;
        case RealTimeEnd::Why::signal:
        case RealTimeEnd::Why::stopped:
          return EndSignals::came() ? SoakEnd::interrupted : SoakEnd::decided;
        case RealTimeEnd::Why::stuck:
          return SoakEnd::stuck;
        case RealTimeEnd::Why::port_gone:
          break;
      }
      if (const auto ended = wait_for_port(opened)) return *ended;
    }
  }

  [[nodiscard]] bool decided() const { return !job_.full && desk_.soak.decided(); }

  RealTimeEnd run_at(OpenedPort& opened, DrivenChain& driven, bool said_ready) {
    Session session(driven, *opened.port, desk_.protocol.line());
    RealTimeOptions options;
    options.from = chain_->now();
    options.until = std::max(job_.until, chain_->now());
    options.linger = linger_of(desk_.protocol);
    options.tick_every = 50 * millisecond;
    options.tick = [&](Nanos) {
      job_.at_port.lateness = before_;
      add_lateness(job_.at_port.lateness, session.lateness());
      tick();
    };
    options.stop = [&] { return EndSignals::came() || decided(); };
    options.signals = false;
    options.note = say_of_port;
    if (!said_ready) {
      options.ready = [&] { say_ready(opened, job_.scenario.chain, job_.scenario.chain.seed, desk_.protocol.line()); };
    }
    const RealTimeEnd end = run_in_real_time(session, *opened.port, options);
    add_lateness(before_, session.lateness());
    job_.at_port.lateness = before_;
    driven.set_outlet([](auto...) {});
    return end;
  }

  /// Opens it again, sooner or later; or says how the run ended meanwhile.
  std::optional<SoakEnd> wait_for_port(OpenedPort& opened) {
    const Nanos gone = chain_->now();
    const auto since = Clock::now();
    const auto now = [&] {
      return gone + std::chrono::duration_cast<std::chrono::nanoseconds>(Clock::now() - since).count();
    };
    tell_note(fmt::format("{}: the port is gone; it is opened again as soon as it is there", opened.place));
    opened.port.reset();
    untested_->untested(gone, "the port was gone");
    // What was under way when it went is nobody's doing.
    untested_->distrust_before(gone + 1);
    std::optional<SoakEnd> end;
    for (Nanos wait = shortest_wait; !end; wait = std::min(2 * wait, longest_wait)) {
      if (!wait_for(wait)) end = SoakEnd::interrupted;
      if (!chain_->run_until(std::min(now(), job_.until))) end = SoakEnd::stuck;
      if (chain_->now() >= job_.until) end = SoakEnd::span_over;
      tick();
      if (!end && decided()) end = SoakEnd::decided;
      std::string why;
      if (!end) {
        if (auto again = open_port(job_.at_port.port, desk_.protocol.line(), why)) {
          opened = *std::move(again);
          break;
        }
      }
    }
    untested_->tested(chain_->now());
    if (!end) tell_note(fmt::format("{}: the port is there again", opened.place));
    return end;
  }

  void tick() {
    const auto now = Clock::now();
    if (const auto reading = read_clocks()) {
      if (const auto event = clocks_.look(*reading)) tell_clock(*event);
    }
    untested_->pass(chain_->now());
    if (desk_.details) desk_.details->tick(chain_->now());
    if (now >= decide_at_) {
      // So that a limit that was passed stays so, whatever happens to the process.
      decide_at_ = now + std::chrono::seconds(1);
      const bool before = desk_.soak.decided();
      desk_.soak.decide(chain_->now());
      if (desk_.soak.decided() && !before) desk_.saved({});
    }
    // Nor may a capture that holds what no state has go before there is one.
    if (desk_.save_due(now) || (desk_.details && desk_.details->writing() != in_state_)) {
      note_where_it_is();
      if (desk_.save_beside()) in_state_ = job_.at_port.file;
      desk_.saved(now);
    }
    desk_.look_out(chain_->now(), now);
  }

  void tell_clock(const ClockWatch::Event& event) {
    ClockCounts& counts = job_.at_port.clock;
    if (event.set_by != 0) {
      ++counts.sets;
      counts.set_by += event.set_by;
      tell_note(fmt::format("the computer's clock was set {} by {}", event.set_by < 0 ? "back" : "forward",
                            long_span(event.set_by < 0 ? -event.set_by : event.set_by)));
    }
    if (event.slept == 0) return;
    ++counts.sleeps;
    counts.slept += event.slept;
    tell_note(fmt::format("the computer slept for {}", long_span(event.slept)));
    // Nobody knows how long the controller waited for what was under way.
    untested_->distrust_before(chain_->now());
  }

  /// To who is there and to the captures.
  void tell_note(const std::string& text) {
    say_of_port(text);
    untested_->note({chain_->now(), text});
  }

  /// What is saved now is all that was told up to now.
  void note_where_it_is() {
    SoakAtPort& at_port = job_.at_port;
    if (desk_.details) {
      desk_.details->hand_over();
      at_port.file = desk_.details->writing();
    }
    at_port.at = chain_->now();
    at_port.wall = read_clock(CLOCK_REALTIME);
    at_port.standing = chain_->standing();
  }

  SoakDesk& desk_;
  SoakJob& job_;
  ClockWatch clocks_;
  Chain* chain_ = nullptr;
  UntestedTime* untested_ = nullptr;
  Lateness before_;  // at ports that were gone, and before it was resumed
  Clock::time_point decide_at_;
  std::uint32_t in_state_ = 0;  // the capture that was being written when the state was saved last
};

}  // namespace

ExitCode soak_at_port(SoakDesk& desk) { return SoakAtPortRun(desk).go(); }

}  // namespace hopbench
