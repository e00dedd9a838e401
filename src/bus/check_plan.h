// A check value made ready: where it stands, what it covers, how it is computed and adjusted.
// Inner part of Protocol; everybody else goes through bus/protocol.h.
#pragma once

#include <cstddef>
#include <cstdint>
#include <optional>
#include <span>
#include <vector>

#include "bus/bits.h"
#include "bus/crc.h"
#include "bus/description.h"

namespace hopbench {

/// The three stretches of a content: parts before the payload, the payload, parts after it.
enum class Zone : std::uint8_t { front, payload, back };

/// Bytes `from`..`to` of a zone; all of it for the payload.
struct ByteRange {
  Zone zone = Zone::front;
  std::size_t from = 0;
  std::size_t to = 0;
};

/// How many bytes lie before and after the payload; with that, zones are places.
struct Zones {
  std::size_t front = 0;
  std::size_t back = 0;

  /// Place of byte `at` of `zone` in content of `size` bytes (size >= front + back).
  [[nodiscard]] std::size_t place(Zone zone, std::size_t at, std::size_t size) const {
    return zone == Zone::front ? at : zone == Zone::payload ? front + at : size - back + at;
  }
  [[nodiscard]] std::span<const std::uint8_t> bytes(const ByteRange& range,
                                                    std::span<const std::uint8_t> content) const;
};

class CheckPlan {
 public:
  CheckPlan(const CheckSpec& spec, Zone zone, std::size_t byte, std::vector<ByteRange> covers);

  /// Width on the wire in bytes.
  static std::size_t bytes_of(const CheckSpec& spec);

  /// What the check should be over this content.
  [[nodiscard]] std::uint64_t value_over(std::span<const std::uint8_t> content, const Zones& zones) const;
  /// What it is, all bits of its bytes; none if one of its digits is none.
  [[nodiscard]] std::optional<std::uint64_t> stands(std::span<const std::uint8_t> content, const Zones& zones) const {
    return stands_at(content.data() + zones.place(zone_, byte_, content.size()));
  }
  void put(std::span<std::uint8_t> content, const Zones& zones, std::uint64_t value) const;
  [[nodiscard]] bool good(std::span<const std::uint8_t> content, const Zones& zones) const {
    return stands(content, zones) == value_over(content, zones);
  }
  /// Changes the check in `after` by what the covered bytes changed since `before`: right stays right, wrong stays
  /// wrong.
  void adjust(std::span<const std::uint8_t> before, std::span<std::uint8_t> after, const Zones& zones) const;
  // The same over one stretch, for checks of blocks.
  [[nodiscard]] std::uint64_t value_of(std::span<const std::uint8_t> bytes) const;
  [[nodiscard]] std::optional<std::uint64_t> stands_at(const std::uint8_t* bytes) const;
  void put_at(std::uint8_t* bytes, std::uint64_t value) const;

  /// Largest value, all ones.
  [[nodiscard]] std::uint64_t mask() const { return mask_; }

  [[nodiscard]] const std::vector<ByteRange>& covers() const { return covers_; }
  [[nodiscard]] Zone zone() const { return zone_; }
  [[nodiscard]] std::size_t byte() const { return byte_; }
  [[nodiscard]] std::size_t bytes() const { return bytes_; }

  bool follows_forwarding = false;  // covers something that forwarding rewrites

 private:
  /// What has been taken in so far.
  struct Running {
    std::uint64_t sum = 0;      // or the CRC's register
    std::uint64_t of_sums = 0;  // Fletcher
    std::uint64_t word = 0;     // begun and not yet added
    std::size_t bytes = 0;
  };
  [[nodiscard]] Running begun() const;
  void sum(Running& running, std::span<const std::uint8_t> bytes) const;
  void feed(Running& running, std::span<const std::uint8_t> bytes) const;
  [[nodiscard]] std::uint64_t ended(Running running) const;
  [[nodiscard]] std::uint64_t crc_adjusted(std::uint64_t stood, std::span<const std::uint8_t> before,
                                           std::span<const std::uint8_t> after, const Zones& zones) const;
  [[nodiscard]] std::uint64_t sum_adjusted(std::uint64_t stood, std::uint64_t was, std::uint64_t is) const;

  SumKind kind_;
  std::optional<Crc> crc_;
  FieldCode code_;
  bool little_endian_;
  bool over_text_;
  std::uint32_t width_;
  Zone zone_;
  std::size_t byte_;
  std::size_t bytes_;
  std::uint64_t mask_;
  std::vector<ByteRange> covers_;
};

}  // namespace hopbench
