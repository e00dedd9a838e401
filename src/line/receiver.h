// A serial receiver, sample by sample: it finds a falling edge on its own grid of samples, then judges each bit by a
// vote around its middle, by its own clock. What a frame turns into under clock mismatch, noise and cuts comes from
// here.
#pragma once

#include <cstdint>
#include <vector>

#include "base/time.h"
#include "bus/decoder.h"
#include "bus/description.h"
#include "line/levels.h"
#include "line/signal.h"
#include "line/spec.h"

namespace hopbench {

/// A character with what the votes said.
struct SampledChar {
  HeardChar heard;
  bool doubtful = false;  // some vote was not unanimous
};

class Receiver {
 public:
  /// `period`: one bit by the receiver's clock.
  Receiver(const LineCoding& line, const ReceiverSpec& spec, Period period);

  /// Samples `levels`, known up to `until` and idle from then on as far as anybody can tell, and appends the characters
  /// that are certain by then. `timing` gives the characters' ends: a character ends where the sent character ends in
  /// which its last sample lies. Levels must not begin before those of the last call ended.
  void receive(const Levels& levels, const Timing& timing, Nanos until, std::vector<SampledChar>& chars);

  /// Half a character is held, and stays undecided until this instant; `never` if none is.
  [[nodiscard]] Nanos undecided_until() const { return undecided_until_; }
  /// The line stayed idle until undecided_until(): appends the held character.
  void decide_held(std::vector<SampledChar>& chars);
  [[nodiscard]] bool idle() const { return undecided_until_ == never; }
  void reset();

  [[nodiscard]] Period period() const { return period_; }
  /// Its clock goes otherwise from now on. What is half heard is judged by the new one.
  void set_period(Period period);

  /// True only if a sender with bits of `sent` is certainly heard well, whatever it says: the first and the last
  /// vote of each bit fall inside that bit, at every phase of the sampling grid. `stretch`: by which low levels are
  /// longer than sent.
  [[nodiscard]] bool surely_in_step(Period sent, Nanos stretch) const;
  /// The same for one frame that arrives undisturbed with `timing`, at the phase at which it meets the grid: when the
  /// vote over its last character is over, which is its end or a little later; `never` if it may be heard otherwise
  /// than sent. `whole_chars`: also `never` if the votes over some character are over only after its end.
  [[nodiscard]] Nanos decided_at(const Timing& timing, Nanos stretch, bool whole_chars) const;

 private:
  [[nodiscard]] Nanos sample_at(std::uint64_t k) const;
  [[nodiscard]] std::uint64_t first_sample_at_or_after(Nanos at) const;
  void scan(const Levels& levels, const Timing& timing, Nanos from, Nanos until, std::vector<SampledChar>& chars);

  LineCoding line_;
  ReceiverSpec spec_;
  Period period_ = 0;
  double samples_per_ns_ = 0;
  /// sample_at(k) for the samples of one character: sample_at(n + k) - sample_at(n) is that or 1 more. Empty until they
  /// are wanted: most receivers hear frames of which nobody needs to look at levels.
  std::vector<Nanos> after_;
  unsigned shift_ = 0;  // if oversampling is a power of two: sample k is at k * period >> shift
  Levels held_;         // since the first edge of the held character
  Levels joined_;       // what is scanned while held_ may change
  Nanos resume_ = 0;    // where looking for an edge goes on
  Nanos undecided_until_ = never;
};

}  // namespace hopbench
