#include "line/wander.h"

namespace hopbench {
namespace {

constexpr std::int64_t ppb = 1'000'000'000;

}  // namespace

// From one point to the next the phase moves by twice the most that a point is off, at the most.
Wander::Wander(StreamKey stream, std::int64_t most_ppb, Nanos every)
    : stream_(stream), most_(static_cast<Nanos>(static_cast<__int128>(most_ppb) * every / (2 * ppb))), every_(every) {}

Nanos Wander::point(std::int64_t number) const {
  const auto width = 2 * static_cast<std::uint64_t>(most_) + 1;
  return static_cast<Nanos>(below(width, draw(stream_, static_cast<std::uint64_t>(number), 0))) - most_;
}

Nanos Wander::ahead(Nanos at) const {
  if (most_ == 0) return 0;
  const std::int64_t number = at / every_;
  if (number != number_) {
    from_ = point(number);
    to_ = point(number + 1);
    number_ = number;
  }
  return from_ + static_cast<Nanos>(static_cast<__int128>(to_ - from_) * (at % every_) / every_);
}

}  // namespace hopbench
