// The third way: exchanges that were recorded once, told again while nothing can have changed.
//
// What is told again is a recording of what the events did; there is no second copy of what nodes do. An exchange is
// recorded if it began and ended in quiet: nothing on any link, nothing half heard, no job at any node; if its record
// tells of every frame that it sent; and if no time-out passed in it, for what follows one is drawn. From quiet the
// same entry of the plan goes the same way at any time, unless something strikes it; and whether something does is a
// pure function of the turn (bit noise, faults at a rate), of time (bursts, contacts, open cables, faults with a time),
// or an event that is queued already (a reset, a point of the grid). Duties of processors and a clock that goes round
// are looked up ahead; while one may come in between, nothing is repeated. All that a healthy exchange leaves behind is
// the controller's place in its plan, exchange numbers, what the controller has read of cells, the nodes' counters of
// frames heard, and when nodes that can sleep last heard an edge.
#pragma once

#include <cstdint>
#include <memory>
#include <vector>

#include "chain/controller_post.h"
#include "chain/node_post.h"
#include "wires/injector.h"
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

 private:
  struct NodeCount {  // frames that a node hears in one exchange
    std::uint16_t node;
    std::uint64_t frames;
  };
  struct RowHits {  // bit noise on the frame of one row
    std::uint16_t link;
    std::uint32_t slots;
    bool answering;
    std::uint64_t clear_until;  // turn
  };
  struct Model {
    bool usable = false;
    std::uint64_t record_at_turn = 0;  // not before; put off further each time it fails
    std::uint64_t put_off = 1;
    Nanos began = 0;
    Nanos span = 0;  // from its start to the controller's next exchange: everything is over by then
    Nanos last_edge = 0;
    std::uint64_t next_touch = 0;  // turn
    Nanos calm_until = 0;
    std::vector<RowHits> hits;
    std::vector<Injector::Passage> passages;  // only if there are faults; times are after the start
    std::vector<NodeCount> heard;
    std::uint64_t owed = 0;  // times that `heard` has yet to be counted
    Nanos unread = never;    // start of the last repeat whose answer the controller has yet to learn
    // the bytes
    Frame asked;
    AnswerRecord answer;
    Frame answered;
    // the observation's own storage
    std::vector<Attempt> attempts;
    std::vector<HopRow> rows;
  };

  [[nodiscard]] bool quiet(Nanos now);
  [[nodiscard]] bool can_go(Model& model, std::uint32_t entry, Nanos at);
  [[nodiscard]] bool spared(const Model& model, std::uint64_t turn, Nanos at);
  /// No duty comes in between; every node that can sleep is awake when the exchange reaches it.
  [[nodiscard]] bool undisturbed(const Model& model, Nanos at);
  void keep_awake(const Model& model, Nanos at);
  [[nodiscard]] Nanos calm_from(Nanos now) const;
  /// If values may grow too old: whether they have not.
  [[nodiscard]] bool fresh(const Model& model, Nanos at) const;
  [[nodiscard]] Nanos taken_at(const Model& model, Nanos at) const;
  void tell_whole(std::uint32_t entry, Model& model, std::uint64_t number, Nanos at);
  void pay(Model& model);
  void pay_all();
  void start_recording(std::uint32_t entry, Nanos now);
  void end_recording(Nanos now, bool was_quiet);

  [[nodiscard]] Node& node(std::size_t index) const { return (*posts_)[index]->station(); }

  Works* works_;
  const Links* links_;
  const Posts* posts_;
  ControllerPost* post_;
  Controller* controller_;
  std::vector<Model> models_;            // by entry
  std::vector<ExchangeObs> model_seen_;  // by entry
  std::uint64_t version_ = 0;
  bool owing_ = false;
  bool duties_ = false;    // some processor has any, or the controller's clock goes round
  bool sleepers_ = false;  // some node can sleep
  Nanos calm_until_ = 0;   // no duty before

  // the recording under way
  bool recording_ = false;
  std::uint32_t entry_ = 0;
  Nanos began_ = 0;
  std::uint64_t byte_hearings_ = 0;
  std::uint64_t struck_ = 0;
  std::uint64_t closed_early_ = 0;
  Nanos recording_calm_until_ = 0;
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
