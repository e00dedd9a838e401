#include "pack/decay.h"

namespace hopbench {

std::uint64_t decay_share(Nanos step, Nanos tau) {
  using Wide = unsigned __int128;
  constexpr unsigned bits = 60;
  constexpr Wide one = Wide{1} << bits;
  if (step <= 0) return 0;
  if (step / tau >= 40) return std::uint64_t{1} << 32U;  // nothing is left that could be told
  // exp(-x) = exp(-x / 2^halvings)^(2^halvings), the inner one by its series.
  constexpr unsigned halvings = 10;
  const Wide x = (static_cast<Wide>(step) << (bits - halvings)) / static_cast<Wide>(tau);
  Wide term = one;
  Wide positive = one;
  Wide negative = 0;
  for (unsigned n = 1; n < 12; ++n) {
    term = ((term * x) >> bits) / n;
    (n % 2 == 0 ? positive : negative) += term;
  }
  Wide rest = positive - negative;
  for (unsigned i = 0; i < halvings; ++i) rest = (rest * rest) >> bits;
  return static_cast<std::uint64_t>((one - rest) >> (bits - 32));
}

std::int64_t decay_toward(std::int64_t now, std::int64_t target, std::uint64_t share) {
  const std::int64_t way = target - now;
  const auto go =
      static_cast<std::int64_t>(static_cast<__int128>(way) * static_cast<__int128>(share) / (__int128{1} << 32U));
  if (go != 0 || way == 0) return now + go;
  return now + (way > 0 ? 1 : -1);
}

}  // namespace hopbench
