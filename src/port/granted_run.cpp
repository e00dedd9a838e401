#include "port/granted_run.h"

#include <fmt/format.h>
#include <poll.h>
#include <sys/socket.h>

#include <algorithm>
#include <array>
#include <cerrno>
#include <memory>
#include <optional>
#include <utility>

#include "base/duration.h"
#include "chain/chain.h"
#include "port/child_process.h"
#include "port/granted_session.h"
#include "port/unix_listener.h"

namespace hopbench {
namespace {

using Clock = std::chrono::steady_clock;
using State = GrantedSession::State;
using Why = GrantedEnd::Why;

constexpr auto look_every = std::chrono::milliseconds(50);
/// How long a program may take to end when it has been told that the run is over.
constexpr auto time_to_end = std::chrono::seconds(5);
/// Programs take their time to begin.
constexpr auto time_to_start = std::chrono::seconds(30);
constexpr auto time_to_die = std::chrono::seconds(1);
constexpr std::size_t read_at_once = 65'536;
/// Looks at once at what is there before it sleeps: a controller answers within microseconds.
constexpr int looks_before_sleep = 200;

/// The program, or whoever has connected.
struct Connection {
  std::unique_ptr<ChildProcess> child;
  std::unique_ptr<UnixListener> listener;
  FileDescriptor client;
  [[nodiscard]] int descriptor() const { return child ? child->descriptor() : client.get(); }
};

class Conversation {
 public:
  Conversation(GrantedSession& session, Connection& connection, const ControllerAt& at, const GrantedOptions& options)
      : session_(&session), connection_(&connection), at_(&at), options_(&options) {}

  GrantedEnd run() {
    heard_ = Clock::now();
    while (!end_) step();
    say_what_was_logged();
    end_->at = session_->now();
    return *end_;
  }

 private:
  void step() {
    look_around();
    if (end_ || !send_out()) return;
    switch (session_->state()) {
      case State::waits:
        session_->go_on();
        heard_ = Clock::now();
        break;
      case State::asks:
      case State::over:
        read();
        break;
      case State::gone:
        if (stopped_) return finish(Why::stopped, {});
        return finish(over_ ? Why::time : Why::left, over_ ? "" : "said goodbye before the end of the run");
      case State::wrong:
        return finish(Why::controller, session_->trouble());
      case State::stuck:
        return finish(Why::stuck, {});
    }
    if (session_->state() == State::over && !over_) {
      over_ = true;
      heard_ = Clock::now();
    }
  }

  /// Things of the computer's time, now and then.
  void look_around() {
    say_what_was_logged();
    if (options_->stop && !stopped_ && options_->stop()) {
      stopped_ = true;
      session_->stop();
    }
    const auto now = Clock::now();
    if (now < next_look_) return;
    next_look_ = now + look_every;
    if (options_->tick) options_->tick(session_->now());
    look_whether_it_hangs(now - heard_);
  }

  void look_whether_it_hangs(Clock::duration silent) {
    const bool has_the_word = session_->state() == State::asks || session_->state() == State::over;
    if (!has_the_word || end_) return;
    if (over_ && silent > time_to_end) {
      note(fmt::format("{}: does not end though the run is over", at_->name));
      finish(stopped_ ? Why::stopped : Why::time, {});
    } else if (!over_ && options_->hang_after.count() > 0 && silent > patience()) {
      finish(Why::controller, fmt::format("{}; ended after {} of the computer's time", session_->place(),
                                          format_duration(patience().count() * millisecond)));
    }
  }

  [[nodiscard]] std::chrono::milliseconds patience() const {
    if (session_->has_said_hello()) return options_->hang_after;
    return std::max<std::chrono::milliseconds>(options_->hang_after, time_to_start);
  }

  void say_what_was_logged() {
    for (const std::string& line : session_->logged()) note(line);
    session_->logged().clear();
  }

  void note(const std::string& line) const {
    if (options_->note) options_->note(line);
  }

  /// False if not all went, for now or for ever.
  bool send_out() {
    auto& out = session_->out();
    while (!out.empty()) {
      const ssize_t sent = send(connection_->descriptor(), out.data(), out.size(), MSG_NOSIGNAL | MSG_DONTWAIT);
      if (sent < 0 && errno == EINTR) continue;
      if (sent < 0 && errno == EAGAIN) {
        sleep_until_it_has(POLLOUT);
        return false;
      }
      if (sent < 0) {
        it_went();
        return false;
      }
      out.erase(out.begin(), out.begin() + sent);
    }
    return true;
  }

  void read() {
    for (int i = 0; i < looks_before_sleep; ++i) {
      const ssize_t size = recv(connection_->descriptor(), buffer_.data(), buffer_.size(), MSG_DONTWAIT);
      if (size > 0) {
        session_->take(std::span(buffer_).first(static_cast<std::size_t>(size)));
        return;
      }
      if (size == 0 || (errno != EAGAIN && errno != EINTR)) return it_went();
    }
    sleep_until_it_has(POLLIN);
  }

  /// Some milliseconds at most.
  void sleep_until_it_has(short what) const {
    pollfd place{connection_->descriptor(), what, 0};
    (void)poll(&place, 1, static_cast<int>(look_every.count()));
  }

  /// It has closed its end.
  void it_went() {
    std::string how = "closed its connection";
    if (connection_->child) {
      const std::string ended = connection_->child->ended_within(time_to_die);
      if (!ended.empty()) how = ended;
    }
    if (!over_) {
      return finish(Why::controller, fmt::format("{} at virtual time {}", how, format_duration(session_->now())));
    }
    if (connection_->child && connection_->child->exit_code() != 0) note(fmt::format("{}: {}", at_->name, how));
    finish(stopped_ ? Why::stopped : Why::time, {});
  }

  void finish(Why why, const std::string& what) {
    end_ = GrantedEnd{why, 0, what.empty() ? std::string() : fmt::format("{}: {}", at_->name, what)};
  }

  GrantedSession* session_;
  Connection* connection_;
  const ControllerAt* at_;
  const GrantedOptions* options_;
  std::vector<std::uint8_t> buffer_ = std::vector<std::uint8_t>(read_at_once);
  Clock::time_point heard_;
  Clock::time_point next_look_;
  bool over_ = false;
  bool stopped_ = false;
  std::optional<GrantedEnd> end_;
};

/// Waits for somebody to connect. False if it was told to stop.
bool connected(Connection& connection, const ControllerAt& at, const GrantedOptions& options) {
  if (options.note) options.note(fmt::format("waits for the controller to connect to {}", at.socket));
  while (!connection.client.valid()) {
    if (options.stop && options.stop()) return false;
    pollfd place{connection.listener->descriptor(), POLLIN, 0};
    if (poll(&place, 1, static_cast<int>(look_every.count())) > 0) connection.client = connection.listener->take(true);
  }
  return true;
}

/// Says why not, if it cannot be had.
std::optional<GrantedEnd> connect_to(Connection& connection, const ControllerAt& at, const GrantedOptions& options) {
  if (!at.words.empty()) {
    auto started = ChildProcess::start(at.words, "HOPBENCH_TIME_FD");
    if (const auto* error = std::get_if<PortError>(&started)) return GrantedEnd{Why::no_controller, 0, error->what};
    connection.child = std::move(std::get<std::unique_ptr<ChildProcess>>(started));
    return std::nullopt;
  }
  auto made = UnixListener::open(at.socket);
  if (const auto* error = std::get_if<PortError>(&made)) return GrantedEnd{Why::no_controller, 0, error->what};
  connection.listener = std::move(std::get<std::unique_ptr<UnixListener>>(made));
  if (!connected(connection, at, options)) {
    return GrantedEnd{Why::no_controller, 0, "interrupted before a controller connected"};
  }
  return std::nullopt;
}

/// What people call it: of "env NAME=VALUE program" the program.
std::string program_of(const std::vector<std::string>& words) {
  if (words.front() != "env") return words.front();
  const auto program = std::find_if(words.begin() + 1, words.end(), [](const std::string& each) {
    return !each.starts_with("-") && each.find('=') == std::string::npos;
  });
  return program == words.end() ? words.front() : *program;
}

}  // namespace

std::variant<ControllerAt, PortError> controller_at(const std::string& text) {
  ControllerAt at;
  if (text.starts_with("exec:")) {
    std::string why;
    at.words = words_of(text.substr(5), why);
    if (at.words.empty()) return PortError{fmt::format("{}: {}", text, why)};
    at.name = program_of(at.words);
    return at;
  }
  if (text.starts_with("socket:") && text.size() > 7) {
    at.name = at.socket = text.substr(7);
    return at;
  }
  return PortError{fmt::format("{}: give exec:PROGRAM with its arguments, or socket:PATH", text)};
}

GrantedEnd run_granted(const Protocol& protocol, const ChainDescription& description, std::uint64_t seed, Way way,
                       const ControllerAt& at, const GrantedOptions& options, Sink& sink) {
  Connection connection;
  if (const auto why_not = connect_to(connection, at, options)) return *why_not;
  // Nothing is told again from a recording here: what the controller asks is its own affair.
  Chain chain(protocol, description, seed, way == Way::repeats ? Way::events : way, Seat::in_time, sink);
  GrantedSession session(chain, protocol.line(), protocol.description().name, chain.now() + options.span);
  const GrantedEnd end = Conversation(session, connection, at, options).run();
  chain.finish({});
  return end;
}

}  // namespace hopbench
