// The state of something, taken down as bytes or put back from them. One function of each class names its state once,
// for both ways, so that nothing can be taken down and not put back:
//
//   void Counter::keep(Archive& archive) { archive.number("count", count_); }
//
// Numbers take few bytes when they are small. What is put back is looked at first: a number has its range, a list is no
// longer than the bytes that are left. After the first thing that is wrong nothing more is put back; what has been is
// of no use any more.
#pragma once

#include <concepts>
#include <cstddef>
#include <cstdint>
#include <limits>
#include <optional>
#include <span>
#include <string>
#include <string_view>
#include <type_traits>
#include <vector>

#include "base/luck.h"
#include "base/time.h"
#include "base/varint.h"

namespace hopbench {

class Archive {
 public:
  /// Takes down.
  Archive() : writer_(bytes_), reader_({}) {}
  /// Puts back. `bytes` must outlive it.
  explicit Archive(std::span<const std::uint8_t> bytes) : restores_(true), writer_(bytes_), reader_(bytes) {}
  Archive(const Archive&) = delete;
  Archive& operator=(const Archive&) = delete;

  [[nodiscard]] bool restores() const { return restores_; }
  /// Nothing is wrong so far.
  [[nodiscard]] bool good() const { return why_.empty(); }
  /// What is wrong; empty if nothing.
  [[nodiscard]] const std::string& why() const { return why_; }
  /// The first thing that is wrong: it cannot be put back, or could not be if it were taken down.
  void refuse(std::string_view what, std::string_view why);
  /// The bytes taken down.
  [[nodiscard]] const std::vector<std::uint8_t>& bytes() const { return bytes_; }

  /// `what` names a value where something is wrong with it, and guards against bytes of another version: the end
  /// fails if other names were taken down.
  template <std::integral T>
  void number(std::string_view what, T& value, T least = std::numeric_limits<T>::min(),
              T most = std::numeric_limits<T>::max()) {
    if constexpr (std::is_signed_v<T>) {
      value = static_cast<T>(signed_number(what, value, least, most));
    } else {
      value = static_cast<T>(unsigned_number(what, value, least, most));
    }
  }
  void flag(std::string_view what, bool& value) { value = unsigned_number(what, value ? 1 : 0, 0, 1) != 0; }
  /// An instant or a span, of whatever sign, that can be reckoned with.
  void span(std::string_view what, Nanos& value) { number(what, value, -longest, longest); }
  /// The same, or never.
  void span_or_never(std::string_view what, Nanos& value);

  /// A value that may be missing.
  template <class T, class Each>
  void maybe(std::string_view what, std::optional<T>& value, Each each) {
    bool there = value.has_value();
    flag(what, there);
    if (!good()) return;
    if (restores_) value.reset();
    if (restores_ && there) value.emplace();
    if (value) each(*value);
  }
  /// As many values as there are. Each must name at least one value of its own.
  template <class List, class Each>
  void list(std::string_view what, List& values, Each each) {
    std::size_t size = values.size();
    number(what, size, std::size_t{0}, restores_ ? reader_.left() : std::numeric_limits<std::size_t>::max());
    if (!good()) return;
    if (restores_) {
      values.clear();
      values.resize(size);
    }
    all(what, values, each);
  }
  /// Values whose number does not change.
  template <class List, class Each>
  void all(std::string_view what, List& values, Each each) {
    if (!good()) return;
    std::size_t place = 0;
    for (auto& value : values) {
      each(value);
      if (!good()) return name_place(what, place);
      ++place;
    }
  }

  /// Everything has been named. Fails if there is more.
  void end();

  /// Nothing that is put back is longer, or longer ago, or further ahead: some 73 years. Sums of two still fit.
  static constexpr Nanos longest = Nanos{1} << 61U;

 private:
  [[nodiscard]] std::int64_t signed_number(std::string_view what, std::int64_t value, std::int64_t least,
                                           std::int64_t most);
  [[nodiscard]] std::uint64_t unsigned_number(std::string_view what, std::uint64_t value, std::uint64_t least,
                                              std::uint64_t most);
  void name_place(std::string_view what, std::size_t place);

  bool restores_ = false;
  std::vector<std::uint8_t> bytes_;
  VarintWriter writer_;
  VarintReader reader_;
  std::uint64_t names_ = name_hash("state");  // of all values so far
  std::string why_;
};

}  // namespace hopbench
