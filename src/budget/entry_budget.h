// What one exchange of the plan takes, hop by hop, in each case.
#pragma once

#include <cstdint>
#include <vector>

#include "budget/by_case.h"
#include "scenario/frame_walk.h"
#include "scenario/rehearsal.h"

namespace hopbench {

/// What the controller gets to its ask, if nothing is lost.
enum class Reply : std::uint8_t {
  answer,
  refusal,
  comes_round,  // the ask itself: it was for everyone
  not_awaited,  // it was for everyone, and nothing comes back
  none,         // nobody answers; it times out, with all retries
};

/// How long its frames are.
struct ExchangeFrames {
  Reply reply = Reply::none;
  std::size_t ask_bytes = 0;  // content, the longest
  std::size_t answer_bytes = 0;
  std::size_t ask_payload = 0;
  std::size_t answer_payload = 0;
  std::size_t ask_shape = 0;
  std::size_t answer_shape = 0;
  ByCase<std::uint64_t> ask_chars;
  ByCase<std::uint64_t> answer_chars;
  std::uint32_t cells = 0;  // whose voltages the answer tells
  bool measured = false;
};

struct HopBudget {
  std::uint16_t link = 0;
  bool answering = false;
  CaseSpans takes;  // from its first edge on this link to the first edge on the next, or until it has been heard
};

struct EntryBudget {
  PlanEntry entry;
  Rehearsal::End end = Rehearsal::End::answered;
  Refusal reason = Refusal::unknown_topic;  // of a refusal
  ExchangeFrames frames;
  CaseSpans ask;       // its first to its last edge at the controller
  CaseSpans out;       // from its last edge until the node has heard it
  CaseSpans node;      // until the answer's first edge
  CaseSpans home;      // until the controller has taken it up
  CaseSpans answered;  // all three: what the time-out is held against; 0 where nothing is awaited or comes
  Nanos behind = 0;    // of the worst: waiting behind what was asked of everyone, in a line
  CaseSpans margin;    // to the time-out; `-never` for one that is never answered in the worst case
  std::vector<HopBudget> hops;

  [[nodiscard]] bool awaited() const { return frames.reply != Reply::none && frames.reply != Reply::not_awaited; }
};

/// A chain's walks in each case.
struct CaseWalks {
  CaseWalks(const Protocol& protocol, const ChainDescription& chain);
  std::vector<FrameWalk> walks;  // by case
  bool bounded = true;           // each processor is free again after some time
  [[nodiscard]] const FrameWalk& operator[](BudgetCase which) const { return walks[static_cast<std::size_t>(which)]; }
};

/// Frames of an entry of asked_entries(). Of orders to bleed: for all cells.
EntryBudget rehearsed_entry(const Protocol& protocol, const ChainDescription& chain, PlanEntry entry);
/// Fills in the times of an entry whose frames are known.
void put_times(EntryBudget& budget, const ChainDescription& chain, const CaseWalks& walks);

/// All that the controller asks, with times. Offers of addresses only if it ever makes them.
std::vector<EntryBudget> entry_budgets(const Protocol& protocol, const ChainDescription& chain, const CaseWalks& walks);
/// Waiting behind asks to everyone, where nothing comes back of these.
void wait_behind_everyone(std::vector<EntryBudget>& entries, const Protocol& protocol, const ChainDescription& chain,
                          const CaseWalks& walks);

}  // namespace hopbench
