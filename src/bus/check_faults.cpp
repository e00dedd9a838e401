// Faults of checks: widths, models, digits, and what they cover.
#include <algorithm>
#include <set>

#include "bus/check_plan.h"
#include "bus/faults.h"
#include "bus/frame_plan.h"
#include "bus/part_names.h"

namespace hopbench {
namespace {

void check_crc(const CheckSpec& check, const std::string& path, Faults& faults) {
  const CrcModel& crc = check.crc;
  if (crc.width < 1 || crc.width > 64) {
    faults.push_back({path + ".crc.width", "a CRC is 1 to 64 bits wide, not " + std::to_string(crc.width)});
    return;
  }
  const std::uint64_t mask = crc.width == 64 ? ~std::uint64_t{0} : (std::uint64_t{1} << crc.width) - 1;
  if (crc.poly > mask)
    faults.push_back({path + ".crc.poly", "the polynomial is wider than the CRC; leave out its top term"});
  if (crc.poly % 2 == 0)
    faults.push_back(
        {path + ".crc.poly",
         "the polynomial has no +1 term; give it in the usual notation, without the top term and with the +1"});
  if (crc.init > mask) faults.push_back({path + ".crc.init", "the start value is wider than the CRC"});
  if (crc.xorout > mask) faults.push_back({path + ".crc.xorout", "the final exclusive-or is wider than the CRC"});
}

/// What the width of a sum must be, if it is not so.
std::string widths_of(const CheckSpec& check) {
  const std::uint32_t bits = check.bits;
  switch (check.kind) {
    case SumKind::exclusive_or:
      return bits == 8 ? "" : "an exclusive-or is 8 bits wide";
    case SumKind::ones_sum:
    case SumKind::negated_ones_sum:
      return bits == 8 || bits == 16 || bits == 32 ? "" : "a ones' complement sum is 8, 16 or 32 bits wide";
    case SumKind::fletcher:
      return bits == 16 || bits == 32 ? "" : "a Fletcher check is 16 or 32 bits wide";
    case SumKind::fletcher_256:
      return bits == 16 ? "" : "a Fletcher check modulo 256 is 16 bits wide";
    case SumKind::crc:
    case SumKind::sum:
    case SumKind::negated_sum:
      break;
  }
  const bool sound = (bits >= 5 && bits <= 8) || bits == 16 || bits == 32 || bits == 64;
  return sound ? "" : "a sum is 5 to 8, 16, 32 or 64 bits wide";
}

/// Kind and width, and how the value stands on the wire.
void check_kind(const CheckSpec& check, const std::string& path, Faults& faults) {
  if (check.kind == SumKind::crc) {
    check_crc(check, path, faults);
  } else if (const std::string widths = widths_of(check); !widths.empty()) {
    faults.push_back({path + ".bits", widths + ", not " + std::to_string(check.bits)});
  }
  const std::uint32_t width = check.width();
  const bool decimal = check.digits == Digits::bcd || check.digits == Digits::decimal_text;
  const std::uint32_t most = check.digits == Digits::bcd ? 53 : check.digits == Digits::decimal_text ? 26 : 32;
  if (check.digits != Digits::binary && width > most)
    faults.push_back({path + ".digits", "as such digits a check has at most " + std::to_string(most) + " bits, not " +
                                            std::to_string(width) + "; make it narrower or BINARY"});
  if (check.little_endian && decimal)
    faults.push_back({path + ".little_endian", "decimal digits have one order, the highest first; drop it"});
  if (check.little_endian && check.digits == Digits::hex_text && width % 8 != 0)
    faults.push_back({path + ".little_endian", "byte order means something for whole bytes only; drop it"});
  if (check.name.empty()) faults.push_back({path + ".name", "the check has no name; give it one"});
}

/// Names of the parts that the check which is part `i` may cover, and does not cover yet.
std::vector<std::string> coverable(const BusDescription& bus, std::size_t i) {
  const auto& covers = bus.parts[i].check->covers;
  std::vector<std::string> names;
  for (std::size_t part = 0; part < bus.parts.size(); ++part) {
    const std::string name(name_of_part(bus.parts[part]));
    const bool later_check = part >= i && bus.parts[part].check;
    if (!later_check && std::find(covers.begin(), covers.end(), name) == covers.end()) names.push_back(name);
  }
  return names;
}

}  // namespace

void check_check(const BusDescription& bus, std::size_t i, const std::string& path, Faults& faults) {
  const CheckSpec& check = *bus.parts[i].check;
  check_kind(check, path, faults);
  if (check.over_text && !(bus.framing.kind == FramingKind::marked && bus.framing.hex_text)) {
    faults.push_back(
        {path + ".over_text", "only marked framing with hex_text has characters to go over; drop over_text"});
  }
  std::set<std::string> named;
  for (std::size_t c = 0; c < check.covers.size(); ++c) {
    const std::string& name = check.covers[c];
    const std::size_t part = part_named(bus, name);
    const std::string here = path + "." + at("covers", c);
    if (part == bus.parts.size())
      faults.push_back({here, "no part is called " + quoted(name) + known_names(coverable(bus, i))});
    else if (part == i)
      faults.push_back({here, "a check cannot cover itself"});
    else if (part > i && bus.parts[part].check)
      faults.push_back({here, quoted(name) + " is a check that stands later; a check covers only checks before it"});
    if (!named.insert(name).second) faults.push_back({here, quoted(name) + " is covered twice"});
    if (c > 0 && part < part_named(bus, check.covers[c - 1]))
      faults.push_back({here, "name the covered parts in wire order"});
  }
  if (check.covers.empty() && i == 0)
    faults.push_back({path + ".covers", "nothing stands before this check; name the parts that it covers"});
}

void check_cover_bytes(const BusDescription& bus, std::size_t i, const std::string& path, Faults& faults) {
  const CheckSpec& check = *bus.parts[i].check;
  const auto places = places_of(bus.parts);
  std::size_t run_end = 0;
  bool open = false;
  Zone zone = Zone::front;
  bool ragged = false;
  for (std::size_t p = 0; p < bus.parts.size(); ++p) {
    const bool covered = check.covers.empty() ? p < i
                                              : std::find(check.covers.begin(), check.covers.end(),
                                                          name_of_part(bus.parts[p])) != check.covers.end();
    if (!covered || places[p].zone == Zone::payload) continue;
    if (!open || zone != places[p].zone || run_end != places[p].bit) {
      ragged = ragged || (open && run_end % 8 != 0) || places[p].bit % 8 != 0;
    }
    open = true;
    zone = places[p].zone;
    run_end = places[p].bit + places[p].bits;
  }
  if (ragged || (open && run_end % 8 != 0)) {
    faults.push_back(
        {path + ".covers", "the covered fields do not fill whole bytes; cover all fields that share a byte, or none"});
  }
}

void check_blocks(const BusDescription& bus, const PartSpec& payload, const std::string& path, Faults& faults) {
  if (payload.block_bytes == 0 && !payload.block_check) return;
  if (payload.block_bytes == 0)
    faults.push_back({path + ".block_bytes", "a check for each block needs the length of a block; set block_bytes"});
  if (payload.block_bytes > max_frame_bytes)
    faults.push_back({path + ".block_bytes", "a frame has at most " + std::to_string(max_frame_bytes) + " bytes"});
  if (bus.framing.kind == FramingKind::fixed)
    faults.push_back(
        {path + ".block_bytes", "a frame of fixed length has no blocks; add checks as parts of their own"});
  if (bus.framing.size_unit != 1)
    faults.push_back({path + ".block_bytes", "with blocks the size counts bytes; drop framing.size_unit"});
  if (!payload.block_check) {
    faults.push_back({path + ".block_check", "blocks need a check over each; describe it"});
    return;
  }
  check_kind(*payload.block_check, path + ".block_check", faults);
  if (payload.block_check->over_text)
    faults.push_back({path + ".block_check.over_text", "a block's check goes over the bytes of the block; drop it"});
  if (!payload.block_check->covers.empty())
    faults.push_back({path + ".block_check.covers", "a block's check covers its block and nothing else; drop covers"});
}

}  // namespace hopbench
