#include "bus/check_plan.h"

#include <array>
#include <utility>

#include "bus/stuffing.h"

namespace hopbench {
namespace {

std::array<std::uint8_t, 2> text_of(std::uint8_t byte) {
  return {hex_character(byte >> 4U), hex_character(byte & 0x0FU)};
}

std::uint64_t largest_of(std::uint32_t width) {
  return width >= 64 ? ~std::uint64_t{0} : (std::uint64_t{1} << width) - 1;
}

/// Bits on the wire: digits are as many as the largest value needs.
std::uint32_t wire_bits(const CheckSpec& spec) {
  const std::uint32_t width = spec.width();
  std::uint32_t decimals = 1;
  for (std::uint64_t left = largest_of(width); left >= 10; left /= 10) ++decimals;
  switch (spec.digits) {
    case Digits::hex_text:
      return 8 * ((width + 3) / 4);
    case Digits::decimal_text:
      return 8 * decimals;
    case Digits::bcd:
      return 8 * ((decimals + 1) / 2);
    case Digits::binary:
      break;
  }
  return 8 * ((width + 7) / 8);
}

FieldCode code_of(const CheckSpec& spec) {
  FieldSpec field;
  field.bits = wire_bits(spec);
  field.digits = spec.digits;
  return FieldCode(field);
}

/// What a sum of sums counts in: its two halves, or the one half of a plain sum with carries.
struct Modulus {
  std::uint32_t bits = 8;
  std::uint64_t number = 255;
};

Modulus modulus_of(SumKind kind, std::uint32_t width) {
  const bool halves = kind == SumKind::fletcher || kind == SumKind::fletcher_256;
  const std::uint32_t bits = halves ? width / 2 : width;
  return {bits, largest_of(bits) + (kind == SumKind::fletcher_256 ? 1U : 0U)};
}

}  // namespace

std::span<const std::uint8_t> Zones::bytes(const ByteRange& range, std::span<const std::uint8_t> content) const {
  if (range.zone == Zone::payload) return content.subspan(front, content.size() - front - back);
  return content.subspan(place(range.zone, range.from, content.size()), range.to - range.from);
}

std::size_t CheckPlan::bytes_of(const CheckSpec& spec) { return wire_bits(spec) / 8; }

CheckPlan::CheckPlan(const CheckSpec& spec, Zone zone, std::size_t byte, std::vector<ByteRange> covers)
    : kind_(spec.kind),
      code_(code_of(spec)),
      little_endian_(spec.little_endian),
      over_text_(spec.over_text),
      width_(spec.width()),
      zone_(zone),
      byte_(byte),
      bytes_(bytes_of(spec)),
      mask_(largest_of(spec.width())),
      covers_(std::move(covers)) {
  if (kind_ == SumKind::crc) crc_.emplace(spec.crc);
}

CheckPlan::Running CheckPlan::begun() const {
  Running running;
  if (crc_) running.sum = crc_->begin();
  return running;
}

void CheckPlan::sum(Running& running, std::span<const std::uint8_t> bytes) const {
  switch (kind_) {
    case SumKind::crc:
      return;
    case SumKind::exclusive_or:
      for (const std::uint8_t byte : bytes) running.sum ^= byte;
      return;
    case SumKind::sum:
    case SumKind::negated_sum:
      for (const std::uint8_t byte : bytes) running.sum += byte;
      return;
    case SumKind::ones_sum:
    case SumKind::negated_ones_sum:
      // A frame has at most 2,048 characters: no carry leaves 64 bits before the end.
      for (const std::uint8_t byte : bytes) {
        running.sum += std::uint64_t{byte} << (width_ - 8 - 8 * (running.bytes++ % (width_ / 8)));
      }
      return;
    case SumKind::fletcher:
    case SumKind::fletcher_256: {
      const std::uint64_t modulus = modulus_of(kind_, width_).number;
      for (const std::uint8_t byte : bytes) {
        const std::size_t in_word = running.bytes++ % (width_ / 16);
        running.word |= std::uint64_t{byte} << (8 * in_word);
        if (in_word + 1 < width_ / 16) continue;
        running.sum = (running.sum + running.word) % modulus;
        running.of_sums = (running.of_sums + running.sum) % modulus;
        running.word = 0;
      }
      return;
    }
  }
}

void CheckPlan::feed(Running& running, std::span<const std::uint8_t> bytes) const {
  if (!over_text_) {
    if (crc_) running.sum = crc_->feed(running.sum, bytes);
    return sum(running, bytes);
  }
  for (const std::uint8_t byte : bytes) {
    const auto text = text_of(byte);
    if (crc_) running.sum = crc_->feed(running.sum, text);
    sum(running, text);
  }
}

std::uint64_t CheckPlan::ended(Running running) const {
  switch (kind_) {
    case SumKind::crc:
      return crc_->end(running.sum);
    case SumKind::negated_sum:
      return (~running.sum + 1) & mask_;
    case SumKind::ones_sum:
    case SumKind::negated_ones_sum:
      while (running.sum > mask_) running.sum = (running.sum & mask_) + (running.sum >> width_);
      return kind_ == SumKind::ones_sum ? running.sum : running.sum ^ mask_;
    case SumKind::fletcher:
    case SumKind::fletcher_256: {
      const std::array<std::uint8_t, 1> filler{0};
      while (running.bytes % (width_ / 16) != 0) sum(running, filler);
      return running.of_sums << (width_ / 2) | running.sum;
    }
    case SumKind::sum:
    case SumKind::exclusive_or:
      break;
  }
  return running.sum & mask_;
}

std::uint64_t CheckPlan::value_over(std::span<const std::uint8_t> content, const Zones& zones) const {
  Running running = begun();
  for (const ByteRange& range : covers_) feed(running, zones.bytes(range, content));
  return ended(running);
}

std::uint64_t CheckPlan::value_of(std::span<const std::uint8_t> bytes) const {
  Running running = begun();
  feed(running, bytes);
  return ended(running);
}

std::optional<std::uint64_t> CheckPlan::stands_at(const std::uint8_t* bytes) const {
  const auto value = code_.load(bytes, 0);
  if (!value || !little_endian_) return value;
  return swapped_bytes(*value, (width_ + 7) / 8 * 8);
}

void CheckPlan::put_at(std::uint8_t* bytes, std::uint64_t value) const {
  code_.store(bytes, 0, little_endian_ ? swapped_bytes(value, (width_ + 7) / 8 * 8) : value);
}

void CheckPlan::put(std::span<std::uint8_t> content, const Zones& zones, std::uint64_t value) const {
  put_at(content.data() + zones.place(zone_, byte_, content.size()), value);
}

void CheckPlan::adjust(std::span<const std::uint8_t> before, std::span<std::uint8_t> after, const Zones& zones) const {
  const auto stood = stands(after, zones);
  // Digits that are none, or say more than the check can be, are wrong whatever is covered: they stay.
  if (!stood || (code_.digits != Digits::binary && *stood > mask_)) return;
  if (crc_) return put(after, zones, crc_adjusted(*stood, before, after, zones));
  // Bits above the width are never right if set: they stay, so that what was wrong stays wrong.
  const std::uint64_t now = sum_adjusted(*stood & mask_, value_over(before, zones), value_over(after, zones));
  put(after, zones, (*stood & ~mask_) | now);
}

/// `stood` changed as the sum over the covered bytes has changed: right stays right, wrong stays wrong.
std::uint64_t CheckPlan::sum_adjusted(std::uint64_t stood, std::uint64_t was, std::uint64_t is) const {
  if (stood == was) return is;
  if (kind_ == SumKind::exclusive_or) return stood ^ was ^ is;
  if (kind_ == SumKind::sum || kind_ == SumKind::negated_sum) return (stood + is - was) & mask_;
  const Modulus modulus = modulus_of(kind_, width_);
  std::uint64_t now = 0;
  for (std::uint32_t shift = 0; shift < width_; shift += modulus.bits) {
    const auto part = [&](std::uint64_t of) { return (of >> shift & largest_of(modulus.bits)) % modulus.number; };
    now |= (part(stood) + part(is) + modulus.number - part(was)) % modulus.number << shift;
  }
  // 0 and all ones are one number here, and two values.
  return now == is ? now ^ mask_ : now;
}

/// The same for a CRC, which is linear but for init and xorout, and both drop out of a difference.
std::uint64_t CheckPlan::crc_adjusted(std::uint64_t stood, std::span<const std::uint8_t> before,
                                      std::span<const std::uint8_t> after, const Zones& zones) const {
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
  return stood ^ crc_->end(state) ^ (crc_->model().xorout & mask_);
}

}  // namespace hopbench
