// The controller of a scenario: asks by its plan, waits, asks again, and decides what became of each exchange. It
// decides as a real one must: by exchange number where the bus has one, address, topic, order, and its own clock.
#pragma once

#include <algorithm>
#include <cstdint>
#include <optional>
#include <span>
#include <vector>

#include "base/archive.h"
#include "base/luck.h"
#include "bus/protocol.h"
#include "scenario/description.h"
#include "scenario/link_table.h"
#include "stations/balancer.h"
#include "stations/controller_desk.h"
#include "stations/hearing.h"
#include "stations/processor.h"
#include "stations/wrapping_clock.h"

namespace hopbench {

class Controller final : public Station, private PayloadSource {
 public:
  /// All must outlive the controller.
  Controller(const Protocol& protocol, const ChainDescription& chain, const LinkTable& table, const Luck& luck,
             ControllerDesk& desk);

  /// Begins with the plan now.
  void begin();
  /// If the plan was held up because no more exchanges were to be begun, it may go on.
  void resume();

  void on_hearing(Nanos now, const Hearing& hearing) override;
  void on_wake(Nanos now, std::uint64_t what);
  /// A wake-up that was asked for is for nothing any more.
  [[nodiscard]] bool is_over(std::uint64_t what) const;
  /// One that may be asked for while no exchange is open.
  [[nodiscard]] bool may_be_due_in_quiet(std::uint64_t what) const;
  /// What it goes on with between two exchanges.
  void keep(Archive& archive);

  // For whoever repeats exchanges without events (chain/repeater.h). ------------------------------------
  /// Where it is in its plan.
  struct PlanPlace {
    std::size_t cursor = 0;
    std::uint64_t round = 0;
  };
  [[nodiscard]] PlanPlace place() const { return {cursor_, round_}; }
  void go_back_to(const PlanPlace& place) {
    cursor_ = place.cursor;
    round_ = place.round;
  }
  /// Between two exchanges of the plan, and nothing but the plan decides what comes next.
  [[nodiscard]] bool follows_plan() const {
    return state_ == State::between && !held_up_ && to_ask_.empty() && plan_size_ > 0;
  }
  /// The entry that is asked next; the plan moves on by it.
  [[nodiscard]] std::uint32_t pick();
  [[nodiscard]] std::uint64_t turn_of(std::uint32_t entry) const { return entries_[entry].turn; }
  [[nodiscard]] std::uint64_t hash_of(std::uint32_t entry) const { return entries_[entry].hash; }
  [[nodiscard]] std::uint32_t topic_of(std::uint32_t entry) const { return entries_[entry].topic; }
  /// The ask of this entry with this exchange number.
  [[nodiscard]] const Frame& make_ask(std::uint32_t entry, std::uint64_t ticket);
  /// The entry was asked at `start`, answered well at once, and the last edge was heard at `last_edge`. Returns the
  /// exchange number that was taken for it.
  std::uint64_t asked_and_answered(std::uint32_t entry, Nanos start, Nanos last_edge);
  /// In the exchange at hand, or the last one, no time-out has passed that would have led to another try.
  [[nodiscard]] bool at_first_try() const { return attempt_ == 0; }
  [[nodiscard]] Nanos last_edge() const { return last_edge_; }
  /// When it asks next, after an exchange that began at `started` and is decided at `decided`.
  [[nodiscard]] Nanos next_after(Nanos started, Nanos decided) const {
    return std::max({decided, started + spec_->pace, decided + spec_->gap});
  }
  void ask_next_at(Nanos at) { wake_at(at, next_exchange); }

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
  enum Kind : std::uint64_t { next_exchange = 0, deadline = 1, retry = 2, balance = 3 };

  struct Entry {
    PlanEntry plan;
    std::uint64_t hash = 0;
    std::uint32_t topic = 0;
    std::uint64_t turn = 0;
    bool enrols = false;
    bool bleeds = false;
  };

  void keep_entry(Archive& archive, Entry& entry);
  void next(Nanos now);
  void begin_exchange(Nanos now, std::uint32_t entry);
  void send_try();
  void try_failed(Nanos now, Cause why);
  void finish(Nanos now, Outcome outcome);
  std::uint64_t take_number();
  void wake_at(Nanos at, Kind kind);
  [[nodiscard]] bool is_open() const { return state_ != State::between; }
  [[nodiscard]] bool asks_everyone() const { return entries_[entry_].plan.node == nobody; }
  [[nodiscard]] Frame as_answer(const Frame& frame) const;
  [[nodiscard]] bool is_own_ask(const Frame& frame) const;
  [[nodiscard]] bool fits(const Frame& answer) const;
  [[nodiscard]] bool accept(Nanos now, const Hearing& hearing);
  void look_at_balance(Nanos now);
  [[nodiscard]] Nanos pause_before_retry() const;

  std::optional<std::int64_t> quantity(std::string_view name, std::uint32_t index) override;
  std::optional<std::uint64_t> argument(std::string_view field) override;

  const Protocol* protocol_;
  const ChainDescription* chain_;
  const LinkTable* table_;
  const ControllerSpec* spec_;
  Luck luck_;
  ControllerDesk* desk_;
  std::uint64_t hash_;
  std::vector<Entry> entries_;
  std::size_t plan_size_;                   // entries beyond it enrol, one a node
  std::vector<std::uint32_t> enrol_entry_;  // by node; 0xffffffff none
  std::vector<std::uint32_t> unanswered_;   // by node, in a row
  std::vector<std::uint32_t> bleed_entry_;  // by node; empty without balancing
  std::vector<std::uint32_t> to_ask_;       // entries asked before the plan goes on, in order

  State state_ = State::between;
  bool held_up_ = false;
  std::size_t cursor_ = 0;
  std::uint64_t round_ = 0;
  std::uint64_t exchange_limit_;
  std::uint64_t ticket_ = 0;
  std::uint32_t generation_ = 0;  // of timers

  // the exchange at hand
  std::uint32_t entry_ = 0;
  std::uint64_t expected_sender_ = 0;
  Frame ask_;
  bool ask_reads_ = true;  // its bytes say what it says
  std::uint8_t attempt_ = 0;
  Nanos started_ = 0;
  Nanos last_edge_ = -1;
  bool garbled_ = false;
  bool mismatched_ = false;
  Outcome worst_ = Outcome::lost;
  const PlanEntry* filling_ = nullptr;
  Processor processor_;
  bool hears_of_everyone_;  // what it asks of everyone comes back to it
  WrappingClock clock_;
  std::optional<Balancer> balancer_;
  Nanos deadline_ = 0;  // of the try at hand
  std::uint64_t asked_mask_ = 0;
  bool cut_by_clock_ = false;  // its clock goes round during the try at hand
  std::vector<PayloadValue> read_;
};

}  // namespace hopbench
