#include "tolerance.h"

#include <cmath>

#include "line/signal.h"

namespace hopbench {

Reception receive(const LineCoding& line, const ReceiverSpec& spec, Period own, Period sent, Nanos start,
                  const std::vector<std::uint8_t>& bytes) {
  const Timing timing(start, sent, static_cast<std::uint32_t>(bytes.size()), line.char_half_bits());
  Levels levels;
  to_levels(bytes, line, timing, levels);
  Receiver receiver(line, spec, own);
  std::vector<SampledChar> heard;
  receiver.receive(levels, timing, timing.end(), heard);
  if (!receiver.idle()) receiver.decide_held(heard);
  Reception result;
  result.exact = heard.size() == bytes.size();
  const auto mask = static_cast<std::uint8_t>((1U << line.data_bits) - 1U);
  for (std::size_t i = 0; i < heard.size(); ++i) {
    const HeardChar& each = heard[i].heard;
    result.exact = result.exact && each.byte == (bytes[i] & mask) && !each.framing_error && !each.parity_error;
    result.unanimous = result.unanimous && !heard[i].doubtful;
  }
  result.unanimous = result.unanimous && result.exact;
  return result;
}

Reception worst_reception(const LineCoding& line, const ReceiverSpec& spec, Period own, Period sent) {
  // Last data bit (and parity) low before a stop bit, and a start bit right behind it: the edges that come too late or
  // too soon.
  const std::vector<std::vector<std::uint8_t>> data{{0x00, 0x00, 0x00}, {0xff, 0xff, 0xff}, {0x55, 0xaa, 0x55},
                                                    {0x0f, 0xf0, 0x1e}, {0x01, 0x02, 0x04}, {0x08, 0x10, 0x20},
                                                    {0x40, 0x80, 0x7f}};
  const double sample = static_cast<double>(own) / 4294967296.0 / spec.oversampling;
  const Nanos grid = static_cast<Nanos>(std::ceil(1000 * sample));  // a sample instant, rounded up by less than 1 ns
  Reception worst;
  constexpr int phases = 24;
  for (int phase = 0; phase <= phases; ++phase) {
    const Nanos start = phase == phases ? grid + 1 : grid + static_cast<Nanos>(sample * phase / phases);
    for (const auto& bytes : data) {
      const Reception here = receive(line, spec, own, sent, start - (phase == 0 ? 1 : 0), bytes);
      worst.exact = worst.exact && here.exact;
      worst.unanimous = worst.unanimous && here.unanimous;
    }
  }
  return worst;
}

Period sent_at(Period own, double percent) { return static_cast<Period>(static_cast<double>(own) * 100.0 / percent); }

}  // namespace hopbench
