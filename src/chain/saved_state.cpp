#include "chain/saved_state.h"

#include <algorithm>
#include <array>
#include <boost/pfr/core.hpp>
#include <concepts>
#include <optional>
#include <string_view>
#include <type_traits>
#include <utility>

#include "base/luck.h"
#include "bus/crc.h"

namespace hopbench {
namespace {

constexpr std::size_t head_bytes = 4 + 4 + 8 + 8;
constexpr std::size_t check_bytes = 8;

/// CRC-64/XZ; its check value is looked at in tests/bus/crc_models_test.cpp.
std::uint64_t check_of(std::span<const std::uint8_t> bytes) {
  static const Crc crc({64, 0x42f0e1eba9ea3693, ~std::uint64_t{0}, true, true, ~std::uint64_t{0}});
  return crc.of(bytes);
}

void put(std::vector<std::uint8_t>& bytes, std::uint64_t value, std::size_t size) {
  for (std::size_t i = 0; i < size; ++i) bytes.push_back(static_cast<std::uint8_t>(value >> (8 * i)));
}

std::uint64_t take(std::span<const std::uint8_t>& bytes, std::size_t size) {
  std::uint64_t value = 0;
  for (std::size_t i = 0; i < size; ++i) value |= static_cast<std::uint64_t>(bytes[i]) << (8 * i);
  bytes = bytes.subspan(size);
  return value;
}

/// Looks at all fields of all structs by itself: one that is added to a scenario is in it.
class Fingerprint {
 public:
  template <class T>
  requires std::integral<T> || std::is_enum_v<T>
  void add(const T& value) { hash_ = name_hash(static_cast<std::uint64_t>(value), hash_); }
  void add(const std::string& text) {
    add(text.size());
    hash_ = name_hash(text, hash_);
  }
  template <class T>
  void add(const std::vector<T>& values) {
    add(values.size());
    for (const T& value : values) add(value);
  }
  template <class T>
  void add(const std::optional<T>& value) {
    add(value.has_value());
    if (value) add(*value);
  }
  template <class A, class B>
  void add(const std::pair<A, B>& pair) {
    add(pair.first);
    add(pair.second);
  }
  template <class T>
  requires std::is_aggregate_v<T>
  void add(const T& fields) {
    boost::pfr::for_each_field(fields, [this](const auto& field) { this->add(field); });
  }
  [[nodiscard]] std::uint64_t value() const { return hash_; }

 private:
  std::uint64_t hash_ = name_hash(std::string_view("scenario"));
};

}  // namespace

std::uint64_t fingerprint(const BusDescription& bus, const ChainDescription& chain) {
  ChainDescription what_counts = chain;
  what_counts.name.clear();
  what_counts.run_for = 0;
  what_counts.seed = 0;
  Fingerprint all;
  all.add(bus);
  all.add(what_counts);
  return all.value();
}

std::vector<std::uint8_t> wrap_state(const StateKind& kind, const StateHead& head,
                                     std::span<const std::uint8_t> state) {
  std::vector<std::uint8_t> bytes(kind.magic.begin(), kind.magic.end());
  put(bytes, kind.version, 4);
  put(bytes, head.scenario, 8);
  put(bytes, head.seed, 8);
  bytes.insert(bytes.end(), state.begin(), state.end());
  put(bytes, check_of(bytes), check_bytes);
  return bytes;
}

std::span<const std::uint8_t> unwrap_state(const StateKind& kind, const StateHead& head,
                                           std::span<const std::uint8_t> bytes, std::string& why) {
  why.clear();
  if (bytes.size() < head_bytes + check_bytes || !std::equal(kind.magic.begin(), kind.magic.end(), bytes.begin())) {
    why = "no saved state";
    return {};
  }
  std::span<const std::uint8_t> check = bytes.last(check_bytes);
  bytes = bytes.first(bytes.size() - check_bytes);
  if (take(check, check_bytes) != check_of(bytes)) {
    why = "the saved state is damaged: its check is wrong";
    return {};
  }
  bytes = bytes.subspan(kind.magic.size());
  if (const std::uint64_t is = take(bytes, 4); is != kind.version) {
    why = "the saved state is of version " + std::to_string(is) + ", this program reads version " +
          std::to_string(kind.version);
  } else if (take(bytes, 8) != head.scenario) {
    why = "the saved state is of another scenario";
  } else if (const std::uint64_t seed = take(bytes, 8); seed != head.seed) {
    why = "the saved state is of seed " + std::to_string(seed) + ", not " + std::to_string(head.seed);
  }
  return why.empty() ? bytes : std::span<const std::uint8_t>();
}

}  // namespace hopbench
