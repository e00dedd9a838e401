// What a bus's checks notice, at the lengths of frame that a plan uses.
#pragma once

#include <cstdint>
#include <optional>
#include <string>
#include <vector>

#include "bus/protocol.h"

namespace hopbench {

/// One check over frames with a payload of this length.
struct CheckedLength {
  std::size_t shape = 0;  // of the frames
  std::size_t part = 0;   // of that shape; the payload for the check of its blocks
  std::size_t payload_bytes = 0;
  std::size_t frame_bytes = 0;
  std::size_t bits = 0;      // covered, with the check's own
  std::size_t distance = 0;  // the least number of wrong bits that may go unnoticed by it
  bool at_least = false;
};

/// The check that is meant by a shape and a part of it.
const CheckSpec& check_at(const BusDescription& bus, std::size_t shape, std::size_t part);

/// As people name it: "CRC-16 0x3D65", "8-bit sum".
std::string kind_of_check(const CheckSpec& check);

class CheckBudget {
 public:
  /// Of frames of this shape. The description must outlive it.
  explicit CheckBudget(const BusDescription& bus, std::size_t shape = 0);

  /// Each check of the bus over such a frame.
  [[nodiscard]] std::vector<CheckedLength> lengths(std::size_t payload_bytes) const;
  /// A bound of the probability that a frame's damage goes unnoticed, each bit being wrong by itself: the check that
  /// covers the most misses it, or it lies where only another covers and that one misses it, or where none does.
  [[nodiscard]] double unnoticed(std::size_t payload_bytes, double bit_error) const;
  /// Parts that no check covers and that may have any value.
  [[nodiscard]] std::vector<std::string> unchecked() const;
  /// Parts that only this check covers, itself apart.
  [[nodiscard]] std::vector<std::string> covered_by_it_alone(std::size_t part) const;

 private:
  struct Extent {
    std::size_t from = 0;  // bit
    std::size_t to = 0;
  };
  [[nodiscard]] std::vector<Extent> extents(std::size_t payload_bytes) const;
  [[nodiscard]] bool covers(std::size_t check, std::size_t part) const;
  /// Bytes of the content that it covers, in order.
  [[nodiscard]] std::vector<std::size_t> covered_bytes(std::size_t check, const std::vector<Extent>& extents) const;
  [[nodiscard]] std::vector<bool> codeword(std::size_t check, const std::vector<Extent>& extents) const;

  /// Adds what passes the checks of blocks, and marks what they see.
  [[nodiscard]] double unnoticed_in_blocks(const std::vector<Extent>& extents, double bit_error,
                                           std::vector<bool>& seen) const;

  const BusDescription* bus_;
  const std::vector<PartSpec>* parts_;
  std::size_t shape_;
  std::vector<std::size_t> checks_;      // parts
  const PartSpec* in_blocks_ = nullptr;  // the payload, if its blocks have a check each
};

}  // namespace hopbench
