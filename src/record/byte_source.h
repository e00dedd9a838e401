// Where a capture is read from.
#pragma once

#include <cstdint>
#include <memory>
#include <span>
#include <string>
#include <utility>
#include <vector>

namespace hopbench {

/// Bytes by position. What was there once stays; more may come at the end while it is read.
class ByteSource {
 public:
  virtual ~ByteSource() = default;
  /// Fills `to` from `position` on, as far as there is something; returns how many bytes. An error reads as nothing.
  virtual std::size_t read(std::uint64_t position, std::span<std::uint8_t> to) = 0;
  /// Bytes there are now.
  virtual std::uint64_t size() = 0;
};

/// A regular file. Null if it cannot be read, with the reason in a few words in `why`.
std::unique_ptr<ByteSource> open_file(const std::string& path, std::string& why);

/// Bytes that the caller keeps, and may append to between reads.
class MemorySource final : public ByteSource {
 public:
  explicit MemorySource(const std::vector<std::uint8_t>& bytes) : bytes_(bytes) {}
  std::size_t read(std::uint64_t position, std::span<std::uint8_t> to) override;
  std::uint64_t size() override { return bytes_.size(); }

 private:
  const std::vector<std::uint8_t>& bytes_;
};

}  // namespace hopbench
