// First tries by plan entry and block of time, and how many of them failed: what tells whether one node fails more
// often than others that are asked the same.
#pragma once

#include <cstdint>
#include <vector>

#include "base/time.h"

namespace hopbench {

class FirstTries {
 public:
  struct Count {
    std::uint32_t asked = 0;  // weighed: of a thinned capture for all that an exchange stands for
    std::uint32_t failed = 0;
    std::uint32_t failed_after_good = 0;  // the try before, with whichever node, went well: it has no part in it
  };
  /// Length of content in bytes, as last seen; 0: none was seen.
  struct Lengths {
    std::uint32_t ask = 0;
    std::uint32_t answer = 0;
  };
  static constexpr std::size_t most_blocks = 64;
  /// With more plan entries nothing is counted.
  static constexpr std::size_t most_entries = 4096;

  void begin(std::size_t entries);
  void asked(std::uint32_t entry, Nanos at, std::uint32_t weight, bool failed, bool after_good);
  void said(std::uint32_t entry, std::size_t ask, std::size_t answer);

  [[nodiscard]] std::size_t blocks() const { return blocks_.size(); }
  [[nodiscard]] Nanos block_span() const { return span_; }
  [[nodiscard]] const Count& of(std::size_t block, std::size_t entry) const { return blocks_[block][entry]; }
  [[nodiscard]] const Lengths& lengths(std::size_t entry) const { return lengths_[entry]; }
  [[nodiscard]] std::size_t entries() const { return lengths_.size(); }

 private:
  Nanos from_ = 0;
  bool begun_ = false;
  Nanos span_ = 0;
  std::vector<std::vector<Count>> blocks_;
  std::vector<Lengths> lengths_;
};

}  // namespace hopbench
