#include "budget/check_budget.h"

#include <algorithm>

#include "budget/error_patterns.h"
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

std::uint32_t width_of(const CheckSpec& check) { return check.kind == SumKind::crc ? check.crc.width : check.bits; }

/// A sum or exclusive or over `bytes` bytes, the check among them. Two bits of one column are missed: always by
/// exclusive or, and in a sum's top column, whose carry is lost; elsewhere if they turn over in opposite ways, which of
/// any data half do. (P. Koopman and T. Maxino, "The effectiveness of checksums for embedded control networks", IEEE
/// TDSC 6(1), 2009, from memory: a share of (k + 1) / 2k^2 of all pairs.)
UnnoticedPatterns patterns_of_sum(const CheckSpec& check, std::size_t bytes) {
  UnnoticedPatterns found;
  found.width = std::min<std::uint32_t>(check.bits, 8);
  found.bits = bytes * found.width;
  found.counted_to = 2;
  const double pairs = static_cast<double>(bytes) * static_cast<double>(bytes - 1) / 2;
  const double columns = found.width;
  found.of_weight[0] = 1;
  if (bytes < 2) return found;
  found.of_weight[2] = check.kind == SumKind::exclusive_or ? pairs * columns
                       : check.bits > 8                    ? pairs * columns / 2
                                                           : pairs * (columns + 1) / 2;
  return found;
}

}  // namespace

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
  }
  return "";
}

CheckBudget::CheckBudget(const BusDescription& bus) : bus_(&bus) {
  for (std::size_t i = 0; i < bus.parts.size(); ++i) {
    if (bus.parts[i].check) checks_.push_back(i);
  }
}

std::vector<CheckBudget::Extent> CheckBudget::extents(std::size_t payload_bytes) const {
  std::vector<Extent> all;
  std::size_t at = 0;
  for (const PartSpec& part : bus_->parts) {
    const std::size_t bits = part.field   ? part.field->bits
                             : part.check ? std::size_t{(width_of(*part.check) + 7) / 8} * 8
                                          : 8 * payload_bytes;
    all.push_back({at, at + bits});
    at += bits;
  }
  return all;
}

bool CheckBudget::covers(std::size_t check, std::size_t part) const {
  const std::vector<std::string>& names = bus_->parts[check].check->covers;
  if (names.empty()) return part < check;
  return std::find(names.begin(), names.end(), name_of_part(bus_->parts[part])) != names.end();
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
  std::vector<CheckedLength> all;
  for (const std::size_t check : checks_) {
    const CheckSpec& spec = *bus_->parts[check].check;
    CheckedLength length;
    length.part = check;
    length.payload_bytes = payload_bytes;
    length.frame_bytes = (places.back().to + 7) / 8;
    const std::size_t bytes = covered_bytes(check, places).size() * (spec.over_text ? 2 : 1);
    length.bits = 8 * bytes + width_of(spec);
    const UnnoticedPatterns found = spec.kind == SumKind::crc
                                        ? unnoticed_patterns(spec.crc.width, syndromes_of(spec.crc, length.bits))
                                        : patterns_of_sum(spec, bytes + 1);
    length.distance = found.distance(length.at_least);
    all.push_back(length);
  }
  return all;
}

double CheckBudget::unnoticed(std::size_t payload_bytes, double bit_error) const {
  const std::vector<Extent> places = extents(payload_bytes);
  std::vector<std::size_t> order = checks_;
  std::stable_sort(order.begin(), order.end(), [&](std::size_t a, std::size_t b) {
    return covered_bytes(a, places).size() > covered_bytes(b, places).size();
  });
  std::vector<bool> seen((places.back().to + 7) / 8, false);  // by the checks before
  double sum = 0;
  for (const std::size_t check : order) {
    const CheckSpec& spec = *bus_->parts[check].check;
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
    const std::vector<bool> own = codeword(check, places);
    for (std::size_t byte = 0; byte < own.size(); ++byte) seen[byte] = seen[byte] || own[byte];
  }
  for (std::size_t part = 0; part < places.size(); ++part) {
    const bool fixed =
        bus_->parts[part].field && bus_->parts[part].field->constant && !bus_->parts[part].field->sent_only;
    if (fixed || bus_->parts[part].check) continue;
    std::size_t open = 0;
    for (std::size_t bit = places[part].from; bit < places[part].to; ++bit) open += seen[bit / 8] ? 0U : 1U;
    sum += static_cast<double>(open) * bit_error;
  }
  return std::min(1.0, sum);
}

std::vector<std::string> CheckBudget::unchecked() const {
  std::vector<std::string> names;
  for (std::size_t part = 0; part < bus_->parts.size(); ++part) {
    const PartSpec& spec = bus_->parts[part];
    if (spec.check || (spec.field && spec.field->constant && !spec.field->sent_only)) continue;
    const bool any =
        std::any_of(checks_.begin(), checks_.end(), [&](std::size_t check) { return covers(check, part); });
    if (!any) names.emplace_back(name_of_part(spec));
  }
  return names;
}

std::vector<std::string> CheckBudget::covered_by_it_alone(std::size_t part) const {
  std::vector<std::string> names;
  for (std::size_t other = 0; other < bus_->parts.size(); ++other) {
    if (other == part || !covers(part, other)) continue;
    const bool shared = std::any_of(checks_.begin(), checks_.end(),
                                    [&](std::size_t check) { return check != part && covers(check, other); });
    if (!shared) names.emplace_back(name_of_part(bus_->parts[other]));
  }
  return names;
}

}  // namespace hopbench
