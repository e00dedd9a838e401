#include "bus/check_plan.h"

#include <array>
#include <utility>

#include "bus/bits.h"
#include "bus/stuffing.h"

namespace hopbench {
namespace {

std::array<std::uint8_t, 2> text_of(std::uint8_t byte) {
  return {hex_character(byte >> 4U), hex_character(byte & 0x0FU)};
}

std::uint32_t width_of(const CheckSpec& spec) { return spec.kind == SumKind::crc ? spec.crc.width : spec.bits; }

}  // namespace

std::span<const std::uint8_t> Zones::bytes(const ByteRange& range, std::span<const std::uint8_t> content) const {
  if (range.zone == Zone::payload) return content.subspan(front, content.size() - front - back);
  return content.subspan(place(range.zone, range.from, content.size()), range.to - range.from);
}

std::size_t CheckPlan::bytes_of(const CheckSpec& spec) { return (width_of(spec) + 7) / 8; }

CheckPlan::CheckPlan(const CheckSpec& spec, Zone zone, std::size_t byte, std::vector<ByteRange> covers)
    : kind_(spec.kind),
      little_endian_(spec.little_endian),
      over_text_(spec.over_text),
      zone_(zone),
      byte_(byte),
      bytes_(bytes_of(spec)),
      mask_(width_of(spec) >= 64 ? ~std::uint64_t{0} : (std::uint64_t{1} << width_of(spec)) - 1),
      covers_(std::move(covers)) {
  if (kind_ == SumKind::crc) crc_.emplace(spec.crc);
}

std::uint64_t CheckPlan::sum(std::uint64_t state, std::span<const std::uint8_t> bytes) const {
  if (kind_ == SumKind::exclusive_or) {
    for (const std::uint8_t byte : bytes) state ^= byte;
  } else {
    for (const std::uint8_t byte : bytes) state += byte;
  }
  return state;
}

std::uint64_t CheckPlan::fed(std::uint64_t state, std::span<const std::uint8_t> bytes) const {
  if (!over_text_) return crc_ ? crc_->feed(state, bytes) : sum(state, bytes);
  for (const std::uint8_t byte : bytes) {
    const auto text = text_of(byte);
    state = crc_ ? crc_->feed(state, text) : sum(state, text);
  }
  return state;
}

std::uint64_t CheckPlan::ended(std::uint64_t state) const {
  if (crc_) return crc_->end(state);
  return (kind_ == SumKind::negated_sum ? ~state + 1 : state) & mask_;
}

std::uint64_t CheckPlan::value_over(std::span<const std::uint8_t> content, const Zones& zones) const {
  std::uint64_t state = crc_ ? crc_->begin() : 0;
  for (const ByteRange& range : covers_) state = fed(state, zones.bytes(range, content));
  return ended(state);
}

std::uint64_t CheckPlan::stands(std::span<const std::uint8_t> content, const Zones& zones) const {
  const auto bits = static_cast<std::uint32_t>(8 * bytes_);
  const std::uint64_t value = load_bits(content.data(), 8 * zones.place(zone_, byte_, content.size()), bits);
  return little_endian_ ? swapped_bytes(value, bits) : value;
}

void CheckPlan::put(std::span<std::uint8_t> content, const Zones& zones, std::uint64_t value) const {
  const auto bits = static_cast<std::uint32_t>(8 * bytes_);
  store_bits(content.data(), 8 * zones.place(zone_, byte_, content.size()), bits,
             little_endian_ ? swapped_bytes(value, bits) : value);
}

void CheckPlan::adjust(std::span<const std::uint8_t> before, std::span<std::uint8_t> after, const Zones& zones) const {
  const std::uint64_t stood = stands(after, zones);
  if (!crc_) {
    std::uint64_t was = 0;
    std::uint64_t is = 0;
    for (const ByteRange& range : covers_) {
      was = fed(was, zones.bytes(range, before));
      is = fed(is, zones.bytes(range, after));
    }
    std::uint64_t now = stood ^ was ^ is;
    if (kind_ == SumKind::sum) now = stood + is - was;
    if (kind_ == SumKind::negated_sum) now = stood - is + was;
    // Bits above the width are never right if set: they stay, so that what was wrong stays wrong.
    put(after, zones, (stood & ~mask_) | (now & mask_));
    return;
  }
  // A CRC is linear but for init and xorout, and both drop out of a difference.
  std::uint64_t state = 0;
  for (const ByteRange& range : covers_) {
    const auto was = zones.bytes(range, before);
    const auto is = zones.bytes(range, after);
    for (std::size_t i = 0; i < is.size(); ++i) {
      if (over_text_) {
        const auto text_was = text_of(was[i]);
        const auto text_is = text_of(is[i]);
        const std::array<std::uint8_t, 2> changed{static_cast<std::uint8_t>(text_was[0] ^ text_is[0]),
                                                  static_cast<std::uint8_t>(text_was[1] ^ text_is[1])};
        state = crc_->feed(state, changed);
      } else {
        const std::array<std::uint8_t, 1> changed{static_cast<std::uint8_t>(was[i] ^ is[i])};
        state = crc_->feed(state, changed);
      }
    }
  }
  put(after, zones, stood ^ crc_->end(state) ^ (crc_->model().xorout & mask_));
}

}  // namespace hopbench
