// A frame as a value: what its fields say, not how it looks on the wire.
#pragma once

#include <algorithm>
#include <array>
#include <cstddef>
#include <cstdint>
#include <span>

#include "bus/description.h"

namespace hopbench {

/// Longest frame content (before stuffing) that any bus may have.
inline constexpr std::size_t max_frame_bytes = 1024;
/// Most header fields (constants included) that a bus may have.
inline constexpr std::size_t max_header_fields = 16;

/// A byte string of bounded length that never allocates and copies only what it holds.
template <std::size_t N>
class ShortBytes {
 public:
  ShortBytes() = default;
  ShortBytes(const ShortBytes& other) { assign(other.view()); }
  ShortBytes& operator=(const ShortBytes& other) {
    if (this != &other) assign(other.view());
    return *this;
  }
  ~ShortBytes() = default;

  /// Takes at most N bytes; what is longer is cut.
  void assign(std::span<const std::uint8_t> bytes) {
    size_ = std::min(bytes.size(), N);
    std::copy_n(bytes.begin(), size_, data_.begin());
  }
  /// Returns false, and does nothing, if full.
  bool push_back(std::uint8_t byte) {
    if (size_ == N) return false;
    data_[size_++] = byte;
    return true;
  }
  void clear() { size_ = 0; }
  void resize(std::size_t size) {
    size = std::min(size, N);
    if (size > size_)
      std::fill(data_.begin() + static_cast<std::ptrdiff_t>(size_), data_.begin() + static_cast<std::ptrdiff_t>(size),
                std::uint8_t{0});
    size_ = size;
  }
  [[nodiscard]] std::size_t size() const { return size_; }
  [[nodiscard]] bool empty() const { return size_ == 0; }
  [[nodiscard]] std::span<const std::uint8_t> view() const { return {data_.data(), size_}; }
  [[nodiscard]] std::span<std::uint8_t> view() { return {data_.data(), size_}; }
  std::uint8_t& operator[](std::size_t i) { return data_[i]; }
  std::uint8_t operator[](std::size_t i) const { return data_[i]; }
  friend bool operator==(const ShortBytes& a, const ShortBytes& b) {
    return std::equal(a.view().begin(), a.view().end(), b.view().begin(), b.view().end());
  }

 private:
  std::array<std::uint8_t, N> data_;  // only the first size_ bytes mean anything
  std::size_t size_ = 0;
};

/// Content of a frame: all its bytes, checks included, before stuffing or hex text.
using Content = ShortBytes<max_frame_bytes>;
/// What goes on the wire: content with boundaries, stuffing or text. Twice the content, and boundaries.
using WireBytes = ShortBytes<2 * max_frame_bytes + 16>;

/// Raw values of the header fields in wire order (constants included) and the payload's bytes.
/// Canonical: decoding the encoding of a frame gives the same frame, and the other way round. `role` is
/// part of that only on buses that tell it by a field or a mark; elsewhere the chain sets it. Fields that its shape
/// does not have are 0.
struct Frame {
  Role role = Role::ask;
  std::uint8_t shape = 0;  // 0: that of BusDescription::parts; else its shapes[shape - 1]
  std::array<std::uint64_t, max_header_fields> field{};
  Content payload;
  friend bool operator==(const Frame&, const Frame&) = default;
};

}  // namespace hopbench
