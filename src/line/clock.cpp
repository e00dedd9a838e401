#include "line/clock.h"

namespace hopbench {

std::uint32_t nearest_divisor(std::uint64_t oscillator_hz, std::uint32_t oversampling, std::uint64_t baud) {
  const std::uint64_t clocks_per_step = static_cast<std::uint64_t>(oversampling) * baud;
  const std::uint64_t divisor = (oscillator_hz + clocks_per_step / 2) / clocks_per_step;
  return divisor == 0 ? 1 : static_cast<std::uint32_t>(divisor);
}

Period period_of(const ClockSpec& clock, std::uint64_t baud, const Luck& luck, std::uint64_t station_hash) {
  constexpr std::int64_t billion = 1'000'000'000;
  Period period = period_of_baud(baud);
  if (clock.oscillator_hz != 0) {
    const std::uint32_t divisor =
        clock.divisor != 0 ? clock.divisor : nearest_divisor(clock.oscillator_hz, clock.oversampling, baud);
    const unsigned __int128 clocks = static_cast<unsigned __int128>(divisor) * clock.oversampling;
    period = static_cast<Period>(((clocks * static_cast<std::uint64_t>(second)) << 32U) / clock.oscillator_hz);
  }
  std::int64_t fast_ppb = clock.error_ppb;
  if (clock.spread_ppb > 0) {
    const std::uint64_t bits = draw(luck.stream(station_hash, Purpose::clock_trim, 0), 0, 0);
    fast_ppb +=
        static_cast<std::int64_t>(below(2 * static_cast<std::uint64_t>(clock.spread_ppb) + 1, bits)) - clock.spread_ppb;
  }
  return static_cast<Period>(static_cast<unsigned __int128>(period) * static_cast<std::uint64_t>(billion) /
                             static_cast<std::uint64_t>(billion + fast_ppb));
}

}  // namespace hopbench
