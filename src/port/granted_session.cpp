#include "port/granted_session.h"

#include <fmt/format.h>

#include <algorithm>
#include <utility>

#include "base/duration.h"
#include "chain/chain.h"
#include "line/signal.h"

namespace hopbench {
namespace {

using granted::Ended;
using granted::Granted;

/// Instants of the chain in one go_on(): some milliseconds.
constexpr int most_at_once = 4096;
constexpr std::uint64_t most_sent_unwaited = std::uint64_t{1} << 20U;
constexpr std::uint64_t most_said_at_one_instant = 100'000;
/// How far a controller may be ahead of the line.
constexpr Nanos most_ahead = 60 * second;
constexpr std::size_t most_logged = 1'000;

}  // namespace

GrantedSession::GrantedSession(Chain& chain, const LineCoding& line, const std::string& bus, Nanos until)
    : chain_(&chain), until_(until), char_half_bits_(line.char_half_bits()), bit_(period_of_baud(line.baud)) {
  chain_->set_outlet([this](std::span<const Nanos> ends, std::span<const std::uint8_t> bytes,
                            std::span<const std::uint8_t> marks, bool) { hear(ends, bytes, marks); });
  granted::put_hello({line, chain.now(), bus}, out_);
  waited_at_ = line_free_at_ = chain.now();
}

Nanos GrantedSession::now() const { return chain_->now(); }

void GrantedSession::hear(std::span<const Nanos> ends, std::span<const std::uint8_t> bytes,
                          std::span<const std::uint8_t> marks) {
  for (std::size_t i = 0; i < bytes.size(); ++i) {
    // Characters keep the order in which the chain sent them.
    const Nanos at = coming_.empty() ? ends[i] : std::max(ends[i], coming_.back().at);
    coming_.push_back({at, bytes[i], i < marks.size() ? marks[i] : std::uint8_t{0}});
  }
}

GrantedSession::State GrantedSession::wrong(std::string what) {
  trouble_ = std::move(what);
  return state_ = State::wrong;
}

GrantedSession::State GrantedSession::take(std::span<const std::uint8_t> bytes) {
  inbox_.add(bytes);
  return go_through();
}

GrantedSession::State GrantedSession::go_through() {
  granted::FromController message;
  while ((state_ == State::asks || state_ == State::over) && inbox_.next(message)) {
    if (++said_here_ > most_said_at_one_instant) {
      return wrong(fmt::format("floods: {} messages, and time stands still at {}", most_said_at_one_instant,
                               format_duration(now())));
    }
    std::visit([this](const auto& each) { on(each); }, message);
  }
  return state_;
}

void GrantedSession::on(const granted::Hello& hello) {
  if (greeted_) {
    wrong("has said hello twice");
  } else if (hello.version != granted::version) {
    wrong(fmt::format("speaks version {} of granted time, this bench {}", hello.version, granted::version));
  } else {
    greeted_ = true;
    name_ = hello.name;
  }
}

/// Hello comes first.
bool GrantedSession::greeted() {
  if (!greeted_) wrong("has not said hello first");
  return greeted_;
}

void GrantedSession::on(const granted::Send& send) {
  if (!greeted() || state_ == State::over) return;
  sent_here_ += send.bytes.size();
  if (send.at >= until_) return;
  // Characters keep the order in which they were sent.
  const Nanos at = std::max({now(), send.at, to_send_.empty() ? 0 : to_send_.back().at});
  line_free_at_ = half_edge(std::max(line_free_at_, at), send.bytes.size() * char_half_bits_, bit_);
  if (sent_here_ > most_sent_unwaited) {
    wrong(fmt::format("floods: more than {} characters sent without a wait", most_sent_unwaited));
  } else if (line_free_at_ - at > most_ahead) {
    wrong(fmt::format("floods: it is {} ahead of the line", format_duration(line_free_at_ - at)));
  } else {
    ++sends_;
    if (at == now()) {
      chain_->arrive(at, false, send.bytes, {});
    } else {
      to_send_.push_back({at, {send.bytes.begin(), send.bytes.end()}});
    }
  }
}

void GrantedSession::on(const granted::Wait& wait) {
  if (!greeted()) return;
  if (state_ == State::over) {
    granted::put_end(now(), ended_, out_);
    return;
  }
  if (wait.until < now()) {
    wrong(fmt::format("asks to wait until {}, and it is {} already", format_duration(std::max<Nanos>(wait.until, 0)),
                      format_duration(now())));
    return;
  }
  sent_here_ = 0;
  waited_at_ = now();
  wait_ = wait;
  wait_.from = std::min(wait.from, wait.until);
  looked_at_ = skipped_ = 0;
  state_ = State::waits;
}

void GrantedSession::on(const granted::Decided& decided) {
  if (!greeted()) return;
  last_decided_ = decided.exchange;
  chain_->decided(decided.decision);
}

void GrantedSession::on(const granted::Log& log) {
  if (!greeted()) return;
  if (logged_.size() < most_logged) logged_.push_back(log.text);
}

void GrantedSession::on(const granted::Bye&) { state_ = State::gone; }

void GrantedSession::on(const granted::Nonsense& nonsense) { wrong("sent " + nonsense.what); }

/// When the wait ends as things stand; `why_` then says why.
Nanos GrantedSession::wakes_at() {
  Nanos at = wait_.until;
  why_ = Granted::time;
  while (skipped_ < coming_.size() && coming_[skipped_].at <= wait_.from) ++skipped_;
  if (wait_.chars > 0 && coming_.size() - skipped_ >= wait_.chars && coming_[skipped_ + wait_.chars - 1].at <= at) {
    at = coming_[skipped_ + wait_.chars - 1].at;
    why_ = Granted::chars;
  }
  if (wait_.still == never || coming_.size() == skipped_) return at;
  // Those looked at before stand close enough.
  looked_at_ = std::max(looked_at_, skipped_);
  while (looked_at_ + 1 < coming_.size() && coming_[looked_at_ + 1].at - coming_[looked_at_].at <= wait_.still) {
    ++looked_at_;
  }
  const Nanos last = coming_[looked_at_].at;
  const Nanos still_at = wait_.still > never - last ? never : last + wait_.still;
  if (still_at < at) {
    at = still_at;
    why_ = Granted::still;
  }
  return at;
}

GrantedSession::State GrantedSession::go_on() {
  for (int i = 0; state_ == State::waits && i < most_at_once; ++i) {
    const Nanos wakes = wakes_at();
    Nanos at = std::min(wakes, until_);
    const bool sends = !to_send_.empty() && to_send_.front().at <= at;
    if (sends) at = to_send_.front().at;
    const Nanos next = chain_->next_at();
    if (!chain_->run_until(std::min(at, next))) return state_ = State::stuck;
    if (next <= at) continue;  // it may have changed what ends the wait
    if (sends) {
      chain_->arrive(at, false, to_send_.front().bytes, {});
      to_send_.pop_front();
      continue;
    }
    if (wakes < until_ || (wakes == until_ && why_ != Granted::time)) {
      grant(at);
    } else {
      end(Ended::time);
    }
    return go_through();
  }
  return state_;
}

/// What has come by now, for the controller.
void GrantedSession::hand_over() {
  handed_.clear();
  while (!coming_.empty() && coming_.front().at <= now()) {
    handed_.push_back(coming_.front());
    coming_.pop_front();
  }
  granted::put_heard(handed_, out_);
}

void GrantedSession::grant(Nanos at) {
  if (at > waited_at_) said_here_ = 0;
  hand_over();
  granted::put_time(at, why_, out_);
  state_ = State::asks;
}

void GrantedSession::end(Ended why) {
  said_here_ = 0;
  ended_ = why;
  hand_over();
  granted::put_end(now(), why, out_);
  state_ = State::over;
}

void GrantedSession::stop() {
  if (state_ == State::asks || state_ == State::waits) end(Ended::stopped);
}

std::string GrantedSession::place() const {
  if (!greeted_) return "has not said hello";
  const std::string after = last_decided_ ? fmt::format(", after exchange {}", *last_decided_)
                            : sends_ > 0  ? fmt::format(", after {} sends", sends_)
                                          : std::string();
  return fmt::format("has not asked to wait since virtual time {}{}", format_duration(now()), after);
}

}  // namespace hopbench
