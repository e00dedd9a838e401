// Exchanges from what was heard, for whatever seat: a real controller at a port, a tap, a log. It knows the bus and
// which link leads where, and nothing that only a simulation knows.
//
// An ask and its answer belong together by the exchange number if the bus has one, else by address, topic, direction,
// order and time. On a bus with exchange numbers several asks may be in flight; on one without, a controller has one at
// a time, and an ask that follows another one ends that one's wait. The same ask again before its answer is another
// try. What would fit several exchanges is given to the oldest that waits, and all of them are marked.
#pragma once

#include <cstdint>
#include <deque>
#include <map>
#include <memory>
#include <optional>
#include <tuple>
#include <utility>
#include <vector>

#include "assembly/assembled.h"
#include "base/time.h"
#include "bus/protocol.h"
#include "scenario/link_table.h"
#include "seen/decision.h"

namespace hopbench {

class Assembler {
 public:
  struct Setup {
    const Protocol& protocol;
    const LinkTable& table;
    std::vector<std::uint64_t> addresses;  // of the nodes, in chain order
    /// The node that an ask is for; nobody if there is none, or it is for everyone.
    [[nodiscard]] std::uint16_t node_of(const Frame& ask) const;
    std::vector<bool> heard;  // by link: what comes out at its far end is seen()
    /// How long the controller waits for an answer, from the end of its ask; none: not known. An answer beyond it is
    /// late.
    std::optional<Nanos> time_out;
    /// over() will be called for everything that is asked, and an exchange stays open until then.
    bool told_when_over = false;
  };

  /// Both must outlive the assembler.
  Assembler(Setup setup, AssemblyTaker& taker);

  /// The controller sent this. Damage is the controller's own doing. In order of time, as seen().
  void asked(const Sighting& sighting);
  /// Heard at the far end of a link.
  void seen(const Sighting& sighting);
  /// The controller says what becomes of its exchanges: each stays open for a while for that.
  void expect_decisions() { decides_ = true; }
  /// The controller said at `now` what has become of what it asked last. It knows best whether it waits, and what it
  /// took. To be told when all that it had heard by then has been seen().
  void decided(Decision decision, Nanos now);
  /// Nothing will be heard of what was asked with this mark any more.
  void over(std::uint64_t mark, Nanos now);
  /// An ask to everyone has come as far as it goes (where it does not come back).
  void everyone_has(std::uint64_t mark, Nanos now);
  /// It is now `now`: exchanges that nothing can come of any more are closed.
  void wait_until(Nanos now);
  /// When wait_until() would close something; `never` if nothing is open.
  [[nodiscard]] Nanos wants_wake() const;
  /// Closes everything. Where the controller says what becomes of its exchanges, what it has not decided is left out.
  void finish(Nanos now);

  /// The node that an ask is for; nobody if there is none, or it is for everyone.
  [[nodiscard]] std::uint16_t node_of(const Frame& ask) const { return setup_.node_of(ask); }
  /// Exchanges in which something would have fitted another one as well.
  [[nodiscard]] std::uint64_t ambiguous() const { return ambiguous_; }

 private:
  static constexpr std::size_t most_open = 1024;
  static constexpr std::size_t most_tries =
      256;  // what a capture can hold of one exchange; the next ask begins another
  static constexpr std::uint16_t anywhere = 0xfffe;  // the next link of a frame of which nobody knows where it starts

  /// Where the frames of one leg of a try are expected next.
  struct Journey {
    std::uint16_t next = nobody;
    bool damaged = false;  // on the way so far
    bool seen = false;     // on some link
    bool taken = false;    // its node has it, and is not likely to send it on
    Nanos since = 0;
  };
  struct Pending {
    AssembledExchange exchange;
    Frame ask;
    bool read = false;  // `ask` is the frame; false: what was asked could not be read
    std::optional<std::uint64_t> named;
    bool decided = false;
    bool given_up = false;          // decided by the next ask: what still comes is late
    Nanos next_asked_at = never;    // the controller asked something else then
    std::uint32_t waiting_for = 0;  // tries that are not over
    bool told = false;              // the controller has said what became of it
    bool asks_again = false;        // it has said that it will
    std::vector<Journey> asks;      // by try
    std::vector<Journey> answers;
    [[nodiscard]] Outcome outcome_so_far() const;
  };
  struct Match {
    Pending* pending = nullptr;
    std::size_t attempt = 0;
    bool answering = false;
    bool followed = false;  // it was seen on an earlier hop too, which leaves no doubt whose it is
    bool alone = false;     // no other would have fitted
  };
  /// From the end of an ask to the first edge of its answer, where there was but one try.
  struct TurnAround {
    Nanos quickest = 0;
    Nanos longest = 0;
  };
  using Step = std::tuple<std::uint16_t, bool, std::uint16_t>;

  /// What came home last, whole.
  struct LastHome {
    std::uint64_t mark = no_mark;
    Nanos end = 0;
    Content content;
  };

  void begin(const Sighting& sighting);
  void takes_what_came(Pending& pending, Nanos now);
  [[nodiscard]] Pending* said_to_come_again(const Frame& ask);
  void add_try(Pending& pending, const Sighting& sighting);
  [[nodiscard]] Pending* tried_again_by(const Sighting& sighting);
  void end_waits(const Sighting& sighting);
  void came_home(const Sighting& sighting, const Match& match);
  [[nodiscard]] bool came_round(const Sighting& sighting, const Match& match);
  [[nodiscard]] bool waits(const Pending& pending, const Sighting& sighting) const;
  [[nodiscard]] bool beyond_time_out(const AssembledTry& tried, const Sighting& sighting) const;
  void does_not_fit(const Sighting& sighting);
  void take_round(Pending& pending, std::size_t which, const Sighting& sighting);
  [[nodiscard]] bool everyone_ends_there(const Pending& pending) const;
  void decide_for_everyone(Pending& pending, std::size_t attempt, Nanos now);
  void came_damaged(const Sighting& sighting);
  [[nodiscard]] bool take_answer(const Sighting& sighting, const Frame& answer, const Match& match);
  void take(Pending& pending, const Sighting& sighting, const Frame& answer, const Match& match);
  Match on_its_way(const Sighting& sighting);
  [[nodiscard]] Match expected(const Sighting& sighting) const;
  [[nodiscard]] static Step step_of(const Match& match, const Journey& leg, std::uint16_t link);
  [[nodiscard]] bool came_to_node(const Pending& pending, std::size_t attempt) const;
  [[nodiscard]] bool is_of(const Pending& pending, const Frame& frame, bool answering) const;
  [[nodiscard]] bool fits(const Pending& pending, const Frame& answer) const;
  [[nodiscard]] std::size_t try_answered(Pending& pending, const Sighting& sighting);
  [[nodiscard]] Outcome outcome_of(const Pending& pending, const Frame& answer) const;
  [[nodiscard]] Frame as_answer(const Frame& frame) const;
  void decide(Pending& pending, Nanos now, Outcome outcome);
  void mark_ambiguous(Pending& pending);
  [[nodiscard]] Nanos closes_at(const Pending& pending) const;
  void close(Pending& pending, Nanos now);
  [[nodiscard]] std::uint16_t next_heard(std::uint16_t link) const;

  Setup setup_;
  const Protocol* protocol_;
  const LinkTable* table_;
  AssemblyTaker* taker_;
  bool numbered_;
  bool role_on_wire_;
  std::deque<std::unique_ptr<Pending>> open_;                                  // in the order of asking
  std::map<std::pair<std::uint16_t, std::uint32_t>, TurnAround> turn_around_;  // seen, by node and topic
  std::map<Step, Nanos> quickest_step_;                                        // from hop to hop
  std::uint64_t next_number_ = 0;
  std::uint64_t ambiguous_ = 0;
  Nanos last_edge_ = -1;
  std::optional<LastHome> last_home_;
  std::optional<Frame> last_ask_;
  bool asks_several_things_ = false;
  bool decides_ = false;  // the controller says what becomes of its exchanges
};

}  // namespace hopbench
