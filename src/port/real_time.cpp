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

class Loop {
 public:
  Loop(Session& session, BytePort& port, const RealTimeOptions& options)
      : session_(session),
        port_(port),
        options_(options),
        until_(options.until),
        signals_(io_, SIGINT, SIGTERM),
        due_(io_),
        tick_(io_),
        descriptor_(io_, port.descriptor()) {}
  Loop(const Loop&) = delete;
  Loop& operator=(const Loop&) = delete;
  // The descriptor is the port's own.
  ~Loop() { descriptor_.release(); }

  RealTimeEnd run() {
    signals_.async_wait([this](const error_code& error, int) {
      if (!error) wind_up();
    });
    if (options_.tick) wait_for_tick();
    advance();
    if (options_.ready) options_.ready();
    io_.run();
    return end_;
  }

 private:
  [[nodiscard]] Nanos now() const {
    return std::chrono::duration_cast<std::chrono::nanoseconds>(Clock::now() - origin_).count();
  }
  [[nodiscard]] Clock::time_point instant(Nanos at) const {
    return origin_ + std::chrono::duration_cast<Clock::duration>(std::chrono::nanoseconds(at));
  }

  /// The first signal: a little longer, and the next one is on its own.
  void wind_up() {
    signals_.clear();
    why_at_until_ = RealTimeEnd::Why::signal;
    until_ = std::min(until_, now() + options_.linger);
    advance();
  }

  void end(RealTimeEnd::Why why) {
    if (ended_) return;
    ended_ = true;
    // What is due by now is done before the end, so that the last instant covered is a definite one.
    const Nanos at = std::min(now(), until_);
    if (why != RealTimeEnd::Why::stuck && session_.wake(at) == Session::Health::stuck) why = RealTimeEnd::Why::stuck;
    end_ = {why, at};
    io_.stop();
  }

  void act_on(Session::Health health) {
    if (health == Session::Health::stuck) end(RealTimeEnd::Why::stuck);
    if (health == Session::Health::port_gone) end(RealTimeEnd::Why::port_gone);
  }

  /// Does what is due, then waits for whatever can come next.
  void advance() {
    if (ended_) return;
    const Nanos at = std::min(now(), until_);
    act_on(session_.wake(at));
    if (!ended_ && at >= until_) end(why_at_until_);
    if (ended_) return;
    Nanos next = std::min(session_.next_wake(), until_);
    if (session_.may_read_at() <= at) {
      wait_to_read();
    } else if (!reading_) {
      next = std::min(next, session_.may_read_at());
    }
    wait_for_due(next);
    wait_to_write();
  }

  void wait_for_due(Nanos next) {
    if (next == armed_for_) return;
    armed_for_ = next;
    due_.cancel();
    if (next == never) return;
    due_.expires_at(instant(next));
    due_.async_wait([this](const error_code& error) {
      if (error) return;
      armed_for_.reset();
      advance();
    });
  }

  void wait_to_read() {
    if (reading_) return;
    reading_ = true;
    descriptor_.async_wait(asio::posix::descriptor_base::wait_read, [this](const error_code& error) {
      if (error) return;
      reading_ = false;
      act_on(session_.take_in(std::min(now(), until_)));
      tell();
      advance();
    });
  }

  void wait_to_write() {
    if (writing_ || !session_.wants_write()) return;
    writing_ = true;
    descriptor_.async_wait(asio::posix::descriptor_base::wait_write, [this](const error_code& error) {
      if (error) return;
      writing_ = false;
      advance();
    });
  }

  void wait_for_tick() {
    tick_.expires_after(std::chrono::nanoseconds(options_.tick_every));
    tick_.async_wait([this](const error_code& error) {
      if (error || ended_) return;
      options_.tick(now());
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
  bool reading_ = false;
  bool writing_ = false;
  bool ended_ = false;
  RealTimeEnd end_;
};

}  // namespace

RealTimeEnd run_in_real_time(Session& session, BytePort& port, const RealTimeOptions& options) {
  return Loop(session, port, options).run();
}

}  // namespace hopbench
