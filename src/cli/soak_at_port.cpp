#include "cli/soak_at_port.h"

#include <fmt/format.h>
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

ClockReading read_clocks() {
  return {read_clock(CLOCK_REALTIME), read_clock(CLOCK_MONOTONIC), read_clock(CLOCK_BOOTTIME)};
}

/// Before the controller asks for the first time there is nothing to be tested.
class FirstAsk final : public ForwardingSink {
 public:
  FirstAsk(Sink& to, Nanos from, std::string_view why) : ForwardingSink({&to}), from_(from), why_(why) {}

  void arrival(const Arrival& arrival) override {
    if (!arrival.bytes.empty()) asks_at(arrival.at);
    ForwardingSink::arrival(arrival);
  }
  /// In one that goes on there is no other.
  void gap(const Gap& gap) override {
    if (asked_) ForwardingSink::gap(gap);
  }
  void end(Nanos until, const Lateness& lateness) override {
    asks_at(until);
    ForwardingSink::end(until, lateness);
  }

 private:
  void asks_at(Nanos at) {
    if (asked_) return;
    asked_ = true;
    if (at > from_) ForwardingSink::gap({from_, at, why_});
  }

  Nanos from_;
  std::string_view why_;
  bool asked_ = false;
};

class SoakAtPortRun {
 public:
  explicit SoakAtPortRun(SoakDesk& desk)
      : desk_(desk), job_(desk.job), clocks_(read_clocks()), before_(desk.job.at_port.lateness) {}

  ExitCode go() {
    std::optional<Nanos> time_out;
    if (!read_port_time_out(job_.at_port.port, time_out)) return exit_bad_input;
    if (!may_use_port(job_.at_port.port, job_.scenario.chain)) return exit_bad_input;
    std::string why;
    auto opened = open_port(job_.at_port.port, desk_.protocol.line(), why);
    if (!opened) {
      say_of_port(why);
      return exit_trouble;
    }
    const bool resumed = job_.resumed > 0;
    const Nanos broken_off = resumed ? take_in_what_was_recorded() : job_.start;
    if (broken_off < 0) return exit_bad_input;
    ChainDescription description = job_.scenario.chain;
    if (resumed) description.start = goes_on_at(broken_off);

    BorderWatch watch(desk_.soak);
    FanOut all{&watch};
    if (desk_.details) all.add(*desk_.details);
    FirstAsk first(all, broken_off, resumed ? "the bench was not running" : "the controller had not asked yet");
    Chain chain(desk_.protocol, description, description.seed, Way::events, Seat{true, time_out}, first);
    if (!desk_.soak.fits()) {
      say_line("hopbench: {}/state: is of another chain\n", desk_.directory->path());
      return exit_bad_input;
    }
    watch_ = &watch;
    chain_ = &chain;
    all_ = &first;
    note_where_it_is();
    if (desk_.directory && !desk_.save()) return exit_trouble;
    const SoakEnd end = run(*std::move(opened));
    const Nanos now = std::min(chain.now(), job_.until);
    note_where_it_is();
    chain.finish(job_.at_port.lateness);
    watch.pass(now);
    desk_.soak.decide(end == SoakEnd::span_over ? job_.until : now);
    if (desk_.directory) {
      note_where_it_is();
      desk_.save();
    }
    desk_.progress.clear();
    return desk_.tell(end, now);
  }

 private:
  /// What the captures hold and the state does not. The last instant that either of them tells of; -1, said on the
  /// standard error, if they cannot be read.
  Nanos take_in_what_was_recorded() {
    SoakAtPort& at_port = job_.at_port;
    if (at_port.file == 0) return at_port.at;
    SoakReplay replay(desk_.soak.sink(), at_port.told, at_port.at);
    for (std::uint32_t number = at_port.file; number < desk_.details->next(); ++number) {
      if (!desk_.directory->detail_bytes(number)) continue;
      CaptureRead read;
      // A file that was only just begun has no head yet, and tells nothing.
      if (read_capture(desk_.directory->detail(number), replay, read) == exit_trouble) return -1;
    }
    if (replay.began()) desk_.soak.settle();
    if (replay.exchanges() > 0) {
      say_line("hopbench: counted now, since the state did not have them yet: {}\n",
               counted(replay.exchanges(), "exchange"));
    }
    return replay.latest();
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
          return SoakEnd::interrupted;
        case RealTimeEnd::Why::stopped:
          return SoakEnd::decided;
        case RealTimeEnd::Why::stuck:
          return SoakEnd::stuck;
        case RealTimeEnd::Why::port_gone:
          break;
      }
      if (const auto ended = wait_for_port(opened, driven)) return *ended;
    }
  }

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
    options.stop = [&] { return !job_.full && desk_.soak.decided(); };
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
  std::optional<SoakEnd> wait_for_port(OpenedPort& opened, DrivenChain& driven) {
    const Nanos gone = chain_->now();
    const auto since = Clock::now();
    const auto now = [&] {
      return gone + std::chrono::duration_cast<std::chrono::nanoseconds>(Clock::now() - since).count();
    };
    tell_note(fmt::format("{}: the port is gone; it is opened again as soon as it is there", opened.place));
    opened.port.reset();
    std::optional<SoakEnd> end;
    for (Nanos wait = shortest_wait; !end; wait = std::min(2 * wait, longest_wait)) {
      if (!wait_in_real_time(wait)) end = SoakEnd::interrupted;
      if (!chain_->run_until(std::min(now(), job_.until))) end = SoakEnd::stuck;
      if (chain_->now() >= job_.until) end = SoakEnd::span_over;
      tick();
      std::string why;
      if (!end) {
        if (auto again = open_port(job_.at_port.port, desk_.protocol.line(), why)) {
          opened = *std::move(again);
          break;
        }
      }
    }
    driven.port_was_late(gone, chain_->now());
    all_->gap({gone, chain_->now(), "the port was gone"});
    if (!end) tell_note(fmt::format("{}: the port is there again", opened.place));
    return end;
  }

  void tick() {
    const auto now = Clock::now();
    if (const auto event = clocks_.look(read_clocks())) tell_clock(*event);
    watch_->pass(chain_->now());
    if (desk_.details) desk_.details->tick(chain_->now());
    if (desk_.save_due(now)) {
      note_where_it_is();
      desk_.save_beside();
      desk_.saved(now);
    }
    desk_.look_out(chain_->now(), now);
    ticked_at_ = chain_->now();
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
    chain_->port_was_late(ticked_at_, chain_->now());
  }

  /// To who is there and to the captures.
  void tell_note(const std::string& text) {
    say_of_port(text);
    all_->note({chain_->now(), text});
  }

  /// What is saved now is all that was told up to now.
  void note_where_it_is() {
    SoakAtPort& at_port = job_.at_port;
    if (desk_.details) {
      desk_.details->hand_over();
      at_port.file = desk_.details->writing();
      at_port.told = desk_.details->told();
    }
    at_port.at = chain_->now();
    at_port.wall = read_clock(CLOCK_REALTIME);
    at_port.standing = chain_->standing();
  }

  SoakDesk& desk_;
  SoakJob& job_;
  ClockWatch clocks_;
  BorderWatch* watch_ = nullptr;
  Chain* chain_ = nullptr;
  Sink* all_ = nullptr;
  Lateness before_;  // at ports that were gone, and before it was resumed
  Nanos ticked_at_ = 0;
};

}  // namespace

ExitCode soak_at_port(SoakDesk& desk) { return SoakAtPortRun(desk).go(); }

}  // namespace hopbench
