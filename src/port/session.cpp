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

}  // namespace

void DrivenChain::set_outlet(Outlet outlet) { chain_->set_outlet(std::move(outlet)); }
bool DrivenChain::run_until(Nanos until) { return chain_->run_until(until); }
Nanos DrivenChain::next_at() const { return chain_->next_at(); }
Nanos DrivenChain::now() const { return chain_->now(); }
void DrivenChain::arrive(Nanos at, bool paced, std::span<const std::uint8_t> bytes,
                         std::span<const std::uint8_t> flags) {
  chain_->arrive(at, paced, bytes, flags);
}

Session::Session(Driven& chain, BytePort& port, const LineCoding& line) : chain_(&chain), port_(&port), line_(line) {
  chain_->set_outlet(
      [this](std::span<const Nanos> ends, std::span<const std::uint8_t> bytes, bool) { queue(ends, bytes); });
}

Nanos Session::chars_span(std::size_t chars) const {
  return span_of_bits(std::uint64_t{chars} * line_.char_half_bits(), period_of_baud(line_.baud)) / 2;
}

void Session::queue(std::span<const Nanos> ends, std::span<const std::uint8_t> bytes) {
  if (bytes.empty()) return;
  Nanos nominal = port_->paced() ? ends.front() - chars_span(1) : ends.back();
  // Bytes keep the order in which the chain sent them.
  if (!outgoing_.empty()) nominal = std::max(nominal, outgoing_.back().nominal);
  outgoing_.push_back({nominal, {bytes.begin(), bytes.end()}, 0});
  queued_bytes_ += bytes.size();
  while (queued_bytes_ > most_queued_bytes && outgoing_.size() > 1) {
    const Outgoing& oldest = outgoing_.front();
    dropped_ += oldest.bytes.size() - oldest.sent;
    queued_bytes_ -= oldest.bytes.size();
    outgoing_.pop_front();
  }
}

Nanos Session::next_wake() const {
  Nanos next = chain_->next_at();
  if (!blocked_ && !outgoing_.empty()) next = std::min(next, outgoing_.front().nominal);
  return next;
}

Session::Health Session::wake(Nanos now) {
  if (!chain_->run_until(std::max(now, chain_->now()))) return Health::stuck;
  return send_due(now);
}

Session::Health Session::send_due(Nanos now) {
  blocked_ = false;
  while (!outgoing_.empty() && outgoing_.front().nominal <= now) {
    Outgoing& next = outgoing_.front();
    const std::ptrdiff_t taken = port_->write(std::span(next.bytes).subspan(next.sent));
    if (taken < 0) return Health::port_gone;
    if (taken > 0 && next.sent == 0) {
      const Nanos late = now - next.nominal;
      ++lateness_.sends;
      lateness_.total += late;
      lateness_.worst = std::max(lateness_.worst, late);
    }
    next.sent += static_cast<std::size_t>(taken);
    if (next.sent < next.bytes.size()) {
      blocked_ = true;
      break;
    }
    queued_bytes_ -= next.bytes.size();
    outgoing_.pop_front();
  }
  return Health::well;
}

Nanos Session::may_read_at() const { return line_free_at_ - chars_span(most_chars_ahead); }

Session::Health Session::take_in(Nanos now) {
  intake_.clear();
  const bool there = port_->read(intake_);
  if (!intake_.bytes.empty()) {
    // Strictly after all that the chain has done: run again, the arrival then falls into the same place.
    const Nanos at = std::max(now, chain_->now() + 1);
    if (!port_->paced()) {
      line_free_at_ = std::max(line_free_at_, at) + chars_span(intake_.bytes.size());
    }
    chain_->arrive(at, port_->paced(), intake_.bytes, intake_.flags);
  }
  if (!there) return Health::port_gone;
  return wake(now);
}

}  // namespace hopbench
