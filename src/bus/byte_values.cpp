#include "bus/byte_values.h"

#include <algorithm>
#include <array>
#include <limits>
#include <optional>
#include <string_view>

#include "bus/bits.h"
#include "bus/check_plan.h"
#include "bus/faults.h"
#include "bus/frame_plan.h"
#include "bus/part_names.h"

namespace hopbench {
namespace {

constexpr std::uint64_t any_number = std::numeric_limits<std::uint64_t>::max();

/// Raw numbers that a field can hold: a certain one, or all from 0 to `most`.
struct Numbers {
  std::optional<std::uint64_t> certain;
  std::uint64_t most = any_number;
  std::string because_of = {};  // path of what says so, if not of the field itself
};

ByteSet all_below(std::size_t end) {
  ByteSet set;
  for (std::size_t i = 0; i < end; ++i) set.set(i);
  return set;
}

/// Characters that stand for a digit.
ByteSet digits_of(Digits digits) {
  ByteSet set;
  for (std::size_t c = '0'; c <= '9'; ++c) set.set(c);
  for (std::size_t c = 'A'; digits == Digits::hex_text && c <= 'F'; ++c) set.set(c);
  return set;
}

/// Every pair of one value of each, put together.
ByteSet joined(const ByteSet& some, const ByteSet& others) {
  if (some.count() == 1 && some.test(0)) return others;
  ByteSet set;
  for (std::size_t a = 0; a < 256; ++a) {
    for (std::size_t b = 0; some.test(a) && b < 256; ++b) {
      if (others.test(b)) set.set(a | b);
    }
  }
  return set;
}

/// A frame being laid out.
class Strip {
 public:
  void add(const FieldSpec& field, const std::string& path, const Numbers& numbers) {
    if (field.varies_in_width()) return add_text(field, path);
    const std::size_t first = bits_;
    for (std::size_t byte = first / 8; byte < (first + field.bits + 7) / 8; ++byte) {
      const std::size_t from = std::max(first, 8 * byte);
      const std::size_t to = std::min(first + field.bits, 8 * byte + 8);
      const auto mask = static_cast<std::uint8_t>((0xFFU >> (from - 8 * byte)) & (0xFFU << (8 * byte + 8 - to)));
      put(byte, values(field, numbers, first, byte, mask),
          {mask, field.name, numbers.because_of.empty() ? path : numbers.because_of, field.bits,
           numbers.certain.has_value()});
    }
    bits_ += field.bits;
  }

  void add_check(const CheckSpec& check, const std::string& path, std::uint8_t covered) {
    const std::uint32_t width = check.width();
    const auto bytes = static_cast<std::uint32_t>(CheckPlan::bytes_of(check));
    for (std::uint32_t i = 0; i < bytes; ++i) {
      if (check.digits != Digits::binary) {
        put(bits_ / 8, digits_in_byte(check.digits), {0xFF, check.name, path, width, false});
        bits_ += 8;
        continue;
      }
      const std::uint32_t significance = check.little_endian ? i : bytes - 1 - i;
      const std::uint32_t left = std::min(8U, width - 8 * significance);
      ByteSet set = all_below(std::size_t{1} << left);
      if (check.kind == SumKind::exclusive_or) {
        for (std::size_t value = 0; value < 256; ++value) set.set(value, (value & ~std::size_t{covered}) == 0);
      }
      put(bits_ / 8, set, {0xFF, check.name, path, width, false});
      bits_ += 8;
    }
  }

  [[nodiscard]] std::size_t size() const { return bytes_.size(); }
  [[nodiscard]] std::uint8_t ones(std::size_t from, std::size_t to) const {
    std::uint8_t ones = 0;
    for (std::size_t i = from; i < to && i < bytes_.size(); ++i) {
      ones = static_cast<std::uint8_t>(ones | ones_of(bytes_[i].values));
    }
    return ones;
  }
  std::vector<ByteValues> take() { return std::move(bytes_); }

 private:
  std::vector<ByteValues> bytes_;
  std::size_t bits_ = 0;

  /// Decimal text of no fixed width, as short as it can be; longer ones have no other bytes.
  void add_text(const FieldSpec& field, const std::string& path) {
    ByteSet set = digits_of(Digits::decimal_text);
    if (field.is_signed) set.set('-');
    if (field.decimals != 0) set.set('.');
    for (std::size_t i = 0; i < FieldCode(field).least_bits() / 8 + (field.is_signed ? 1U : 0U); ++i) {
      put(bits_ / 8, set, {0xFF, field.name, path, 8, false});
      bits_ += 8;
    }
  }

  static ByteSet digits_in_byte(Digits digits) {
    if (digits != Digits::bcd) return digits_of(digits);
    ByteSet set;
    for (std::size_t value = 0; value < 256; ++value) set.set(value, (value >> 4U) <= 9 && (value & 15U) <= 9);
    return set;
  }

  void put(std::size_t byte, const ByteSet& set, const ByteValues::Piece& piece) {
    if (byte >= bytes_.size()) {
      bytes_.emplace_back();
      bytes_.back().values.set(0);
    }
    bytes_[byte].values = joined(bytes_[byte].values, set);
    bytes_[byte].pieces.push_back(piece);
  }

  /// What the field puts into this byte, other bits 0.
  static ByteSet values(const FieldSpec& field, const Numbers& numbers, std::size_t first, std::size_t byte,
                        std::uint8_t mask) {
    ByteSet set;
    if (numbers.certain) {
      std::array<std::uint8_t, 10> bytes{};  // 64 bits from within a byte on
      FieldCode(field).store(bytes.data(), first % 8, *numbers.certain);
      set.set(bytes[byte - first / 8]);
      return set;
    }
    if (field.digits == Digits::decimal_text || field.digits == Digits::hex_text) return digits_of(field.digits);
    if (field.digits == Digits::bcd) {
      for (std::size_t value = 0; value < 256; ++value) {
        const bool digits = (value >> 4U) <= 9 && (value & 15U) <= 9;
        if ((value & ~std::size_t{mask}) == 0 && (digits || first % 4 != 0)) set.set(value);
      }
      return set;
    }
    // How far up in the number the lowest of these bits stands, and how high that part of it can become.
    std::size_t shift = first + field.bits > 8 * byte + 8 ? first + field.bits - (8 * byte + 8) : 0;
    if (field.little_endian) shift = 8 * byte - first;
    const std::uint64_t most = shift >= 64 ? 0 : numbers.most >> shift;
    std::uint32_t up = 0;
    while ((mask >> up & 1U) == 0) ++up;
    const std::uint64_t limit = std::min<std::uint64_t>(most, mask >> up);
    for (std::uint64_t value = 0; value <= limit; ++value) set.set(value << up);
    return set;
  }
};

Numbers numbers_of(const BusDescription& bus, const FieldSpec& field, std::size_t topic, Role role,
                   const FramePlan& plan) {
  if (field.constant) return {*field.constant};
  const RolesSpec& roles = bus.roles;
  const auto& mark = roles.refusal_mark;
  const bool marked = mark && mark->field == field.name && role == Role::refusal;
  Numbers numbers;
  if (field.name == roles.topic) {
    const TopicSpec& spec = bus.topics[topic];
    numbers = {spec.code, 0, at("topics", topic) + ".code"};
    if (role != Role::ask && spec.answer_code) numbers = {*spec.answer_code, 0, at("topics", topic) + ".answer_code"};
  } else if (roles.tell_role == TellRole::by_field && field.name == roles.role_field) {
    // A bus that marks refusals may have no code for them: a marked answer.
    for (const Role wanted : {role, Role::answer}) {
      for (std::size_t i = 0; i < roles.role_codes.size() && !numbers.certain; ++i) {
        if (roles.role_codes[i].first == wanted)
          numbers = {roles.role_codes[i].second, 0, "roles." + at("role_codes", i) + ".code"};
      }
    }
  } else if (field.name == roles.size || field.name == bus.framing.size_again) {
    numbers.most = std::min(FieldCode::limit_of(field), plan.raw_size_of(plan.most_payload));
  }
  if (marked && numbers.certain) {
    numbers.certain = (*numbers.certain & ~mark->mask) | mark->value;
    numbers.because_of = "roles.refusal_mark.value";
  }
  return numbers;
}

void add_payload(Strip& strip, const Layout& layout, const std::string& path) {
  const auto numbers = [](const FieldSpec& field) { return field.constant ? Numbers{*field.constant} : Numbers{}; };
  for (std::size_t i = 0; i < layout.size(); ++i) {
    const std::string here = at(path, i);
    if (layout[i].field) {
      strip.add(*layout[i].field, here + ".field", numbers(*layout[i].field));
      continue;
    }
    const GroupSpec& group = *layout[i].group;
    for (int turn = 0; turn < (group.times == 1 ? 1 : 2); ++turn) {
      for (std::size_t f = 0; f < group.fields.size(); ++f) {
        strip.add(group.fields[f], here + ".group." + at("fields", f), numbers(group.fields[f]));
      }
    }
  }
}

}  // namespace

const ByteValues::Piece& ByteValues::piece_at(std::uint8_t bit) const {
  for (const Piece& piece : pieces) {
    if ((piece.mask & bit) != 0) return piece;
  }
  return pieces.front();
}

std::uint8_t ones_of(const ByteSet& values) {
  std::uint8_t ones = 0;
  for (std::size_t value = 0; value < 256; ++value) {
    if (values.test(value)) ones = static_cast<std::uint8_t>(ones | value);
  }
  return ones;
}

namespace {

struct LaidOut {
  Strip strip;
  std::vector<std::pair<std::size_t, std::size_t>> of_part;  // its bytes, from and to
};

/// `before`: the same frame laid out without what its checks cover; null the first time.
LaidOut lay_out(const BusDescription& bus, std::size_t topic, Role role, std::size_t shape, const LaidOut* before) {
  const FramePlan plan(bus, shape);
  const auto& parts = parts_of(bus, shape);
  const auto places = places_of(parts);
  const std::string parts_path = shape == 0 ? "parts" : at("shapes", shape - 1) + ".parts";
  LaidOut result;
  Strip& strip = result.strip;
  for (std::size_t i = 0; i < parts.size(); ++i) {
    const PartSpec& part = parts[i];
    const std::size_t from = part.field ? strip.size() - (places[i].bit % 8 != 0 ? 1 : 0) : strip.size();
    if (part.field) {
      strip.add(*part.field, at(parts_path, i) + ".field", numbers_of(bus, *part.field, topic, role, plan));
    } else if (part.payload) {
      const TopicSpec& spec = bus.topics[topic];
      const std::string path = at("topics", topic);
      if (role == Role::ask) add_payload(strip, spec.ask, path + ".ask");
      if (role == Role::answer) add_payload(strip, spec.answer, path + ".answer");
      if (role == Role::refusal) add_payload(strip, bus.roles.refusal, "roles.refusal");
      if (part.block_check) strip.add_check(*part.block_check, at(parts_path, i) + ".block_check", 0xFF);
    } else {
      std::uint8_t covered = before == nullptr ? 0xFF : 0;
      const auto& covers = part.check->covers;
      for (std::size_t p = 0; before != nullptr && p < parts.size(); ++p) {
        const bool named = std::find(covers.begin(), covers.end(), name_of_part(parts[p])) != covers.end();
        if (covers.empty() ? p >= i : !named) continue;
        const LaidOut& in = p < i ? result : *before;
        covered = static_cast<std::uint8_t>(covered | in.strip.ones(in.of_part[p].first, in.of_part[p].second));
      }
      if (part.check->over_text) covered = ones_of(digits_of(Digits::hex_text));
      strip.add_check(*part.check, at(parts_path, i) + ".check", covered);
    }
    result.of_part.emplace_back(from, strip.size());
  }
  return result;
}

}  // namespace

std::vector<ByteValues> bytes_of(const BusDescription& bus, std::size_t topic, Role role) {
  const TopicSpec& spec = bus.topics[topic];
  const std::string_view name = role == Role::ask      ? std::string_view(spec.ask_shape)
                                : role == Role::answer ? std::string_view(spec.answer_shape)
                                                       : std::string_view();
  const std::size_t shape = shape_named(bus, name).value_or(0);
  const LaidOut first = lay_out(bus, topic, role, shape, nullptr);
  return lay_out(bus, topic, role, shape, &first).strip.take();
}

}  // namespace hopbench
