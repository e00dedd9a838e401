// A figure in three cases.
#pragma once

#include <array>
#include <cstddef>
#include <cstdint>

#include "base/time.h"

namespace hopbench {

enum class BudgetCase : std::uint8_t {
  best,     // nothing holds anything up, clocks as quick as they can be
  typical,  // as the scenario states it: clocks without trim at 25 degrees Celsius, nothing bled, no processor busy
  worst,    // clocks as slow as they can be, everything bled, each processor busy for as long as it ever is
};
inline constexpr std::array budget_cases{BudgetCase::best, BudgetCase::typical, BudgetCase::worst};

template <class T>
struct ByCase {
  std::array<T, budget_cases.size()> of{};
  [[nodiscard]] T& operator[](BudgetCase which) { return of[static_cast<std::size_t>(which)]; }
  [[nodiscard]] const T& operator[](BudgetCase which) const { return of[static_cast<std::size_t>(which)]; }
  [[nodiscard]] const T& best() const { return of[0]; }
  [[nodiscard]] const T& typical() const { return of[1]; }
  [[nodiscard]] const T& worst() const { return of[2]; }
  friend bool operator==(const ByCase&, const ByCase&) = default;
};

/// A worst span may be `never`: nothing bounds it.
using CaseSpans = ByCase<Nanos>;

/// Sums and multiples that stay `never`.
constexpr Nanos sum_of(Nanos a, Nanos b) { return a == never || b == never || a > never - b ? never : a + b; }
constexpr Nanos times_of(Nanos span, std::uint64_t n) {
  if (n == 0 || span == 0) return 0;
  return span == never || static_cast<std::uint64_t>(never / span) < n ? never : span * static_cast<Nanos>(n);
}

}  // namespace hopbench
