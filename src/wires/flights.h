// The flights of the moment. A tag stays good for a while after its flight is over, so that an ear that is still
// puzzling over characters can say where they came from.
#pragma once

#include <cstdint>
#include <memory>
#include <vector>

#include "base/fifo.h"
#include "wires/flight.h"

namespace hopbench {

class Flights {
 public:
  /// A fresh flight; its tag is set, its parcel is for the caller to set. The reference stays good until land().
  Flight& add();
  /// The flight with this tag; null if it has been forgotten.
  [[nodiscard]] Flight* find(std::uint32_t tag);
  /// It is over; its place may be used again later.
  void land(Flight& flight);
  /// Not over yet. At most 65,535 may be, which is for the caller to see to.
  [[nodiscard]] std::size_t in_the_air() const { return places_.size() - landed_.size(); }

 private:
  static constexpr std::size_t remembered = 32;  // places that stay untouched after landing
  std::vector<std::unique_ptr<Flight>> places_;
  Fifo<std::uint32_t> landed_;
};

}  // namespace hopbench
