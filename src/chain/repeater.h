// The third way: exchanges that were recorded once, told again while nothing can have changed.
//
// What is told again is a recording of what the events did; there is no second copy of what nodes do. An exchange is
// recorded if it began and ended in quiet: nothing on any link, nothing half heard, no job at any node; if its record
// tells of every frame that it sent; and if no time-out passed in it, for what follows one is drawn. From quiet the
// same entry of the plan goes the same way at any time, unless something strikes it; and whether something does is a
// pure function of the turn (bit noise, faults at a rate), of time (bursts, contacts, ripple, open cables, faults with
// a time), or an event that is queued already (a reset, a point of the grid). When its frames come is found anew where
// a clock has moved or a processor has something else to do (chain/retimer.h). All that a healthy exchange leaves
// behind is the controller's place in its plan, exchange numbers, what the controller has read of cells, the nodes'
// counters of frames heard, and when nodes that can sleep last heard an edge.
#pragma once

#include <array>
#include <cstdint>
#include <memory>
#include <vector>

#include "chain/controller_post.h"
#include "chain/node_post.h"
#include "chain/recording.h"
#include "chain/repeat_counts.h"
#include "chain/retimer.h"
#include "wires/link.h"
#include "wires/works.h"

namespace hopbench {

class Repeater {
 public:
  using Links = std::vector<std::unique_ptr<Link>>;
  using Posts = std::vector<std::unique_ptr<NodePost>>;
  /// All must outlive it.
  Repeater(Works& works, const Links& links, const Posts& posts, ControllerPost& controller);

  /// Called when the controller's next exchange is the next event. Repeats as many exchanges as it can that are over by
  /// `until`, and leaves the queue as the events would have left it. Returns false if it could not repeat any; then the
  /// event is to be done as it is.
  bool go(Nanos until);

  /// Everything has to be recorded anew. Leaves no trace in the records.
  void forget();
  /// The controller learns what it has read of repeats so far.
  void settle();

  [[nodiscard]] const RepeatCounts& counts() const { return counts_; }

 private:
  /// An exchange that was repeated, as it is to be told.
  struct Told {
    Repeat repeat;
    std::uint64_t ticket = 0;  // the exchange number that the controller took for it
  };

  [[nodiscard]] bool quiet(Nanos now);
  /// An exchange goes by events, because of that.
  [[nodiscard]] bool by_events(ByEvents why) {
    why_ = why;
    return false;
  }
  void take_up_surroundings();
  void drop(Recording& model) { model.usable = false; }
  [[nodiscard]] bool can_go(Recording& model, std::uint32_t entry, Nanos at);
  [[nodiscard]] bool in_time(Recording& model, std::uint32_t entry, Nanos at);
  /// Nothing strikes it.
  [[nodiscard]] bool untouched(Recording& model, std::uint32_t entry, Nanos at);
  [[nodiscard]] bool spared(const Recording& model, std::uint64_t turn, Nanos at);
  /// Nobody that matters to it has anything else to do; every node that can sleep is awake when it comes.
  [[nodiscard]] bool undisturbed(const Recording& model, Nanos at);
  [[nodiscard]] bool awake(const Recording& model, Nanos at) const;
  void keep_awake(const Recording& model, Nanos at);
  [[nodiscard]] Nanos calm_from(Nanos now) const;
  /// If values may grow too old: whether they have not.
  [[nodiscard]] bool fresh(const Recording& model, Nanos at) const;
  [[nodiscard]] Nanos taken_at(const Recording& model, Nanos asked_at, Nanos taken_at) const;
  void tell(std::uint32_t entry, Recording& model, Nanos at);
  void hand_on(const Told& told, bool whole);
  void hand_on_waiting(std::size_t count);
  void hand_on_waiting_of(std::uint32_t entry);
  void tell_whole(const Told& told);
  void pay(Recording& model);
  void pay_all();
  void start_recording(std::uint32_t entry, Nanos now);
  void end_recording(Nanos now, bool was_quiet);
  void keep(Recording& model, const Tap::Copy& copy, Nanos now);

  [[nodiscard]] Node& node(std::size_t index) const { return (*posts_)[index]->station(); }

  Works* works_;
  const Links* links_;
  const Posts* posts_;
  ControllerPost* post_;
  Controller* controller_;
  Retimer retimer_;
  std::vector<Recording> models_;        // by entry
  std::vector<ExchangeObs> model_seen_;  // by entry
  std::uint64_t version_ = 0;
  std::uint64_t surroundings_ = 0;
  std::uint64_t clocks_ = 0;                    // moves when a clock does
  std::vector<std::array<Period, 2>> periods_;  // of links: sender's and receiver's
  std::vector<Nanos> settle_times_;             // of nodes
  bool owing_ = false;
  bool duties_ = false;             // some node's processor has any
  bool controller_duties_ = false;  // the controller's has, or its clock goes round
  bool sleepers_ = false;           // some node can sleep
  bool spoilers_ = false;           // some node's design mistake spoils its answers
  Nanos calm_until_ = 0;            // no duty of anybody before
  Nanos controller_calm_until_ = 0;
  std::uint64_t whole_from_ = 0;    // exchange that the listeners want whole
  std::uint32_t whole_before_ = 0;  // and so many before one that goes by events
  std::vector<Told> waiting_;       // the last ones, not told yet: nobody knows what follows
  std::size_t handed_on_ = 0;       // of them, told already
  ByEvents why_{};
  RepeatCounts counts_;

  // the recording under way
  bool recording_ = false;
  std::uint32_t entry_ = 0;
  Nanos began_ = 0;
  std::uint64_t byte_hearings_ = 0;
  std::uint64_t phase_hearings_ = 0;
  std::uint64_t struck_ = 0;
  std::uint64_t closed_early_ = 0;
  std::vector<std::uint64_t> heard_before_;
  AnswerRecord answer_;
  Frame answered_;

  // scratch
  std::vector<Attempt> attempts_;
  std::vector<HopRow> rows_;
  std::vector<AttemptTruth> attempt_truths_;
  Content asked_bytes_;
  Content answered_bytes_;
};

}  // namespace hopbench
