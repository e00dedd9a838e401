#include "port/session.h"

#include <algorithm>
#include <utility>

#include "chain/chain.h"

namespace hopbench {
namespace {

/// Most bytes that wait to go out; many times the longest frame, and nothing in memory.
constexpr std::size_t most_queued_bytes = 64 * 1024;
/// How far a client may be ahead of the line.
constexpr std::size_t most_chars_ahead = 2048;
constexpr std::size_t read_at_once = 4096;

}  // namespace

void DrivenChain::set_outlet(Outlet outlet) { chain_->set_outlet(std::move(outlet)); }
bool DrivenChain::run_until(Nanos until) { return chain_->run_until(until); }
Nanos DrivenChain::next_at() const { return chain_->next_at(); }
Nanos DrivenChain::now() const { return chain_->now(); }
void DrivenChain::arrive(Nanos at, bool paced, std::span<const std::uint8_t> bytes,
                         std::span<const std::uint8_t> flags) {
  chain_->arrive(at, paced, bytes, flags);
}
void DrivenChain::port_was_late(Nanos from, Nanos to) { chain_->port_was_late(from, to); }

Session::Session(Driven& chain, BytePort& port, const LineCoding& line) : chain_(&chain), port_(&port), line_(line) {
  // No port of these can carry marks.
  chain_->set_outlet([this](std::span<const Nanos> ends, std::span<const std::uint8_t> bytes,
                            std::span<const std::uint8_t>, bool one_by_one) { queue(ends, bytes, one_by_one); });
}

Nanos Session::chars_span(std::size_t chars) const {
  return span_of_bits(std::uint64_t{chars} * line_.char_half_bits(), period_of_baud(line_.baud)) / 2;
}

void Session::queue(std::span<const Nanos> ends, std::span<const std::uint8_t> bytes, bool one_by_one) {
  if (bytes.empty()) return;
  // A wire takes a character's time by itself.
  const Nanos early = port_->paced() ? chars_span(1) : 0;
  if (!one_by_one) {
    queue_piece(port_->paced() ? ends.front() - early : ends.back(), bytes);
    return;
  }
  for (std::size_t i = 0; i < bytes.size(); ++i) queue_piece(ends[i] - early, bytes.subspan(i, 1));
}

void Session::queue_piece(Nanos nominal, std::span<const std::uint8_t> bytes) {
  // Bytes keep the order in which the chain sent them.
  if (!outgoing_.empty()) nominal = std::max(nominal, outgoing_.back().nominal);
  outgoing_.push_back({nominal, {bytes.begin(), bytes.end()}, 0});
  queued_bytes_ += bytes.size();
  while (queued_bytes_ > most_queued_bytes && outgoing_.size() > 1) drop_front(lateness_.not_fetched);
}

void Session::drop_front(std::uint64_t& count) {
  count += outgoing_.front().left();
  queued_bytes_ -= outgoing_.front().bytes.size();
  outgoing_.pop_front();
}

Nanos Session::next_wake() const {
  const Nanos woken = woken_.value_or(0);
  Nanos next = std::min(chain_->next_at(), woken + (somebody_there_ ? busy_beat : idle_beat));
  if (!blocked_ && !outgoing_.empty()) next = std::min(next, outgoing_.front().nominal);
  if (may_read_at() > woken) next = std::min(next, may_read_at());
  return next;
}

bool Session::held_up(Nanos now) {
  if (!woken_ || now <= due_ + stall_threshold) return false;
  const Nanos span = now - *woken_;
  ++lateness_.stalls;
  lateness_.worst_stall = std::max(lateness_.worst_stall, span);
  lateness_.stalled += span;
  if (!behind_since_) behind_since_ = woken_;
  return true;
}

Session::Health Session::wake(Nanos now) {
  const bool stalled = held_up(now);
  woken_ = now;
  intake_.clear();
  const std::size_t room = may_read_at() <= now ? read_at_once : 0;
  const bool there = port_->read(intake_, room);
  somebody_there_ = port_->somebody_there();
  if (behind_since_ && (stalled || !intake_.bytes.empty())) chain_->port_was_late(*behind_since_, now);
  // Less than it might have been: nothing is left that had come before.
  if (intake_.bytes.size() < room || room == 0) behind_since_.reset();
  if (!intake_.bytes.empty()) arrive(now);
  // What was for somebody who has gone is not for who comes next.
  while (intake_.left && !outgoing_.empty() && outgoing_.front().nominal <= now) drop_front(lateness_.nobody_there);
  if (!chain_->run_until(std::max(now, chain_->now()))) return Health::stuck;
  return there ? Health::well : Health::port_gone;
}

void Session::arrive(Nanos now) {
  // Strictly after all that the chain has done: run again, the arrival then falls into the same place.
  const Nanos at = std::max(now, chain_->now() + 1);
  if (!port_->paced()) line_free_at_ = std::max(line_free_at_, at) + chars_span(intake_.bytes.size());
  chain_->arrive(at, port_->paced(), intake_.bytes, intake_.flags);
}

Session::Health Session::hand_over(Nanos now) {
  blocked_ = false;
  while (!blocked_ && !outgoing_.empty() && outgoing_.front().nominal <= now) {
    if (!port_->somebody_there()) {
      drop_front(lateness_.nobody_there);
      continue;
    }
    Outgoing& next = outgoing_.front();
    const std::ptrdiff_t taken = port_->write(std::span(next.bytes).subspan(next.sent));
    if (taken < 0) return Health::port_gone;
    next.sent += static_cast<std::size_t>(taken);
    blocked_ = next.left() > 0;
    if (blocked_) break;
    const Nanos late = now - next.nominal;
    ++lateness_.sends;
    lateness_.total += late;
    lateness_.worst = std::max(lateness_.worst, late);
    if (late > 0) chain_->port_was_late(next.nominal, now);
    queued_bytes_ -= next.bytes.size();
    outgoing_.pop_front();
  }
  port_->watch(may_read_at() <= now, blocked_);
  due_ = next_wake();
  return Health::well;
}

Nanos Session::may_read_at() const { return line_free_at_ - chars_span(most_chars_ahead); }

Lateness Session::lateness() const {
  Lateness all = lateness_;
  const PortLosses losses = port_->losses();
  const PortDelay delay = port_->delay();
  all.not_fetched += losses.not_fetched;
  all.nobody_there += losses.nobody_there;
  all.port_median = delay.median;
  all.port_99 = delay.most;
  return all;
}

}  // namespace hopbench
