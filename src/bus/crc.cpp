#include "bus/crc.h"

namespace hopbench {
namespace {

std::uint64_t mirrored(std::uint64_t value, std::uint32_t width) {
  std::uint64_t out = 0;
  for (std::uint32_t i = 0; i < width; ++i) out |= ((value >> i) & 1U) << (width - 1 - i);
  return out;
}

}  // namespace

// The register is kept so that a byte enters without a shift by the width: with refin mirrored and at
// the right, else at the left end of 64 bits. Widths under 8 need no case of their own that way.
Crc::Crc(const CrcModel& model)
    : model_(model), mask_(model.width >= 64 ? ~std::uint64_t{0} : (std::uint64_t{1} << model.width) - 1) {
  if (model_.refin) {
    const std::uint64_t poly = mirrored(model_.poly & mask_, model_.width);
    for (std::uint64_t byte = 0; byte < 256; ++byte) {
      std::uint64_t state = byte;
      for (int bit = 0; bit < 8; ++bit) state = (state & 1U) != 0 ? (state >> 1U) ^ poly : state >> 1U;
      table_[byte] = state;
    }
  } else {
    constexpr std::uint64_t top = std::uint64_t{1} << 63U;
    const std::uint64_t poly = (model_.poly & mask_) << (64 - model_.width);
    for (std::uint64_t byte = 0; byte < 256; ++byte) {
      std::uint64_t state = byte << 56U;
      for (int bit = 0; bit < 8; ++bit) state = (state & top) != 0 ? (state << 1U) ^ poly : state << 1U;
      table_[byte] = state;
    }
  }
}

std::uint64_t Crc::begin() const {
  const std::uint64_t init = model_.init & mask_;
  return model_.refin ? mirrored(init, model_.width) : init << (64 - model_.width);
}

std::uint64_t Crc::feed(std::uint64_t state, std::span<const std::uint8_t> bytes) const {
  if (model_.refin) {
    for (const std::uint8_t byte : bytes) state = (state >> 8U) ^ table_[(state ^ byte) & 0xFFU];
  } else {
    for (const std::uint8_t byte : bytes) state = (state << 8U) ^ table_[(state >> 56U) ^ byte];
  }
  return state;
}

std::uint64_t Crc::end(std::uint64_t state) const {
  std::uint64_t value = model_.refin ? state : state >> (64 - model_.width);
  if (model_.refin != model_.refout) value = mirrored(value, model_.width);
  return (value ^ model_.xorout) & mask_;
}

std::uint64_t Crc::of(std::span<const std::uint8_t> bytes) const { return end(feed(begin(), bytes)); }

}  // namespace hopbench
