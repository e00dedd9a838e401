// What assembly puts together from what was heard: exchanges with their tries, and the frames of each hop.
#pragma once

#include <cstdint>
#include <vector>

#include "base/time.h"
#include "bus/frame.h"
#include "scenario/link_table.h"
#include "seen/observation.h"

namespace hopbench {

inline constexpr std::uint64_t no_mark = ~std::uint64_t{0};

/// A frame or a piece of damage, as it was heard at the far end of a link, or as it passed through a port.
struct Sighting {
  std::uint16_t link = 0;
  Nanos first_edge = 0;
  Nanos end = 0;
  std::uint32_t chars = 0;
  Symptom symptom = Symptom::none;  // none: a good frame
  const Frame* frame = nullptr;     // as read; if damaged, as far as it goes
  const Content* content = nullptr;
  std::uint64_t mark = no_mark;  // the caller's own; handed back and never looked at
  Nanos known_at = 0;            // when it was clear, if that was after its end: a silence later, say

  [[nodiscard]] Nanos clear_at() const { return known_at > end ? known_at : end; }
};

struct AssembledTry {
  Nanos start = 0;
  Nanos ask_end = 0;
  Outcome outcome = Outcome::lost;
  bool came_round = false;  // the ask came back to the controller
  bool ambiguous = false;   // its answer may have been another try's
  std::uint64_t asked = no_mark;
  std::uint64_t answered = no_mark;
};

struct AssembledRow {
  HopRow row;
  std::uint64_t mark = no_mark;
};

struct AssembledExchange {
  std::uint64_t number = 0;     // in the order of asking
  std::uint16_t node = nobody;  // whom it was with; nobody: everyone, or no node of the chain
  std::uint32_t topic = 0xffffffff;
  bool everyone = false;
  Nanos start = 0;
  Nanos decided = 0;
  Nanos round_trip = -1;
  Nanos since_last = -1;  // 0: the line was not silent
  Outcome outcome = Outcome::lost;
  bool ambiguous = false;  // what was heard would have fitted another exchange as well
  std::vector<AssembledTry> tries;
  std::vector<AssembledRow> rows;  // as they were heard
  Content asked;
  Content answered;
};

/// Takes what assembly makes.
class AssemblyTaker {
 public:
  virtual void assembled(const AssembledExchange& exchange) = 0;
  /// It belongs to no exchange.
  virtual void stray(const Sighting& sighting) = 0;

 protected:
  ~AssemblyTaker() = default;
};

}  // namespace hopbench
