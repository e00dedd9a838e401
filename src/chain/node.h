// A monitoring node: passes on what is not for it, measures and answers what is. What it does and how fast comes from
// its kind.
#pragma once

#include <algorithm>
#include <cstdint>
#include <deque>
#include <functional>
#include <map>
#include <optional>
#include <queue>
#include <string>
#include <vector>

#include "engine/event_queue.h"
#include "line/coupling.h"
#include "scenario/description.h"
#include "stations/off_times.h"
#include "chain/parcel.h"
#include "stations/processor.h"
#include "scenario/quantity.h"
#include "stations/values.h"
#include "chain/world.h"
#include "pack/pack.h"

namespace hopbench {

class Node final : public Station, public Actor, private PayloadSource, private Protocol::RegisterWriter {
 public:
  Node(World& world, std::size_t index, const ClockSpec& clock);

  [[nodiscard]] std::size_t index() const { return index_; }
  [[nodiscard]] const KindSpec& kind() const { return *kind_; }
  /// One bit by its clock, as warm and as well supplied as it is now.
  [[nodiscard]] Period period() const { return period_; }
  [[nodiscard]] std::int32_t off_nominal_ppb() const;
  [[nodiscard]] const Processor& processor() const { return processor_; }

  // What goes on around it (chain/surroundings.h). ---------------------------------------------------------
  /// The board is as this from now on.
  void take_up(const BoardState& board);
  /// Falls silent in [from, to), for a reason that is not the scenario's faults; `to` never: until come_back().
  void fall_silent(Nanos from, Nanos to, Cause why);
  /// The supply is there again from `at` on; after its start-up time it goes on.
  void come_back(Nanos at);
  /// Whether it draws the current of a board that starts at any time within [from, to).
  [[nodiscard]] bool starts_in(Nanos from, Nanos to) const { return off_.starts_in(from, to, start_up()); }
  /// Cells that are bled now, a bit each.
  [[nodiscard]] std::uint32_t bleeding() const;
  /// Appends an edge train for each edge of its chopped bleeds; windows are for the line to say.
  void bleed_edges(std::vector<PulseTrain>& trains) const;

  /// Whether something that begins to arrive at `at` finds it asleep.
  [[nodiscard]] bool sleeps_at(Nanos at) const {
    return kind_->sleep_after > 0 && at - last_edge_ > kind_->sleep_after;
  }
  [[nodiscard]] bool ever_sleeps() const { return kind_->sleep_after > 0; }
  /// Edges came in until `at`.
  void heard_edges(Nanos at) { last_edge_ = std::max(last_edge_, at); }

  /// Without supply, in reset or starting up.
  [[nodiscard]] bool off_at(Nanos at) const { return off_in(at, at + 1); }
  [[nodiscard]] bool off_in(Nanos from, Nanos to) const { return off_.any_in(from, to); }
  /// Why it is off in [from, to): for a fault of the scenario, `injected`.
  [[nodiscard]] Cause off_because(Nanos from, Nanos to, Cause injected) const;
  [[nodiscard]] NodeState state_at(Nanos at) const;
  /// Start of the first time off within [from, to); `to` if there is none.
  [[nodiscard]] Nanos first_off_in(Nanos from, Nanos to) const { return off_.first_in(from, to); }
  /// Whether a frame goes no further than here: it is for this node alone, or nobody may pass it on.
  [[nodiscard]] bool takes_off(const Frame& frame) const;

  void on_heard(Nanos now, std::uint16_t link, const Heard& heard) override;
  void on_event(Nanos now, std::uint64_t what) override;
  [[nodiscard]] bool is_over(Nanos /*at*/, std::uint64_t what) const override {
    return what < back_word && (what >> 32U) != generation_;
  }

  // For whoever repeats exchanges without events (chain/repeater.h). ------------------------------------
  [[nodiscard]] std::uint64_t frames_heard() const { return frames_heard_; }
  void count_heard(std::uint64_t frames) { frames_heard_ += frames; }
  /// The answer to `ask`, filled at `now` from values taken at `taken_at` (never: at `now`). False if it cannot be
  /// filled.
  bool make_answer(const Frame& ask, Nanos now, Nanos taken_at, Frame& answer);
  /// What it measures now is wrong, for its cells are bled meanwhile.
  [[nodiscard]] bool measures_wrong() const {
    return kind_->measurement.bleed == BleedWhile::kept_on && bleeding() != 0;
  }
  /// Free running: when the newest finished snapshot was taken, for an answer begun at `ready`.
  [[nodiscard]] Nanos newest_snapshot(Nanos ready) const;

 private:
  static constexpr std::uint64_t reset_word = ~std::uint64_t{0};
  static constexpr std::uint64_t back_word = reset_word - 1;
  enum class Work : std::uint8_t { idle, pass_on, answer, refuse };
  struct Job {
    Work work = Work::idle;
    std::uint16_t link = 0;
    Parcel parcel;  // to pass on; for an answer, the ask
    Nanos asked_at = 0;
    Nanos taken_at = never;
    Nanos held = 0;
    Nanos busy = 0;  // the processor had something else to do for this long
    std::int64_t off_by_uv = 0;
    Refusal reason = Refusal::unknown_topic;
  };

  [[nodiscard]] Blame blame_here(Cause cause) const {
    return {cause, static_cast<std::uint16_t>(index_), nobody, no_fault};
  }
  [[nodiscard]] bool claims(const Frame& frame) const;
  [[nodiscard]] bool knows(std::uint32_t topic) const;
  [[nodiscard]] bool passes(const Frame& frame) const;  // as far as its topic goes
  void on_damaged(std::uint16_t link, const Heard& heard);
  void pass_on(Nanos now, std::uint16_t link, const Parcel& parcel);
  void act(Nanos now, const Parcel& ask, bool answers);
  void answer_later(Nanos now, const Parcel& ask);
  void refuse_later(Nanos now, const Parcel& ask, Refusal reason);
  void write_fields(const Frame& ask);
  void queue_job(Nanos at, Job&& job);
  void job_is_over(std::uint32_t place);
  void do_answer(const Job& job);
  void restart();
  void tell_processor();
  [[nodiscard]] Nanos start_up() const { return std::max<Nanos>(1, kind_->start_up); }
  void add_off(Nanos from, Nanos to, Cause why);
  [[nodiscard]] Nanos settle_time() const;
  [[nodiscard]] const Pack& pack() const { return world_->surroundings->pack(); }

  std::optional<std::int64_t> quantity(std::string_view name, std::uint32_t index) override;
  std::optional<std::uint64_t> argument(std::string_view field) override;
  void write(std::string_view quantity, std::uint32_t index, std::int64_t value) override;

  World* world_;
  std::size_t index_;
  const NodeSpec* spec_;
  const KindSpec* kind_;
  ClockSpec clock_;
  std::uint64_t hash_;
  Period period_;
  Processor processor_;
  CellValues values_;
  std::uint64_t serial_number_;
  OffTimes off_;
  std::vector<Nanos> chop_phases_;
  std::vector<std::uint32_t> topics_;  // known; empty: all
  std::vector<std::uint32_t> measured_topics_;

  BoardState board_;
  Nanos last_edge_ = 0;

  // kept until a reset
  std::optional<std::uint64_t> address_;
  Nanos started_ = 0;
  Nanos measuring_until_ = 0;
  std::uint64_t frames_heard_ = 0;
  std::uint64_t check_failures_ = 0;
  std::map<Quantity, std::int64_t> settings_;
  std::deque<Job> jobs_;  // they stay where they are
  std::priority_queue<std::uint32_t, std::vector<std::uint32_t>, std::greater<>> free_jobs_;  // places to use again
  std::uint32_t generation_ = 0;

  // while a payload is being filled
  Nanos fill_taken_at_ = 0;
  Nanos fill_now_ = 0;
  std::uint32_t cells_filled_ = 0;
  std::int64_t off_by_uv_ = 0;  // the most that a value told is off
  std::vector<PayloadValue> read_;
};

}  // namespace hopbench
