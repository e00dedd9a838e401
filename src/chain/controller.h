// The controller of a scenario: asks by its plan, waits, asks again, and decides what became of each exchange.
#pragma once

#include <cstdint>
#include <optional>
#include <span>
#include <vector>

#include "engine/event_queue.h"
#include "stations/balancer.h"
#include "scenario/description.h"
#include "chain/parcel.h"
#include "stations/processor.h"
#include "chain/world.h"
#include "stations/wrapping_clock.h"

namespace hopbench {

class Controller final : public Station, public Actor, private PayloadSource {
 public:
  Controller(World& world, Period period);

  /// Begins with the plan at time 0. `most`: no exchange is begun after that many.
  void begin();
  void ask_no_more_than(std::uint64_t most) { most_ = most; }
  /// True if the plan was held up by ask_no_more_than() and may go on.
  void resume();

  void on_heard(Nanos now, std::uint16_t link, const Heard& heard) override;
  void on_event(Nanos now, std::uint64_t what) override;

  // For whoever repeats exchanges without events (chain/repeater.h). ------------------------------------
  /// Where it is in its plan.
  struct Place {
    std::size_t cursor = 0;
    std::uint64_t round = 0;
  };
  [[nodiscard]] Place place() const { return {cursor_, round_}; }
  void go_back_to(const Place& place) {
    cursor_ = place.cursor;
    round_ = place.round;
  }
  /// Between two exchanges of the plan, and nothing but the plan decides what comes next.
  [[nodiscard]] bool follows_plan() const {
    return state_ == State::between && exchange_ == no_exchange && !held_up_ && to_ask_.empty() && plan_size_ > 0;
  }
  /// The entry that is asked next; the plan moves on by it.
  [[nodiscard]] std::uint32_t pick();
  [[nodiscard]] std::uint64_t turn_of(std::uint32_t entry) const { return entries_[entry].turn; }
  [[nodiscard]] std::uint64_t hash_of(std::uint32_t entry) const { return entries_[entry].hash; }
  [[nodiscard]] std::uint32_t topic_of(std::uint32_t entry) const { return entries_[entry].topic; }
  [[nodiscard]] std::uint64_t most() const { return most_; }
  /// The ask that this entry would send now; the next exchange number is taken for it.
  [[nodiscard]] const Frame& make_ask(std::uint32_t entry);
  /// The entry was asked at `start`, answered well at once, and the last edge was heard at `last_edge`. `with_number`:
  /// an exchange number has to be taken for it too.
  void asked_and_answered(std::uint32_t entry, Nanos start, Nanos last_edge, bool with_number);
  /// In the exchange at hand, or the last one, no time-out has passed that would have led to another try.
  [[nodiscard]] bool at_first_try() const { return attempt_ == 0; }
  [[nodiscard]] Nanos last_edge() const { return last_edge_; }
  /// From now on each answer that is taken is kept in `to` as well; null: no more.
  void record_answer(Frame* to) { answer_record_ = to; }
  void ask_next_at(Nanos at) { wake_at(at, next_exchange); }

  [[nodiscard]] bool is_over(Nanos at, std::uint64_t what) const override;

  [[nodiscard]] const Processor& processor() const { return processor_; }
  /// From `now` until this instant neither its other duties nor its clock can come in between an exchange that takes
  /// its time as planned; `now` itself if they may.
  [[nodiscard]] Nanos calm_until(Nanos now) const;
  /// It balances, so that what nodes tell of their cells matters to it.
  [[nodiscard]] bool balances() const { return balancer_.has_value(); }
  /// It has heard this answer of `node` to an ask with this payload, at `at`.
  void learn(std::uint16_t node, const Frame& answer, std::span<const std::uint8_t> asked, Nanos at);

  /// All entries of its plan, enrolment and balancing included, in the order in which RunInfo lists them.
  [[nodiscard]] static std::vector<PlanEntry> entries_of(const ChainDescription& chain);

 private:
  enum class State : std::uint8_t { between, waiting, pausing };  // pausing: before a retry
  enum Kind : std::uint64_t { next_exchange = 0, deadline = 1, retry = 2, close_late = 3, balance = 4 };

  struct Entry {
    PlanEntry plan;
    std::uint64_t hash = 0;
    std::uint32_t topic = 0;
    std::uint64_t turn = 0;
    bool enrols = false;
    bool bleeds = false;
  };

  void next(Nanos now);
  void begin_exchange(Nanos now, std::uint32_t entry);
  void send_try(Nanos now);
  void try_failed(Nanos now);
  void finish(Nanos now, Outcome outcome);
  void plan_next(Nanos now);
  void take_number();
  void wake_at(Nanos at, Kind kind);
  [[nodiscard]] bool fits(const Frame& frame) const;
  void look_at_balance(Nanos now);
  [[nodiscard]] bool accept(Nanos now, const Heard& heard);
  [[nodiscard]] Blame late_blame(const Trace& trace, const Attempt& attempt, const Flight& flight) const;
  void came_late(Nanos now, const Heard& heard);
  [[nodiscard]] Nanos pause_before_retry() const;

  std::optional<std::int64_t> quantity(std::string_view name, std::uint32_t index) override;
  std::optional<std::uint64_t> argument(std::string_view field) override;

  World* world_;
  const ControllerSpec* spec_;
  std::uint64_t hash_;
  std::vector<Entry> entries_;
  std::size_t plan_size_;                   // entries beyond it enrol, one a node
  std::vector<std::uint32_t> enrol_entry_;  // by node; 0xffffffff none
  std::vector<std::uint32_t> unanswered_;   // by node, in a row
  std::vector<std::uint32_t> bleed_entry_;  // by node; empty without balancing
  std::vector<std::uint32_t> to_ask_;       // entries asked before the plan goes on, in order

  State state_ = State::between;
  bool held_up_ = false;
  std::uint64_t most_ = ~std::uint64_t{0};
  std::size_t cursor_ = 0;
  std::uint64_t round_ = 0;
  std::uint64_t exchange_limit_;
  std::uint64_t ticket_ = 0;
  std::uint32_t generation_ = 0;  // of timers

  // the exchange at hand
  std::uint64_t exchange_ = no_exchange;
  std::uint32_t entry_ = 0;
  std::uint64_t expected_sender_ = 0;
  Frame ask_;
  std::uint8_t attempt_ = 0;
  Nanos started_ = 0;
  Nanos last_edge_ = -1;
  bool garbled_ = false;
  bool mismatched_ = false;
  Outcome worst_ = Outcome::lost;
  const PlanEntry* filling_ = nullptr;
  Processor processor_;
  WrappingClock clock_;
  std::optional<Balancer> balancer_;
  Nanos deadline_ = 0;  // of the try at hand
  std::uint64_t asked_mask_ = 0;
  bool cut_by_clock_ = false;  // its clock goes round during the try at hand
  std::vector<PayloadValue> read_;
  Frame* answer_record_ = nullptr;
};

}  // namespace hopbench
