// Bytes of a real controller, cut into what belongs together before they go on the line: whole frames, and the damage
// between them. A frame that comes in several reads stays one.
#pragma once

#include <cstdint>
#include <span>
#include <vector>

#include "base/time.h"
#include "bus/decoder.h"
#include "bus/protocol.h"

namespace hopbench {

class Intake {
 public:
  /// `period`: of a bit, as the bytes come. The protocol must outlive this.
  Intake(const Protocol& protocol, Period period) : decoder_(protocol, period) {}

  /// One piece of what was read: bytes [from, to) of the read.
  struct Piece {
    std::size_t from = 0;
    std::size_t to = 0;
    bool goes_on = false;  // it goes on with what the last piece of the read before began
    bool over = false;     // what it is of is whole, or damage; if not, more may come
  };
  /// Takes a read; `chars` say when each byte was on the line. `pieces` is what came of it.
  void take(std::span<const HeardChar> chars, std::vector<Piece>& pieces);
  /// It is `now`, and nothing else came. Returns whether something became clear.
  bool wait(Nanos now);
  [[nodiscard]] Nanos wants_wake() const { return decoder_.wants_wake(); }
  /// Something is half read.
  [[nodiscard]] bool half_read() const { return open_; }

  /// What became clear in the last call, and of which piece (of those since the start, by number) its last byte is.
  struct Found {
    Finding finding;
    std::uint64_t piece = 0;
  };
  [[nodiscard]] std::vector<Found>& found() { return found_; }
  /// Number of the piece that is half read, or of the next one.
  [[nodiscard]] std::uint64_t next_piece() const { return pieces_; }

 private:
  Decoder decoder_;
  std::vector<Finding> fresh_;
  std::vector<Found> found_;
  std::uint32_t position_ = 0;   // of the next byte
  std::uint64_t pieces_ = 0;     // that are over
  bool open_ = false;            // the last one is not
  std::vector<std::size_t> cuts_;  // scratch
  std::vector<std::uint64_t> piece_of_;
};

}  // namespace hopbench
