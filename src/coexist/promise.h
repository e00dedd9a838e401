// What sharing a chain means: the promises that a new kind of node makes to the old ones and to their controller.
#pragma once

#include <cstddef>
#include <cstdint>
#include <span>
#include <string_view>

namespace hopbench {

struct Promise {
  std::string_view id;       // for commands, and for reports: "old-answers"
  std::string_view says;     // one sentence
  std::string_view tried;    // how, in one sentence
  std::string_view matters;  // what a breach means in service, in one sentence
};

enum class PromiseNumber : std::uint8_t {
  old_answers,
  passes_on,
  old_controller,
  in_time,
  room,
  addresses,
  to_everyone,
  after_damage,
  clocks,
  restarts,
  balancing,
  numbers,
  cost,
  electrical,
};
inline constexpr std::size_t promise_count = 14;

/// In the order of their numbers.
std::span<const Promise, promise_count> promises();

}  // namespace hopbench
