// Makes a run small: hands on what tells something, and of the rest only what it comes to.
#pragma once

#include <cstdint>
#include <deque>
#include <functional>
#include <memory>
#include <vector>

#include "measure/measures.h"
#include "seen/forwarding_sink.h"

namespace hopbench {

/// Hands on
/// - every exchange that is not healthy (seen/healthy.h);
/// - `around` exchanges before and after each of these;
/// - of the others those whose number is divisible by `keep_one_in`, marked as standing for so many (0: none);
/// - everything that is no exchange (strays, states, gaps, ...).
/// All other exchanges come as tallies, each in the place of the last exchange in it: before the next record that is
/// handed on, and at the latest after 1000 exchanges or ten minutes of the run, so that a writer that is stopped loses
/// little. The measures of what is handed on are those of all, field for field.
///
/// Of repeats it takes at most those that it need not hold. Exchanges are held as copies while it is not known whether
/// a failure follows, and what came between them with them: at most `around` and 64 others; beyond that the oldest are
/// let go. Memory depends on nothing else.
class Thinner final : public ForwardingSink {
 public:
  /// `to` must outlive it.
  Thinner(Sink& to, std::uint32_t keep_one_in, std::uint32_t around);
  ~Thinner();
  Thinner(const Thinner&) = delete;
  Thinner& operator=(const Thinner&) = delete;

  /// What is handed on is to stay within `most` bytes, and `used` tells how many it takes so far. Each time that half
  /// of what was left is used up it gets scarcer: one in ten times as many healthy exchanges, and tallies over four
  /// times as many; from the second time on no healthy ones around others; from the sixth on everything but states,
  /// gaps, commands and notes is in tallies. Their measures are still those of all.
  void keep_within(std::uint64_t most, std::function<std::uint64_t()> used);

  /// Hands on at once what is held and the tally under way: all that was told is with the listener then.
  void hand_over() { (void)before_handing_on(); }

  [[nodiscard]] std::uint64_t kept() const { return kept_; }        // exchanges handed on
  [[nodiscard]] std::uint64_t tallied() const { return tallied_; }  // exchanges in tallies

  void begin(const RunInfo& run) override;
  void exchange(const ExchangeObs& obs, const ExchangeTruth* truth) override;
  void stray(const Stray& stray) override;
  void arrival(const Arrival& arrival) override;
  /// From the next that is kept on; after a failure, what comes next.
  [[nodiscard]] std::uint64_t whole_from() const override;
  /// Those around a failure that comes. Never of its listener: that hears no repeats.
  [[nodiscard]] std::uint32_t whole_before() const override { return around_; }
  void again(std::span<const ExchangeObs> models, std::span<const Repeat> repeats) override;
  /// Of a run that was thinned before: goes into the tally under way.
  void tally(const Tally& tally) override;
  void state(const State& state) override;
  void gap(const Gap& gap) override;
  void dropped(const Dropped& dropped) override;
  void command(const Remark& command) override;
  void note(const Remark& note) override;

 private:
  struct Held;

  /// What is held, and the tally under way, come before it.
  bool before_handing_on() override;
  Held& hold();
  template <class T, class Copy>
  void other(const T& what, Copy copy);
  void let_go_oldest();
  void let_all_go();
  void keep_all();
  void sample_or_tally(const ExchangeObs& obs, const ExchangeTruth* truth);
  void hand_on(const ExchangeObs& obs, const ExchangeTruth* truth);
  void counted(std::uint64_t first_number, std::uint64_t last_number, Nanos from, Nanos to, std::uint64_t exchanges);
  [[nodiscard]] bool is_full(const Tally& tally) const;
  /// Whether a stray before its record belonged to it.
  bool had_stray(std::uint64_t number);
  void told(std::uint64_t number);
  void flush();
  void look_at_room();
  [[nodiscard]] bool only_tallies() const { return scarcity_ >= 6; }

  std::uint32_t keep_one_in_;
  std::uint32_t around_;
  std::uint64_t most_bytes_ = 0;  // 0: as many as there are
  std::function<std::uint64_t()> used_bytes_;
  unsigned scarcity_ = 0;  // how often half of what was left was used up
  std::uint64_t tally_exchanges_;
  Nanos tally_span_;
  std::uint64_t after_ = 0;  // exchanges still to be handed on after a failure
  std::uint64_t next_kept_ = 0;
  std::vector<std::uint64_t> strays_of_;  // numbers of exchanges, the newest last
  std::uint64_t kept_ = 0;
  std::uint64_t tallied_ = 0;
  MeasureFold fold_;
  Tally under_way_;
  std::vector<std::uint8_t> bytes_;
  std::deque<std::unique_ptr<Held>> held_;
  std::size_t held_exchanges_ = 0;
  std::vector<std::unique_ptr<Held>> spare_;
};

}  // namespace hopbench
