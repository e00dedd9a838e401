// Verbs that the bus tests share: bytes from text, characters on a line, findings of a stream.
#pragma once

#include <cstdint>
#include <span>
#include <string>
#include <vector>

#include "bus/decoder.h"
#include "bus/protocol.h"

namespace hopbench::testing {

using Bytes = std::vector<std::uint8_t>;

/// "B5 01" as bytes.
[[nodiscard]] Bytes hex(const std::string& text);
/// The bytes first..last.
[[nodiscard]] Bytes run_of(std::uint8_t first, std::uint8_t last);
[[nodiscard]] Bytes content_of(const Protocol& protocol, const Frame& frame);
[[nodiscard]] Bytes wire_of(const Protocol& protocol, const Frame& frame);

/// Characters on a line, with pauses between them.
class Line {
 public:
  explicit Line(const Protocol& protocol, Nanos start = 1'000'000)
      : protocol_(protocol), period_(period_of_baud(protocol.line().baud)), at_(start) {}
  /// Sends bytes back to back, each marked with `tag`.
  Line& send(std::span<const std::uint8_t> bytes, std::uint32_t tag = 0);
  Line& pause(Nanos span) {
    at_ += span;
    return *this;
  }
  /// A pause long enough for any rule of the bus.
  Line& long_pause();
  [[nodiscard]] const std::vector<HeardChar>& chars() const { return chars_; }
  [[nodiscard]] std::vector<HeardChar>& chars() { return chars_; }
  [[nodiscard]] Nanos now() const { return at_; }
  [[nodiscard]] Period period() const { return period_; }
  [[nodiscard]] Nanos char_time() const { return span_of_bits(protocol_.line().char_half_bits(), period_) / 2; }

 private:
  const Protocol& protocol_;
  Period period_;
  Nanos at_;
  std::vector<HeardChar> chars_;
};

/// All findings of these characters, then silence until long after.
[[nodiscard]] std::vector<Finding> findings_of(const Protocol& protocol, std::span<const HeardChar> chars);
/// The same, with silence told at every instant that could matter and some that do not.
[[nodiscard]] std::vector<Finding> findings_told_often(const Protocol& protocol, std::span<const HeardChar> chars);

/// Whether two findings say the same in every field.
[[nodiscard]] bool same(const Finding& a, const Finding& b);
[[nodiscard]] bool same(const std::vector<Finding>& a, const std::vector<Finding>& b);
[[nodiscard]] std::string shown(const std::vector<Finding>& findings);

/// Frames of the findings without damage.
[[nodiscard]] std::vector<Frame> good_frames(const std::vector<Finding>& findings);

/// A payload source that knows what the test tells it.
class Source : public PayloadSource {
 public:
  std::vector<std::pair<std::string, std::vector<std::int64_t>>> quantities;  // by index
  /// By repetition; one value serves all of them.
  std::vector<std::pair<std::string, std::vector<std::uint64_t>>> arguments;
  std::optional<std::int64_t> quantity(std::string_view name, std::uint32_t index) override;
  std::optional<std::uint64_t> argument(std::string_view field) override { return argument_in(field, 0); }
  std::optional<std::uint64_t> argument_in(std::string_view field, std::uint32_t repetition) override;
};

}  // namespace hopbench::testing
