#include "port/real_time.h"

#include <signal.h>

#include <algorithm>
#include <boost/asio/io_context.hpp>
#include <boost/asio/posix/stream_descriptor.hpp>
#include <boost/asio/signal_set.hpp>
#include <boost/asio/steady_timer.hpp>
#include <chrono>
#include <optional>

namespace hopbench {
namespace {

namespace asio = boost::asio;
using boost::system::error_code;
using Clock = std::chrono::steady_clock;

/// Long enough that a client on the same processor gets on, short enough to come between two of its steps.
constexpr Nanos restless_beat = 40 * microsecond;

/// As nohup(1) leaves it: the program is to outlive its terminal.
bool ignored(int signal) {
  struct sigaction action {};
  return sigaction(signal, nullptr, &action) == 0 && action.sa_handler == SIG_IGN;
}

class Loop {
 public:
  Loop(Session& session, BytePort& port, const RealTimeOptions& options)
      : session_(session),
        port_(port),
        options_(options),
        until_(options.until),
        signals_(io_),
        due_(io_),
        tick_(io_),
        descriptor_(io_, port.descriptor()) {}
  Loop(const Loop&) = delete;
  Loop& operator=(const Loop&) = delete;
  // The descriptor is the port's own.
  ~Loop() { descriptor_.release(); }

  RealTimeEnd run() {
    if (options_.signals) wait_for_signals();
    if (options_.tick) wait_for_tick();
    advance();
    if (options_.ready) options_.ready();
    io_.run();
    return end_;
  }

 private:
  [[nodiscard]] Nanos now() const {
    return options_.from + std::chrono::duration_cast<std::chrono::nanoseconds>(Clock::now() - origin_).count();
  }
  [[nodiscard]] Clock::time_point instant(Nanos at) const {
    return origin_ + std::chrono::duration_cast<Clock::duration>(std::chrono::nanoseconds(at - options_.from));
  }

  void wait_for_signals() {
    signals_.add(SIGINT);
    signals_.add(SIGTERM);
    if (!ignored(SIGHUP)) signals_.add(SIGHUP);
    signals_.async_wait([this](const error_code& error, int) {
      if (error) return;
      // The next one is on its own.
      signals_.clear();
      wind_up(RealTimeEnd::Why::signal);
    });
  }

  /// A little longer.
  void wind_up(RealTimeEnd::Why why) {
    why_at_until_ = why;
    until_ = std::min(until_, now() + options_.linger);
    advance();
  }

  void end(RealTimeEnd::Why why, Nanos at) {
    ended_ = true;
    end_ = {why, at};
    io_.stop();
  }

  /// Everything that there is to do, then waits for whatever can come next.
  void advance() {
    if (ended_) return;
    const Nanos at = std::min(now(), until_);
    Session::Health health = session_.wake(at);
    if (health == Session::Health::well) health = session_.hand_over(std::min(now(), until_));
    tell();
    if (health == Session::Health::stuck) return end(RealTimeEnd::Why::stuck, at);
    if (health == Session::Health::port_gone) return end(RealTimeEnd::Why::port_gone, at);
    if (at >= until_) return end(why_at_until_, at);
    wait_for_port();
    Nanos next = std::min(session_.next_wake(), until_);
    if (port_.restless()) next = std::min(next, now() + restless_beat);
    wait_for_due(next);
  }

  void wait_for_due(Nanos next) {
    if (next == armed_for_) return;
    armed_for_ = next;
    due_.expires_at(instant(next));
    due_.async_wait([this](const error_code& error) {
      if (error) return;
      armed_for_.reset();
      advance();
    });
  }

  void wait_for_port() {
    if (waiting_) return;
    waiting_ = true;
    descriptor_.async_wait(asio::posix::descriptor_base::wait_read, [this](const error_code& error) {
      if (error) return;
      waiting_ = false;
      advance();
    });
  }

  void wait_for_tick() {
    tick_.expires_after(std::chrono::nanoseconds(options_.tick_every));
    tick_.async_wait([this](const error_code& error) {
      if (error || ended_) return;
      options_.tick(now());
      if (options_.stop && options_.stop()) return wind_up(RealTimeEnd::Why::stopped);
      wait_for_tick();
    });
  }

  void tell() {
    if (!options_.note) return;
    if (const std::string note = port_.take_note(); !note.empty()) options_.note(note);
  }

  Session& session_;
  BytePort& port_;
  const RealTimeOptions& options_;
  Nanos until_;
  RealTimeEnd::Why why_at_until_ = RealTimeEnd::Why::time;
  asio::io_context io_{1};
  asio::signal_set signals_;
  asio::steady_timer due_;
  asio::steady_timer tick_;
  asio::posix::stream_descriptor descriptor_;
  Clock::time_point origin_ = Clock::now();
  std::optional<Nanos> armed_for_;
  bool waiting_ = false;  // for the port
  bool ended_ = false;
  RealTimeEnd end_;
};

}  // namespace

RealTimeEnd run_in_real_time(Session& session, BytePort& port, const RealTimeOptions& options) {
  return Loop(session, port, options).run();
}

}  // namespace hopbench
