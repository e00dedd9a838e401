#include "budget/check_budget.h"

#include <algorithm>

#include "budget/error_patterns.h"
#include "bus/check_plan.h"
#include "bus/frame_plan.h"
#include "bus/part_names.h"

namespace hopbench {
namespace {

std::string in_hex(std::uint64_t value, std::uint32_t width) {
  std::string digits;
  for (std::uint32_t shift = (width + 3) / 4 * 4; shift > 0; shift -= 4) {
    digits += "0123456789ABCDEF"[value >> (shift - 4) & 0xfU];
  }
  return "0x" + digits;
}

/// A sum or exclusive or over `bytes` bytes, the check among them. Two bits of one column are missed: always by
/// exclusive or, and in a sum's top column, whose carry is lost; elsewhere if they turn over in opposite ways, which of
/// any data half do. (P. Koopman and T. Maxino, "The effectiveness of checksums for embedded control networks", IEEE
/// TDSC 6(1), 2009, from memory: a share of (k + 1) / 2k^2 of all pairs.)
UnnoticedPatterns patterns_of_sum(const CheckSpec& check, std::size_t bytes) {
  UnnoticedPatterns found;
  found.width = std::min<std::uint32_t>(check.bits, 8);
  // A sum of sums weighs each place otherwise, modulo a number that is odd: one wrong bit changes both sums, and two of
  // one column cancel in both only if they are a multiple of the modulus apart.
  const bool weighed =
      check.kind == SumKind::fletcher && bytes / (check.bits / 16) < (check.bits == 16 ? 255U : 65'535U);
  found.bits = bytes * found.width;
  found.counted_to = 2;
  const double pairs = static_cast<double>(bytes) * static_cast<double>(bytes - 1) / 2;
  const double columns = found.width;
  found.of_weight[0] = 1;
  if (bytes < 2) return found;
  if (weighed) return found;
  found.of_weight[2] = check.kind == SumKind::exclusive_or ? pairs * columns
                       : check.bits > 8                    ? pairs * columns / 2
                                                           : pairs * (columns + 1) / 2;
  return found;
}

/// Bytes of the sum's codeword with `covered` bytes under it.
std::size_t summed(const CheckSpec& check, std::size_t covered) {
  return covered + (check.kind == SumKind::fletcher ? check.bits / 8 : 1);
}

UnnoticedPatterns patterns_of(const CheckSpec& check, std::size_t covered) {
  if (check.kind != SumKind::crc) return patterns_of_sum(check, summed(check, covered));
  return unnoticed_patterns(check.crc.width, syndromes_of(check.crc, 8 * covered + check.crc.width));
}

/// Wrong bits that may pass. In a check of digits one wrong bit can change up to three bits of the value ("C" to "B"),
/// so what is known of the value's bits is divided by three; two it takes always, one of them in what is covered.
std::size_t distance_of(const CheckSpec& check, const UnnoticedPatterns& found, bool& at_least) {
  const std::size_t distance = found.distance(at_least);
  if (check.digits == Digits::binary || distance <= 2) return distance;
  at_least = true;
  return std::max<std::size_t>(2, (distance + 2) / 3);
}

/// Digits of the check and what it covers wrong at once: not counted, so all of them are taken to pass.
double digits_wrong_too(const CheckSpec& check, std::size_t covered, double bit_error) {
  if (check.digits == Digits::binary) return 0;
  const double own = std::min(1.0, 8.0 * static_cast<double>(CheckPlan::bytes_of(check)) * bit_error);
  return own * std::min(1.0, 8.0 * static_cast<double>(covered) * bit_error);
}

}  // namespace

const CheckSpec& check_at(const BusDescription& bus, std::size_t shape, std::size_t part) {
  const PartSpec& spec = parts_of(bus, shape)[part];
  return spec.check ? *spec.check : *spec.block_check;
}

std::string kind_of_check(const CheckSpec& check) {
  switch (check.kind) {
    case SumKind::crc:
      return "CRC-" + std::to_string(check.crc.width) + " " + in_hex(check.crc.poly, check.crc.width);
    case SumKind::sum:
      return std::to_string(check.bits) + "-bit sum";
    case SumKind::negated_sum:
      return std::to_string(check.bits) + "-bit negated sum";
    case SumKind::exclusive_or:
      return "exclusive or";
    case SumKind::ones_sum:
    case SumKind::negated_ones_sum:
      return std::to_string(check.bits) + "-bit ones' sum";
    case SumKind::fletcher:
      return "Fletcher-" + std::to_string(check.bits);
    case SumKind::fletcher_256:
      return "Fletcher mod 256";
  }
  return "";
}

CheckBudget::CheckBudget(const BusDescription& bus, std::size_t shape)
    : bus_(&bus), parts_(&parts_of(bus, shape)), shape_(shape) {
  for (std::size_t i = 0; i < parts_->size(); ++i) {
    if ((*parts_)[i].check) checks_.push_back(i);
    if ((*parts_)[i].block_check) in_blocks_ = &(*parts_)[i];
  }
}

std::vector<CheckBudget::Extent> CheckBudget::extents(std::size_t payload_bytes) const {
  std::vector<Extent> all;
  std::size_t at = 0;
  for (const PartSpec& part : *parts_) {
    const std::size_t bits = part.field   ? part.field->bits
                             : part.check ? 8 * CheckPlan::bytes_of(*part.check)
                                          : 8 * payload_bytes;
    all.push_back({at, at + bits});
    at += bits;
  }
  return all;
}

bool CheckBudget::covers(std::size_t check, std::size_t part) const {
  const std::vector<std::string>& names = (*parts_)[check].check->covers;
  if (names.empty()) return part < check;
  return std::find(names.begin(), names.end(), name_of_part((*parts_)[part])) != names.end();
}

std::vector<std::size_t> CheckBudget::covered_bytes(std::size_t check, const std::vector<Extent>& extents) const {
  std::vector<std::size_t> bytes;
  for (std::size_t part = 0; part < extents.size(); ++part) {
    if (!covers(check, part)) continue;
    for (std::size_t byte = extents[part].from / 8; byte < (extents[part].to + 7) / 8; ++byte) {
      if (bytes.empty() || bytes.back() != byte) bytes.push_back(byte);
    }
  }
  return bytes;
}

/// Bytes whose damage it sees: those covered, and its own.
std::vector<bool> CheckBudget::codeword(std::size_t check, const std::vector<Extent>& extents) const {
  std::vector<bool> in((extents.back().to + 7) / 8, false);
  for (const std::size_t byte : covered_bytes(check, extents)) in[byte] = true;
  for (std::size_t byte = extents[check].from / 8; byte < extents[check].to / 8; ++byte) in[byte] = true;
  return in;
}

std::vector<CheckedLength> CheckBudget::lengths(std::size_t payload_bytes) const {
  const std::vector<Extent> places = extents(payload_bytes);
  const std::size_t frame_bytes = FramePlan(*bus_, shape_).total_for(payload_bytes);
  std::vector<CheckedLength> all;
  if (in_blocks_ != nullptr && payload_bytes > 0) {
    const CheckSpec& spec = *in_blocks_->block_check;
    const std::size_t bytes = std::min<std::size_t>(in_blocks_->block_bytes, payload_bytes);
    CheckedLength length;
    length.part = static_cast<std::size_t>(in_blocks_ - parts_->data());
    length.bits = 8 * bytes + spec.width();
    length.distance = distance_of(spec, patterns_of(spec, bytes), length.at_least);
    all.push_back(length);
  }
  for (const std::size_t check : checks_) {
    const CheckSpec& spec = *(*parts_)[check].check;
    CheckedLength length;
    length.part = check;
    const std::size_t bytes = covered_bytes(check, places).size() * (spec.over_text ? 2 : 1);
    length.bits = 8 * bytes + spec.width();
    length.distance = distance_of(spec, patterns_of(spec, bytes), length.at_least);
    all.push_back(length);
  }
  for (CheckedLength& each : all) {
    each.shape = shape_;
    each.payload_bytes = payload_bytes;
    each.frame_bytes = frame_bytes;
  }
  return all;
}

double CheckBudget::unnoticed_in_blocks(const std::vector<Extent>& extents, double bit_error,
                                        std::vector<bool>& seen) const {
  if (in_blocks_ == nullptr) return 0;
  const CheckSpec& spec = *in_blocks_->block_check;
  const Extent& payload = extents[static_cast<std::size_t>(in_blocks_ - parts_->data())];
  double sum = 0;
  for (std::size_t from = payload.from / 8; from < payload.to / 8;) {
    const std::size_t bytes = std::min<std::size_t>(in_blocks_->block_bytes, payload.to / 8 - from);
    sum += patterns_of(spec, bytes).probability(bit_error) + digits_wrong_too(spec, bytes, bit_error);
    for (const std::size_t end = from + bytes; from < end; ++from) seen[from] = true;
  }
  return sum;
}

double CheckBudget::unnoticed(std::size_t payload_bytes, double bit_error) const {
  const std::vector<Extent> places = extents(payload_bytes);
  std::vector<std::size_t> order = checks_;
  std::stable_sort(order.begin(), order.end(), [&](std::size_t a, std::size_t b) {
    return covered_bytes(a, places).size() > covered_bytes(b, places).size();
  });
  std::vector<bool> seen((places.back().to + 7) / 8, false);  // by the checks before
  double sum = unnoticed_in_blocks(places, bit_error, seen);
  for (const std::size_t check : order) {
    const CheckSpec& spec = *(*parts_)[check].check;
    const std::vector<std::size_t> bytes = covered_bytes(check, places);
    const std::size_t per_byte = spec.over_text ? 16 : 8;
    std::vector<std::uint64_t> left;  // syndromes of what no check before sees
    std::size_t bytes_left = 0;
    if (spec.kind == SumKind::crc) {
      const std::size_t data = per_byte * bytes.size();
      const auto all = syndromes_of(spec.crc, data + spec.crc.width);
      for (std::size_t i = 0; i < bytes.size(); ++i) {
        if (seen[bytes[i]]) continue;
        const std::size_t last = spec.crc.width + data - per_byte * (i + 1);
        for (std::size_t bit = 0; bit < per_byte; ++bit) left.push_back(all[last + bit]);
      }
      if (!seen[places[check].from / 8]) left.insert(left.end(), all.begin(), all.begin() + spec.crc.width);
      sum += unnoticed_patterns(spec.crc.width, left).probability(bit_error);
    } else {
      for (const std::size_t byte : bytes) bytes_left += seen[byte] ? 0U : 1U;
      if (!seen[places[check].from / 8]) ++bytes_left;
      if (bytes_left > 0) sum += patterns_of_sum(spec, bytes_left).probability(bit_error);
    }
    sum += digits_wrong_too(spec, bytes.size(), bit_error);
    const std::vector<bool> own = codeword(check, places);
    for (std::size_t byte = 0; byte < own.size(); ++byte) seen[byte] = seen[byte] || own[byte];
  }
  for (std::size_t part = 0; part < places.size(); ++part) {
    const bool fixed = (*parts_)[part].field && (*parts_)[part].field->constant && !(*parts_)[part].field->sent_only;
    if (fixed || (*parts_)[part].check) continue;
    std::size_t open = 0;
    for (std::size_t bit = places[part].from; bit < places[part].to; ++bit) open += seen[bit / 8] ? 0U : 1U;
    sum += static_cast<double>(open) * bit_error;
  }
  return std::min(1.0, sum);
}

std::vector<std::string> CheckBudget::unchecked() const {
  std::vector<std::string> names;
  for (std::size_t part = 0; part < parts_->size(); ++part) {
    const PartSpec& spec = (*parts_)[part];
    if (spec.check || (spec.field && spec.field->constant && !spec.field->sent_only)) continue;
    const bool any = spec.block_check || std::any_of(checks_.begin(), checks_.end(),
                                                     [&](std::size_t check) { return covers(check, part); });
    if (!any) names.emplace_back(name_of_part(spec));
  }
  return names;
}

std::vector<std::string> CheckBudget::covered_by_it_alone(std::size_t part) const {
  std::vector<std::string> names;
  for (std::size_t other = 0; other < parts_->size(); ++other) {
    if (other == part || !covers(part, other)) continue;
    const bool shared = std::any_of(checks_.begin(), checks_.end(),
                                    [&](std::size_t check) { return check != part && covers(check, other); });
    if (!shared) names.emplace_back(name_of_part((*parts_)[other]));
  }
  return names;
}

}  // namespace hopbench
