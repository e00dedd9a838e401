#include "wires/flights.h"

namespace hopbench {
namespace {
constexpr unsigned place_bits = 16;
constexpr std::uint32_t place_mask = (1U << place_bits) - 1U;
}  // namespace

Flight& Flights::add() {
  std::uint32_t place = 0;
  if (landed_.size() > remembered || (places_.size() > place_mask && !landed_.empty())) {
    place = landed_.front();
    landed_.pop_front();
  } else {
    place = static_cast<std::uint32_t>(places_.size());
    places_.push_back(std::make_unique<Flight>());
    places_.back()->tag = place;
  }
  Flight& flight = *places_[place];
  flight.tag += 1U << place_bits;  // another generation of the same place
  flight.has_wire = flight.foreign = flight.has_levels = flight.lost = false;
  flight.slot_offset = 0;
  flight.wanted = 0;
  flight.waited = 0;
  flight.held_by = no_fault;
  flight.inverted.clear();
  flight.injected = {};
  flight.strikes = {};
  flight.stretch = 0;
  flight.overrun = flight.merged = flight.deaf = flight.cut_off = flight.asleep = flight.not_fetched = false;
  flight.resolved = flight.explained = flight.clean = flight.passed_on = flight.relay_damaged = false;
  flight.row = 0xffffffff;
  return flight;
}

Flight* Flights::find(std::uint32_t tag) {
  const std::uint32_t place = tag & place_mask;
  if (place >= places_.size() || places_[place]->tag != tag) return nullptr;
  return places_[place].get();
}

void Flights::land(Flight& flight) { landed_.push_back(flight.tag & place_mask); }

}  // namespace hopbench
