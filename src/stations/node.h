// A monitoring node: passes on what is not for it, measures and answers what is. It decides from what it hears and from
// how it was set up; what it does and how fast comes from its kind.
#pragma once

#include <algorithm>
#include <cstdint>
#include <deque>
#include <functional>
#include <map>
#include <optional>
#include <queue>
#include <vector>

#include "base/archive.h"
#include "base/luck.h"
#include "bus/protocol.h"
#include "line/coupling.h"
#include "pack/pack.h"
#include "scenario/description.h"
#include "scenario/link_table.h"
#include "scenario/quantity.h"
#include "seen/observation.h"
#include "stations/desk.h"
#include "stations/flaw.h"
#include "stations/hearing.h"
#include "stations/off_times.h"
#include "stations/processor.h"
#include "stations/values.h"

namespace hopbench {

class Node final : public Station, private PayloadSource, private Protocol::RegisterWriter {
 public:
  /// Where it stands in its chain, and what it was told of it when it was set up. All must outlive the node.
  struct Place {
    const Protocol& protocol;
    const ChainDescription& chain;
    const LinkTable& table;
    std::size_t index;
  };
  Node(const Place& place, const Luck& luck, Desk& desk);

  [[nodiscard]] std::size_t index() const { return index_; }
  [[nodiscard]] const KindSpec& kind() const { return *kind_; }
  /// One bit by its clock, as warm and as well supplied as it is now.
  [[nodiscard]] Period period() const { return period_; }
  [[nodiscard]] std::int32_t off_nominal_ppb() const;
  [[nodiscard]] const Processor& processor() const { return processor_; }

  void on_hearing(Nanos now, const Hearing& hearing) override;
  /// A job asked for with Desk::later() is due. Returns whether it was still to be done.
  void on_job(std::uint32_t job);
  void on_wake(std::uint32_t what);

  // What goes on around it (chain/surroundings.h). ---------------------------------------------------------
  /// All is connected: what is known ahead to switch it off is asked for.
  void begin();
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
  [[nodiscard]] NodeState state_at(Nanos at) const;
  /// What it goes on with when it has nothing to do, and so has measured to the end. How its board is comes from
  /// take_up().
  void keep(Archive& archive);
  /// A word that it asked Desk::wake() for.
  [[nodiscard]] static bool wakes_for(std::uint64_t what) { return what <= back; }

  // What its receiver and its wires ask. ---------------------------------------------------------------------
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
  /// Start of the first time off within [from, to); `to` if there is none.
  [[nodiscard]] Nanos first_off_in(Nanos from, Nanos to) const { return off_.first_in(from, to); }
  /// Why it is off in [from, to): for a fault of the scenario, `injected`.
  [[nodiscard]] Cause off_because(Nanos from, Nanos to, Cause injected) const;
  /// Whether a frame heard over `link` goes no further than here: it is for this node alone, or nobody may pass it on.
  [[nodiscard]] bool takes_off(const Frame& frame, std::uint16_t link) const;

  // For whoever works out what would have been, or repeats exchanges without events. ---------------------------
  enum class Skip : std::uint8_t { nothing, busyness, measurement };
  /// When a job in hand would be due if what it is for had been heard at `heard`, with or without what holds it up.
  [[nodiscard]] Nanos due(std::uint32_t job, Nanos heard, Skip skip) const;
  /// Something may hold it up, so that it is not due a fixed time after it was heard.
  [[nodiscard]] bool may_wait(std::uint32_t job) const { return jobs_[job].measures || !processor_.idle(); }
  [[nodiscard]] std::uint64_t frames_heard() const { return frames_heard_; }
  void count_heard(std::uint64_t frames) { frames_heard_ += frames; }
  /// The answer to `ask`, filled at `now` from values taken at `taken_at` (never: at `now`). None if it cannot be
  /// filled.
  [[nodiscard]] std::optional<Frame> make_answer(const Frame& ask, Nanos now, Nanos taken_at);
  /// So long its cells rest before it measures, as it bleeds them now.
  [[nodiscard]] Nanos settle_time() const;
  /// What it measures now is wrong, for its cells are bled meanwhile.
  [[nodiscard]] bool measures_wrong() const {
    return kind_->measurement.bleed == BleedWhile::kept_on && bleeding() != 0;
  }
  /// Free running: when the newest finished snapshot was taken, for an answer begun at `ready`.
  [[nodiscard]] Nanos newest_snapshot(Nanos ready) const;

 private:
  static constexpr std::int64_t lowest_limit_mv = 2'500;  // of a cell, until others are set
  static constexpr std::int64_t highest_limit_mv = 3'650;
  enum Wake : std::uint32_t { reset, back };
  enum class Work : std::uint8_t { idle, pass_on, pass_on_damaged, answer, answer_empty, refuse, act_again };
  struct Job {
    Work work = Work::idle;
    std::uint16_t link = 0;
    Frame frame;      // to pass on; or the ask
    Content content;  // to pass on as it is
    Refusal reason = Refusal::unknown_topic;
    Nanos heard_at = 0;
    Nanos after = 0;         // it is due so long after that, if nothing holds it up
    bool uncalled = false;   // to answer, although it should not
    bool measures = false;   // values are taken for it first:
    Nanos not_before = 0;    // when the measurement before is over,
    Nanos settle = 0;        // and cells have settled,
    Nanos takes = 0;         // for so long, settling included
    Nanos taken_at = never;  // when they are taken
  };

  void take_address(std::optional<std::uint64_t> given);
  [[nodiscard]] Role role_of(const Frame& frame, std::uint16_t link) const;
  [[nodiscard]] bool claims(const Frame& frame, Protocol::Bound bound) const;
  /// Of a frame with the role that it has here.
  [[nodiscard]] bool ends_with_me(const Frame& frame, Protocol::Bound bound) const;
  [[nodiscard]] bool knows(std::uint32_t topic) const;
  [[nodiscard]] bool passes(const Frame& frame) const;  // as far as its topic goes
  void on_damaged(const Hearing& hearing);
  [[nodiscard]] bool passes_damage_for_good(const Hearing& hearing);
  void hang();
  void pass_on(std::uint16_t link, const Frame& frame);
  void act(const Frame& ask, std::optional<std::uint32_t> topic, bool answers);
  [[nodiscard]] std::optional<Refusal> obey(const Frame& ask, const TopicSpec& topic);
  [[nodiscard]] std::optional<Refusal> enrol(const Frame& ask);
  void answer_later(const Frame& ask, bool uncalled);
  void answer_empty_later(const Frame& ask);
  void act_again_later(const Frame& ask);
  [[nodiscard]] Amiss spoil(Frame& answer, const Job& job);
  [[nodiscard]] std::int64_t measured_uv(std::uint32_t cell);
  [[nodiscard]] std::int64_t told_amiss_uv(std::uint32_t cell);
  void refuse_later(const Frame& ask, Refusal reason);
  [[nodiscard]] bool needs_measurement(std::uint32_t topic) const;
  void begin_measurement(Job& job);
  void queue_job(Job&& job);
  void do_answer(const Job& job);
  void drop_jobs(Cause why);
  void restart();
  void tell_processor();
  [[nodiscard]] Nanos start_up() const { return std::max<Nanos>(1, kind_->start_up); }
  void add_off(Nanos from, Nanos to, Cause why);
  [[nodiscard]] bool can_bleed() const { return kind_->board.bleed_mohm > 0; }
  [[nodiscard]] std::uint64_t all_cells() const { return (std::uint64_t{1} << kind_->cells) - 1; }

  std::optional<std::int64_t> quantity(std::string_view name, std::uint32_t index) override;
  std::optional<std::uint64_t> argument(std::string_view field) override;
  void write(std::string_view quantity, std::uint32_t index, std::int64_t value) override;

  const Protocol* protocol_;
  const ChainDescription* chain_;
  const LinkTable* table_;
  std::size_t index_;
  const NodeSpec* spec_;
  const KindSpec* kind_;
  Luck luck_;
  Desk* desk_;
  ClockSpec clock_;
  std::uint64_t hash_;
  Period period_;
  Processor processor_;
  DesignFlaw flaw_;
  CellValues values_;
  std::uint64_t serial_number_;
  OffTimes off_;
  std::vector<Nanos> chop_phases_;
  std::vector<std::uint32_t> topics_;  // known; empty: all
  std::vector<std::uint32_t> measured_topics_;

  BoardState board_;
  Nanos last_edge_;

  // kept until a reset
  std::optional<std::uint64_t> given_address_;
  std::optional<std::uint64_t> address_;  // that it goes by
  Nanos started_;
  Nanos measuring_until_ = 0;
  std::uint64_t frames_heard_ = 0;
  std::uint64_t check_failures_ = 0;
  std::map<Quantity, std::int64_t> settings_;
  std::deque<Job> jobs_;  // they stay where they are
  std::priority_queue<std::uint32_t, std::vector<std::uint32_t>, std::greater<>> free_jobs_;  // places to use again

  // while a payload is being filled
  Nanos fill_taken_at_ = 0;
  Nanos fill_now_ = 0;
  std::uint32_t cells_filled_ = 0;
  bool fills_amiss_ = false;                  // as its design mistake has it
  std::int64_t off_by_uv_ = 0;                // the most that a value told is off
  std::map<Quantity, std::int64_t> written_;  // by the ask that is being obeyed
};

}  // namespace hopbench
