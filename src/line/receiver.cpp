#include "line/receiver.h"

#include <algorithm>
#include <array>
#include <bit>

namespace hopbench {
namespace {
using Wide = unsigned __int128;
}

Receiver::Receiver(const LineCoding& line, const ReceiverSpec& spec, Period period) : line_(line), spec_(spec) {
  // Receivers mostly take a power of two; a shift spares a wide division for each sample.
  if (std::has_single_bit(spec.oversampling)) shift_ = 32U + static_cast<unsigned>(std::countr_zero(spec.oversampling));
  set_period(period);
}

void Receiver::set_period(Period period) {
  if (period == period_) return;
  period_ = period;
  samples_per_ns_ = static_cast<double>(spec_.oversampling) * 4294967296.0 / static_cast<double>(period);
  after_.clear();
}

Nanos Receiver::sample_at(std::uint64_t k) const {
  const Wide scaled = static_cast<Wide>(k) * period_;
  return static_cast<Nanos>(shift_ != 0 ? scaled >> shift_ : (scaled / spec_.oversampling) >> 32U);
}

std::uint64_t Receiver::first_sample_at_or_after(Nanos at) const {
  if (at <= 0) return 0;
  // A guess that is put right below: the result hangs on integers alone.
  auto k = static_cast<std::uint64_t>(static_cast<double>(at) * samples_per_ns_);
  while (k > 0 && sample_at(k - 1) >= at) --k;
  while (sample_at(k) < at) ++k;
  return k;
}

bool Receiver::surely_in_step(Period sent, Nanos stretch) const {
  // In units of 1/oversampling bit, from the first edge. The sample that sees the edge comes 0 to 1 units after it, so
  // vote v of bit b comes (b * S + v - 1) to (b * S + v) units after it. The stop bit is the last and the hardest;
  // 2 ns cover the rounding of edges and samples.
  const std::uint64_t stop = 1 + line_.data_bits + (line_.parity == Parity::none ? 0 : 1);
  const std::uint64_t s = spec_.oversampling;
  const Wide slack = static_cast<Wide>(2U * s) << 32U;
  const Wide later = stretch > 0 ? (static_cast<Wide>(stretch) * s) << 32U : 0;
  const Wide earlier = stretch < 0 ? (static_cast<Wide>(-stretch) * s) << 32U : 0;
  const auto fits = [&](std::uint64_t bit) {
    const Wide first = static_cast<Wide>(bit * s + spec_.first_vote - 1) * period_;
    const Wide last = static_cast<Wide>(bit * s + spec_.first_vote + spec_.votes - 1) * period_;
    return static_cast<Wide>(bit * s) * sent + later + slack <= first &&
           last + slack + earlier <= static_cast<Wide>((bit + 1) * s) * sent;
  };
  if (!fits(stop)) return false;
  // The start bit, for a receiver much faster or slower than any that would pass the test above, needs no test of its
  // own: its votes lie nearer to the edge in the same proportion. A level that is stretched weighs on every bit alike;
  // what is between the first and the last is no worse than one of them.
  return stretch == 0 || (fits(0) && fits(1));
}

Nanos Receiver::decided_at(const Timing& timing, Nanos stretch, bool whole_chars) const {
  if (timing.chars() == 0) return never;
  const std::uint32_t stop = 1 + line_.data_bits + (line_.parity == Parity::none ? 0 : 1);
  const std::uint32_t most = spec_.votes / 2;  // one more than this is more than half of them
  const Nanos later = std::max<Nanos>(0, stretch);
  const Nanos earlier = std::min<Nanos>(0, stretch);
  // Votes and edges drift apart in proportion, so that what is between the first and the last bit is no worse than one
  // of them. Rounding: a vote comes up to 1 ns later than it is looked up here, an edge up to 1 ns earlier.
  constexpr Nanos slack = 3;
  const Nanos stop_from = half_edge(0, std::uint64_t{2} * stop, timing.period()) + later + slack;
  const Nanos start_to = half_edge(0, 2, timing.period()) + earlier - slack;
  const Nanos data_to = half_edge(0, std::uint64_t{2} * stop, timing.period()) + earlier - slack;
  const Nanos stop_to = half_edge(0, std::uint64_t{2} * (stop + 1), timing.period()) + earlier - slack;
  const std::uint64_t vote = spec_.first_vote;
  const std::uint64_t data_vote = std::uint64_t{stop - 1} * spec_.oversampling + vote;
  const std::uint64_t stop_vote = std::uint64_t{stop} * spec_.oversampling + vote;
  const std::uint32_t last = timing.chars() - 1;
  // Of the votes over each bit those from the first on, or those up to the last, are inside of it and decide. How far
  // the last sample before a character's edge may lie from the edge for that:
  struct Inside {
    Nanos least;
    Nanos most;
    Nanos most_but_last;  // of a character behind which another comes
  };
  const auto inside = [&](std::uint64_t first) {
    const Nanos least = std::max(later + slack - sample_at(vote + first), stop_from - sample_at(stop_vote + first));
    const Nanos up_to =
        std::min(start_to - sample_at(vote + first + most), data_to - sample_at(data_vote + first + most));
    return Inside{least, up_to, std::min(up_to, stop_to - sample_at(stop_vote + first + most))};
  };
  const std::array<Inside, 2> ways{inside(0), inside(spec_.votes - most - 1)};
  Nanos decided = never;
  for (std::uint32_t i = 0; i <= last; ++i) {
    const Nanos edge = timing.char_start(i);
    const std::uint64_t seen = first_sample_at_or_after(edge);
    if (seen == 0) return never;
    const Nanos before = sample_at(seen - 1) - edge;
    if (std::none_of(ways.begin(), ways.end(), [&](const Inside& way) {
          return before >= way.least && before <= (i == last ? way.most : way.most_but_last);
        })) {
      return never;
    }
    if (!whole_chars && i != last) continue;
    const Nanos over = sample_at(seen - 1 + stop_vote + spec_.votes - 1);
    const Nanos end = timing.char_end(i);
    if (whole_chars && (over > end || (over == end && i != last))) return never;
    decided = std::max(over, end);
  }
  return decided;
}

void Receiver::receive(const Levels& levels, const Timing& timing, Nanos until, std::vector<SampledChar>& chars) {
  if (!idle()) {
    // Half a character is held: what comes now is its continuation.
    joined_ = held_;
    for (const Nanos toggle : levels.toggles()) joined_.toggle(toggle);
    const Nanos from = held_.toggles().front();
    undecided_until_ = never;
    scan(joined_, timing, from, until, chars);
    return;
  }
  const auto toggles = levels.toggles();
  if (toggles.empty()) return;
  scan(levels, timing, std::max(resume_, toggles.front()), until, chars);
}

void Receiver::decide_held(std::vector<SampledChar>& chars) {
  joined_ = held_;
  const Nanos until = undecided_until_;
  undecided_until_ = never;
  scan(joined_, Timing{}, joined_.toggles().front(), until, chars);
}

void Receiver::reset() {
  held_.clear();
  undecided_until_ = never;
}

void Receiver::scan(const Levels& levels, const Timing& timing, Nanos from, Nanos until,
                    std::vector<SampledChar>& chars) {
  if (after_.empty()) {
    const std::uint32_t bits = 2 + line_.data_bits + (line_.parity == Parity::none ? 0 : 1);
    for (std::uint32_t k = 0; k < bits * spec_.oversampling + spec_.first_vote + spec_.votes; ++k)
      after_.push_back(sample_at(k));
  }
  const auto toggles = levels.toggles();
  const std::uint32_t data_and_parity = line_.data_bits + (line_.parity == Parity::none ? 0 : 1);
  std::size_t next = static_cast<std::size_t>(std::lower_bound(toggles.begin(), toggles.end(), from) - toggles.begin());
  std::size_t passed = next;  // toggles before the sample last looked at; samples are looked at in rising order
  const auto high_at = [&](Nanos at) {
    while (passed < toggles.size() && toggles[passed] <= at) ++passed;
    return passed % 2 == 0;
  };
  while (next < toggles.size()) {
    if (next % 2 != 0) {  // a rising edge: the line was low when looking began
      ++next;
      continue;
    }
    const Nanos edge = toggles[next];
    const std::uint64_t seen = first_sample_at_or_after(edge);
    passed = next;
    const bool high_before = seen == 0 || sample_at(seen - 1) < from || levels.at(sample_at(seen - 1));
    const bool low_now = !high_at(sample_at(seen));
    if (!low_now || !high_before) {
      ++next;
      continue;
    }
    const Nanos before_seen = seen == 0 ? 0 : sample_at(seen - 1);
    std::uint64_t last_counted =
        0;  // last vote counted while the matter was open: looking for the next edge may begin there
    const auto vote = [&](std::uint32_t bit, bool& doubtful) {
      const std::uint32_t offset = bit * spec_.oversampling + spec_.first_vote;
      const std::uint64_t first = seen - 1 + offset;
      if (seen > 0) {
        const bool level = high_at(before_seen + after_[offset]);
        if (passed == toggles.size() || toggles[passed] > before_seen + after_[offset + spec_.votes - 1] + 1) {
          last_counted = first + spec_.votes / 2;  // all votes are alike: with this one more than half are in
          return level;
        }
      }
      std::uint32_t high = 0;
      std::uint32_t low = 0;
      for (std::uint32_t v = 0; v < spec_.votes; ++v) {
        if (2 * std::max(high, low) <= spec_.votes) last_counted = first + v;
        ++(high_at(sample_at(first + v)) ? high : low);
      }
      doubtful = doubtful || (high != 0 && low != 0);
      return high > low;
    };
    const auto last_vote = [&](std::uint32_t bit) {
      return sample_at(seen - 1 + static_cast<std::uint64_t>(bit) * spec_.oversampling + spec_.first_vote +
                       spec_.votes - 1);
    };
    const std::uint32_t stop = data_and_parity + 1;
    if (last_vote(stop) > until) {
      held_.clear();
      for (std::size_t i = next; i < toggles.size(); ++i) held_.toggle(toggles[i]);
      undecided_until_ = last_vote(stop);
      return;
    }
    SampledChar sampled;
    if (vote(0, sampled.doubtful)) {  // a spike, no start bit
      from = sample_at(last_counted);
    } else {
      std::uint32_t bits = 0;
      for (std::uint32_t bit = 0; bit < data_and_parity; ++bit) {
        if (vote(bit + 1, sampled.doubtful)) bits |= 1U << bit;
      }
      const std::uint32_t data = bits & ((1U << line_.data_bits) - 1U);
      sampled.heard.byte = static_cast<std::uint8_t>(data);
      if (line_.parity != Parity::none) {
        const bool odd_ones = std::popcount(data) % 2 != 0;
        const bool parity_bit = (bits >> line_.data_bits) != 0;
        sampled.heard.parity_error = parity_bit != ((line_.parity == Parity::even) == odd_ones);
      }
      sampled.heard.framing_error = !vote(stop, sampled.doubtful);
      sampled.heard.start = edge;
      sampled.heard.end = timing.end_of_char_at(last_vote(stop));
      chars.push_back(sampled);
      from = sample_at(last_counted);
    }
    resume_ = from;
    next = static_cast<std::size_t>(std::upper_bound(toggles.begin(), toggles.end(), from) - toggles.begin());
  }
}

}  // namespace hopbench
