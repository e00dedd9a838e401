// Bytes of a real controller, cut into what belongs together before they go on the line: whole frames, and the damage
// between them. A frame that comes in several reads stays one.
#pragma once

#include <cstdint>
#include <deque>
#include <span>
#include <vector>

#include "base/time.h"
#include "bus/decoder.h"
#include "bus/protocol.h"

namespace hopbench {

class Intake {
 public:
  /// `period`: of a bit, as the bytes come. The protocol must outlive this.
  Intake(const Protocol& protocol, Period period) : protocol_(&protocol), decoder_(protocol, period) {}

  /// One piece of what was read: bytes [from, to) of the read.
  struct Piece {
    std::size_t from = 0;
    std::size_t to = 0;
    bool goes_on = false;      // it goes on with what the last piece of the read before began
    bool over = false;         // nothing more belongs to it
    std::uint64_t number = 0;  // counts pieces, from 0
  };
  /// Takes a read; `chars` say when each byte was on the line. `pieces` is what came of it. A good frame is a piece of
  /// its own, also where it is not yet clear whether it is a frame: it may turn out to be part of a larger one.
  void take(std::span<const HeardChar> chars, std::vector<Piece>& pieces);
  /// It is `now`, and nothing else came. Returns whether something became clear.
  bool wait(Nanos now);
  [[nodiscard]] Nanos wants_wake() const { return decoder_.wants_wake(); }
  /// More may come of the last piece.
  [[nodiscard]] bool half_read() const { return open_; }

  /// What became clear in the last call, and of which pieces its first and last byte are.
  struct Found {
    Finding finding;
    std::uint64_t first_piece = 0;
    std::uint64_t last_piece = 0;
  };
  [[nodiscard]] std::vector<Found>& found() { return found_; }
  /// What would become clear if nothing else came.
  [[nodiscard]] std::vector<Found> if_that_is_all() const;

 private:
  struct Begun {
    std::uint32_t position = 0;
    std::uint64_t number = 0;
  };

  void cut_at_findings(std::uint32_t first, std::size_t count);
  [[nodiscard]] bool cut_undecided(std::span<const HeardChar> chars, std::uint32_t first);
  [[nodiscard]] bool is_told(std::uint32_t position) const;
  [[nodiscard]] std::uint64_t piece_at(std::uint32_t position) const;
  void place_findings();

  const Protocol* protocol_;
  Decoder decoder_;
  std::vector<Finding> fresh_;
  std::vector<Found> found_;
  std::uint32_t position_ = 0;     // of the next byte
  std::uint64_t pieces_ = 0;       // begun
  bool open_ = false;              // the last one is not over
  std::deque<Begun> begun_;        // those of which something may yet become clear
  std::vector<std::size_t> cuts_;  // scratch
};

}  // namespace hopbench
