// Numbers drawn from a number, for scenarios that tests make up.
#pragma once

#include <cstdint>
#include <string_view>
#include <vector>

#include "base/luck.h"

namespace hopbench {

class Dice {
 public:
  Dice(std::string_view what, std::uint64_t number) : stream_(Luck(number).stream(name_hash(what), Purpose::test, 0)) {}
  std::uint64_t up_to(std::uint64_t most) { return below(most + 1, draw(stream_, next_++, 0)); }
  std::int64_t between(std::int64_t low, std::int64_t high) {
    return low + static_cast<std::int64_t>(up_to(static_cast<std::uint64_t>(high - low)));
  }
  bool one_in(std::uint64_t n) { return up_to(n - 1) == 0; }
  template <class T>
  const T& of(const std::vector<T>& choice) {
    return choice[up_to(choice.size() - 1)];
  }

 private:
  StreamKey stream_;
  std::uint64_t next_ = 0;
};

}  // namespace hopbench
