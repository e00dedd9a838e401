// A monitoring node: passes on what is not for it, measures and answers what is. What it does and how fast comes from
// its kind.
#pragma once

#include <cstdint>
#include <deque>
#include <functional>
#include <map>
#include <optional>
#include <queue>
#include <string>
#include <vector>

#include "engine/event_queue.h"
#include "line/sojourn.h"
#include "nodes/description.h"
#include "nodes/parcel.h"
#include "nodes/quantity.h"
#include "nodes/values.h"
#include "nodes/world.h"

namespace hopbench {

class Node final : public Station, public Actor, private PayloadSource, private Protocol::RegisterWriter {
 public:
  Node(World& world, std::size_t index, Period period);

  [[nodiscard]] std::size_t index() const { return index_; }
  [[nodiscard]] const KindSpec& kind() const { return *kind_; }
  [[nodiscard]] Period period() const { return period_; }

  /// In reset or starting up.
  [[nodiscard]] bool off_at(Nanos at) const { return off_in(at, at + 1); }
  [[nodiscard]] bool off_in(Nanos from, Nanos to) const;
  [[nodiscard]] NodeState state_at(Nanos at) const;
  /// Start of the first time off within [from, to); `to` if there is none.
  [[nodiscard]] Nanos first_off_in(Nanos from, Nanos to) const;
  /// Whether a frame goes no further than here: it is for this node alone, or nobody may pass it on.
  [[nodiscard]] bool takes_off(const Frame& frame) const;

  void on_heard(Nanos now, std::uint16_t link, const Heard& heard) override;
  void on_event(Nanos now, std::uint64_t what) override;
  [[nodiscard]] bool is_over(Nanos /*at*/, std::uint64_t what) const override {
    return what < back_word && (what >> 32U) != generation_;
  }

  // For whoever repeats exchanges without events (nodes/repeater.h). ------------------------------------
  [[nodiscard]] std::uint64_t frames_heard() const { return frames_heard_; }
  void count_heard(std::uint64_t frames) { frames_heard_ += frames; }
  /// The answer to `ask`, filled at `now` from values taken at `taken_at` (never: at `now`). False if it cannot be
  /// filled.
  bool make_answer(const Frame& ask, Nanos now, Nanos taken_at, Frame& answer);
  /// Free running: when the newest finished snapshot was taken, for an answer begun at `ready`.
  [[nodiscard]] Nanos newest_snapshot(Nanos ready) const;

 private:
  static constexpr std::int32_t room_mc = 25'000;  // a room, until there is heat
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
  [[nodiscard]] std::int64_t supply_mv() const { return kind_->levels.level_uv / 1000 * kind_->cells; }

  std::optional<std::int64_t> quantity(std::string_view name, std::uint32_t index) override;
  std::optional<std::uint64_t> argument(std::string_view field) override;
  void write(std::string_view quantity, std::uint32_t index, std::int64_t value) override;

  World* world_;
  std::size_t index_;
  const NodeSpec* spec_;
  const KindSpec* kind_;
  Period period_;
  std::uint64_t hash_;
  CellValues values_;
  std::uint64_t serial_number_;
  std::vector<Interval> off_;
  std::vector<std::uint32_t> topics_;  // known; empty: all
  std::vector<std::uint32_t> measured_topics_;

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
  std::vector<PayloadValue> read_;
};

}  // namespace hopbench
