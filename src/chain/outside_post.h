// Where a real controller sits, behind a port. What it asked and what became of that is put together from what passes
// the port (assembly/assembler.h); the post adds what the bench knows of the simulated chain: the frames on each hop,
// and why something came to nothing.
#pragma once

#include <cstdint>
#include <deque>
#include <map>
#include <optional>
#include <span>
#include <utility>
#include <vector>

#include "assembly/assembler.h"
#include "books/trace.h"
#include "chain/intake.h"
#include "engine/event_queue.h"
#include "seen/decision.h"
#include "wires/link.h"
#include "wires/link_end.h"
#include "wires/works.h"

namespace hopbench {

class OutsidePost final : public LinkEnd, public Actor, public TraceTaker, public AssemblyTaker {
 public:
  /// `time_out`: from the end of an ask to when the controller gives up; none: not known. `granted`: it takes part in
  /// virtual time. What it asks then meets the luck that the scenario's own controller would meet with that ask.
  OutsidePost(Works& works, std::optional<Nanos> time_out, bool granted);

  /// The link that the controller sends on; must outlive the post.
  void connect(Link& first);
  /// Bytes from the port, at the chain's present instant. No more than a frame may have at once.
  void arrive(bool paced, std::span<const std::uint8_t> bytes, std::span<const std::uint8_t> flags);
  void port_was_late(Nanos from, Nanos to);
  void decided(Decision decision);
  /// Nothing comes any more: what is open is told as it stands.
  void finish();

  /// Entries of RunInfo: one for each node and topic, one for each topic asked of everyone, then one for all else.
  [[nodiscard]] static std::vector<EntryInfo> entries_of(const ChainDescription& chain, const Protocol& protocol);

  void heard(Nanos now, std::uint16_t link, const Finding& finding, Symptom symptom, const Flight* flight) override;
  [[nodiscard]] Period period() const override { return period_; }
  /// Pieces that it sent so far, those before a run that begins later among them: luck counts on.
  [[nodiscard]] std::uint64_t sent() const { return sent_; }
  void on_event(Nanos now, std::uint64_t what) override;
  [[nodiscard]] bool is_over(Nanos at, std::uint64_t what) const override;
  void closed(Trace& trace, Nanos now) override;
  void assembled(const AssembledExchange& exchange) override;
  void stray(const Sighting& sighting) override;

 private:
  enum Kind : std::uint64_t { understood = 0, intake_waits = 1, assembly_waits = 2, controller_says = 3 };
  static constexpr std::uint64_t no_trace = ~std::uint64_t{0};

  /// What was asked and is not told yet, as the bench saw it. One for each frame, or piece of damage, that was sent.
  struct Asked {
    std::vector<std::uint64_t> traces;  // of the pieces that it came in
    std::size_t open = 0;               // of these are not closed
    std::vector<HopRow> rows;
    std::vector<RowTruth> row_truths;
    std::vector<FaultStrike> strikes;
    std::vector<RowDamage> damage;
    Content replied;
    TryNotes notes;
    bool damaged = false;        // when it was sent
    std::uint64_t question = 0;  // fingerprint of its payload
  };
  /// What came to the controller, and all that is known of it.
  struct Came {
    Frame frame;
    Nanos heard_until = 0;
    bool known = false;  // the rest is
    Passport passport;
    Nanos end = 0;
  };
  struct Understood {
    Finding finding;
    std::vector<std::uint64_t> traces;
  };
  struct Late {
    Nanos from = 0;
    Nanos to = 0;
  };

  /// Luck has a name for each ask: its entry's, the turn, the try.
  struct Asking {
    std::uint64_t hash = 0;
    std::uint64_t turns = 0;
    std::uint8_t attempt = 0;
  };

  [[nodiscard]] FrameKey key_of(const Frame* ask);
  [[nodiscard]] bool sets_out_as_frame(const Frame* ask, const Intake::Piece& piece, std::size_t pieces,
                                       std::span<const std::uint8_t> bytes) const;
  void take_found(std::vector<Intake::Found>& found);
  void ask(const Finding& finding, std::vector<std::uint64_t> traces);
  void take_as_asked(Trace& trace, const Frame* ask) const;
  void take_over(Asked& asked, const Trace& trace);
  void take_decision();
  void wake_for_intake();
  void wake_for_assembly();
  [[nodiscard]] std::uint64_t begin_piece(Nanos start);
  [[nodiscard]] std::uint32_t entry_of(std::uint16_t node, std::uint32_t topic, bool everyone) const;
  void judge(const AssembledExchange& exchange, std::size_t attempt, std::uint32_t entry);
  void settle_try(const AssembledExchange& exchange, std::size_t attempt);
  void put_answers_to_their_tries(const AssembledExchange& exchange);
  [[nodiscard]] Nanos lateness_of(const AssembledExchange& exchange, Nanos until);

  Works* works_;
  Period period_;
  std::uint64_t hash_;
  bool granted_;
  std::vector<Asking> askings_;  // by entry
  bool asks_again_ = false;      // the controller has said so
  Link* first_ = nullptr;
  std::optional<Nanos> time_out_;
  std::optional<Intake> intake_;
  Assembler assembler_;
  std::uint64_t open_trace_ = no_trace;  // of the piece that is half read
  std::uint32_t open_row_ = 0xffffffff;
  std::uint32_t open_slots_ = 0;
  Content open_bytes_;
  std::map<std::uint64_t, std::uint64_t> trace_of_piece_;  // of pieces of which nothing was found yet
  std::uint64_t sent_;                                     // pieces
  std::map<std::uint64_t, Understood> understood_;
  std::uint64_t next_understood_ = 0;
  std::map<std::uint64_t, Asked> asked_;  // by mark, not told yet
  std::uint64_t next_ask_ = 0;
  std::map<std::uint64_t, std::uint64_t> ask_of_trace_;
  std::map<std::uint64_t, Came> came_;  // by mark
  std::uint64_t next_mark_ = 0;
  std::vector<std::uint64_t> turns_;  // by entry
  /// What was asked of whom: values of the same question are old ones, of another they are wrong.
  using Question = std::pair<std::uint32_t, std::uint64_t>;  // plan entry, fingerprint of the payload
  std::map<std::uint64_t, Question> question_of_trace_;      // of those told not long ago
  std::deque<Late> late_;
  std::deque<std::pair<Nanos, Decision>> decisions_;  // not taken yet, and when they were made
  Nanos intake_wake_ = never;
  Nanos assembly_wake_ = never;
  // the exchange that is being told
  std::vector<Attempt> attempts_;
  std::vector<AttemptTruth> truths_;
  std::vector<HopRow> rows_;
  std::vector<RowTruth> row_truths_;
  std::vector<FaultStrike> strikes_;
  std::vector<RowDamage> damage_;
  Content replied_;
  Outcome outcome_ = Outcome::lost;
  Nanos round_trip_ = -1;
};

}  // namespace hopbench
