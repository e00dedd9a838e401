// All chance in the bench: numbers that are a pure function of the seed and of what they are for.
//
// A draw is named by an entity (by its NAME in the scenario), a purpose, and an index; never by what
// was drawn before it or by the entity's place in the chain. So a node, a fault or a mechanism can be
// taken out of a scenario and every other draw stays what it was.
//
// Generator: Philox 4x32-10 (Salmon, Moraes, Dror, Shaw: "Parallel random numbers: as easy as 1, 2,
// 3", SC'11), from the Random123 library.
#pragma once

#include <array>
#include <cstdint>
#include <string_view>

namespace hopbench {

/// What a stream of draws decides. Values are part of every recorded run: add, never renumber.
enum class Purpose : std::uint32_t {
  bit_noise = 1,
  burst_sojourn = 2,
  contact_sojourn = 3,
  clock_trim = 4,
  cell_trim = 5,
  back_off = 6,
  fault_strike = 7,
  fault_detail = 8,
  pacing = 9,
  serial_number = 10,
  charger_noise = 11,
  switching_noise = 12,
  bleed_noise = 13,
  chop_phase = 14,
  duty_phase = 15,
  duty_length = 16,
  duty_jitter = 17,
  fall_silent = 18,
  cell_capacity = 19,
  cell_charge = 20,
  cell_leakage = 21,
  permutation = 22,
  mains_wander = 23,
  switching_wander = 24,
  test = 1000,
};

/// 64-bit FNV-1a of a name (Fowler, Noll, Vo), chained from `seed_hash` to join several parts.
std::uint64_t name_hash(std::string_view name, std::uint64_t seed_hash = 0xcbf29ce484222325U);

/// Joins a number into a name hash, so that "third try" and "leg 2" can be parts of a name.
std::uint64_t name_hash(std::uint64_t part, std::uint64_t seed_hash);

/// One stream of draws. Two streams with different keys are independent.
struct StreamKey {
  std::uint64_t k = 0;
  friend bool operator==(const StreamKey&, const StreamKey&) = default;
};

/// The source of all streams of a run.
class Luck {
 public:
  explicit Luck(std::uint64_t seed) : seed_(seed) {}

  [[nodiscard]] StreamKey stream(std::uint64_t entity_hash, Purpose purpose, std::uint64_t sub) const;

  [[nodiscard]] std::uint64_t seed() const { return seed_; }

 private:
  std::uint64_t seed_;
};

/// 128 random bits number (index, ordinal) of a stream.
std::array<std::uint64_t, 2> draw2(StreamKey stream, std::uint64_t index, std::uint64_t ordinal);

/// 64 random bits number (index, ordinal) of a stream.
inline std::uint64_t draw(StreamKey stream, std::uint64_t index, std::uint64_t ordinal) {
  return draw2(stream, index, ordinal)[0];
}

/// Maps 64 random bits to 0..bound-1 (bound > 0) by a multiplication; the bias is below 2^-64 * bound.
constexpr std::uint64_t below(std::uint64_t bound, std::uint64_t random_bits) {
  return static_cast<std::uint64_t>((static_cast<unsigned __int128>(bound) * random_bits) >> 64U);
}

/// Maps 64 random bits to an exponentially distributed span with the given mean (mean >= 0), by
/// -mean * ln(u) in integers. The largest value is 64 * ln 2 = 44.4 means.
std::int64_t exponential(std::int64_t mean, std::uint64_t random_bits);

}  // namespace hopbench
