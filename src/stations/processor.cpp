#include "stations/processor.h"

#include <algorithm>

namespace hopbench {
namespace {

constexpr int most_in_a_row = 64;  // duties that follow on one another; scenarios leave more room than that

}  // namespace

Processor::Processor(const ProcessorSpec& spec, const Luck& luck, std::uint64_t station_hash)
    : fifo_chars_(spec.fifo_chars), watchdog_(spec.watchdog) {
  for (const DutySpec& each : spec.duties) {
    const std::uint64_t hash = name_hash(each.name, station_hash);
    Duty duty{each, 0, luck.stream(hash, Purpose::duty_length, 0), luck.stream(hash, Purpose::duty_jitter, 0), false};
    const std::uint64_t bits = draw(luck.stream(hash, Purpose::duty_phase, 0), 0, 0);
    duty.phase = static_cast<Nanos>(below(static_cast<std::uint64_t>(each.every), bits));
    duty.runs = longest(duty) > 0;
    duties_.push_back(duty);
  }
}

void Processor::set_bleeding(std::uint32_t cells) {
  bleeding_ = cells;
  for (Duty& duty : duties_) duty.runs = longest(duty) > 0;
}

Nanos Processor::longest(const Duty& duty) const {
  return std::max(duty.spec.takes, duty.spec.takes_up_to) + duty.spec.per_bleeding_cell * bleeding_;
}

Interval Processor::run_of(const Duty& duty, std::int64_t n) const {
  const DutySpec& spec = duty.spec;
  Interval when;
  when.from = duty.phase + n * spec.every;
  const auto number = static_cast<std::uint64_t>(n);
  if (spec.jitter > 0) {
    when.from += static_cast<Nanos>(below(static_cast<std::uint64_t>(spec.jitter) + 1, draw(duty.jitter, number, 0)));
  }
  Nanos takes = spec.takes;
  if (spec.takes_up_to > spec.takes) {
    const auto more = static_cast<std::uint64_t>(spec.takes_up_to - spec.takes) + 1;
    takes += static_cast<Nanos>(below(more, draw(duty.length, number, 0)));
  }
  when.to = when.from + takes + spec.per_bleeding_cell * bleeding_;
  return when;
}

Interval Processor::after(const Duty& duty, Nanos at, std::int64_t* number) const {
  if (!duty.runs) return {never, never};
  const Nanos latest = duty.spec.jitter + longest(duty);  // from the start of its run a duty is over by then
  std::int64_t n = std::max<std::int64_t>(0, (at - duty.phase - latest) / duty.spec.every);
  for (;; ++n) {
    const Interval when = run_of(duty, n);
    if (when.to <= at || when.to == when.from) continue;
    if (number != nullptr) *number = n;
    return when;
  }
}

Nanos Processor::free_at(Nanos at) const {
  for (int i = 0; i < most_in_a_row; ++i) {
    Nanos until = at;
    for (const Duty& duty : duties_) {
      const Interval when = after(duty, at);
      if (when.from <= at) until = std::max(until, when.to);
    }
    if (until == at) break;
    at = until;
  }
  return at;
}

Nanos Processor::calm_until(Nanos now) const {
  Nanos until = never;
  for (const Duty& duty : duties_) until = std::min(until, after(duty, now).from);
  return std::max(until, now);
}

void Processor::unfetched(std::span<const Nanos> ends, std::vector<std::uint32_t>& lost) const {
  if (fifo_chars_ == 0 || ends.empty()) return;
  for (std::size_t i = 0; i < ends.size();) {
    // The stretch without service that this character ends in, or the next one.
    Interval masked{never, never};
    for (const Duty& duty : duties_) {
      if (!duty.spec.masks) continue;
      const Interval when = after(duty, ends[i]);
      if (when.from < masked.from) masked = when;
    }
    if (masked.from == never) return;
    if (masked.from > ends[i]) {
      i = static_cast<std::size_t>(std::lower_bound(ends.begin(), ends.end(), masked.from) - ends.begin());
      if (i == ends.size()) return;
    }
    // It lasts as long as any masking duty goes on.
    for (int again = 0; again < most_in_a_row; ++again) {
      const Nanos before = masked.to;
      for (const Duty& duty : duties_) {
        if (!duty.spec.masks) continue;
        const Interval when = after(duty, masked.to);
        if (when.from <= masked.to) masked.to = when.to;
      }
      if (masked.to == before) break;
    }
    for (std::uint32_t waiting = 0; i < ends.size() && ends[i] < masked.to; ++i) {
      if (waiting++ >= fifo_chars_) lost.push_back(static_cast<std::uint32_t>(i));
    }
  }
}

void Processor::watchdog_in(Nanos from, Nanos to, std::vector<Nanos>& bites) const {
  if (watchdog_ <= 0) return;
  for (const Duty& duty : duties_) {
    if (longest(duty) <= watchdog_) continue;
    std::int64_t n = 0;
    if (after(duty, from - 1, &n).from == never) continue;
    for (;; ++n) {
      const Interval when = run_of(duty, n);
      if (when.from >= to) break;
      const Nanos bites_at = when.from + watchdog_;
      if (when.to > bites_at && bites_at >= from && bites_at < to) bites.push_back(bites_at);
    }
  }
  std::sort(bites.begin(), bites.end());
}

}  // namespace hopbench
