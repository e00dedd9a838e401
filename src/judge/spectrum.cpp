#include "judge/spectrum.h"

#include <cstddef>
#include <numbers>
#include <utility>

namespace hopbench {

void transform(std::vector<std::complex<double>>& values) {
  const std::size_t size = values.size();
  for (std::size_t i = 1, j = 0; i < size; ++i) {
    std::size_t bit = size / 2;
    for (; (j & bit) != 0; bit /= 2) j ^= bit;
    j ^= bit;
    if (i < j) std::swap(values[i], values[j]);
  }
  std::vector<std::complex<double>> turns(size / 2);
  for (std::size_t i = 0; i < turns.size(); ++i) {
    turns[i] = std::polar(1.0, -2 * std::numbers::pi * static_cast<double>(i) / static_cast<double>(size));
  }
  for (std::size_t length = 2; length <= size; length *= 2) {
    const std::size_t step = size / length;
    for (std::size_t first = 0; first < size; first += length) {
      for (std::size_t i = 0; i < length / 2; ++i) {
        const auto a = values[first + i];
        const auto b = values[first + i + length / 2];
        const auto& t = turns[i * step];
        // By hand: the library's product looks after infinities.
        const std::complex<double> turned(b.real() * t.real() - b.imag() * t.imag(),
                                          b.real() * t.imag() + b.imag() * t.real());
        values[first + i] = a + turned;
        values[first + i + length / 2] = a - turned;
      }
    }
  }
}

}  // namespace hopbench
