// Marks as termios(3) describes them for PARMRK: FF FF, FF 00 X, FF 00 00 for a break.
#include "port/error_marks.h"

#include <vector>

#include "support/catch.h"

namespace hopbench {
namespace {

using Bytes = std::vector<std::uint8_t>;

PortRead take_all(const Bytes& raw, std::uint8_t error = framing_flag) {
  ErrorMarks marks;
  PortRead intake;
  marks.take(raw, error, intake);
  return intake;
}

TEST_CASE("bytes without marks come through as they are") {
  const auto intake = take_all({0x00, 0x01, 0x7f, 0xfe, 0x00});
  CHECK(intake.bytes == Bytes{0x00, 0x01, 0x7f, 0xfe, 0x00});
  CHECK(intake.flags == Bytes{0, 0, 0, 0, 0});
}

TEST_CASE("a doubled FF is one good FF") {
  const auto intake = take_all({0xff, 0xff, 0xff, 0xff, 0x55});
  CHECK(intake.bytes == Bytes{0xff, 0xff, 0x55});
  CHECK(intake.flags == Bytes{0, 0, 0});
}

TEST_CASE("a marked byte carries the error that the line can have") {
  const auto intake = take_all({0x10, 0xff, 0x00, 0x41, 0x20}, parity_flag);
  CHECK(intake.bytes == Bytes{0x10, 0x41, 0x20});
  CHECK(intake.flags == Bytes{0, parity_flag, 0});
}

TEST_CASE("a marked FF is FF with an error, not the start of another mark") {
  const auto intake = take_all({0xff, 0x00, 0xff, 0x00, 0x11});
  CHECK(intake.bytes == Bytes{0xff, 0x00, 0x11});
  CHECK(intake.flags == Bytes{framing_flag, 0, 0});
}

TEST_CASE("a break is a 00 with a framing error, whatever the line's parity") {
  const auto intake = take_all({0xff, 0x00, 0x00, 0x33}, parity_flag);
  CHECK(intake.bytes == Bytes{0x00, 0x33});
  CHECK(intake.flags == Bytes{framing_flag, 0});
}

TEST_CASE("an unknown escape is handed on and costs nothing that follows") {
  const auto intake = take_all({0xff, 0x42, 0x43});
  CHECK(intake.bytes == Bytes{0xff, 0x42, 0x43});
  CHECK(intake.flags == Bytes{0, 0, 0});
}

TEST_CASE("marks may be cut anywhere between reads") {
  const Bytes raw{0x01, 0xff, 0xff, 0x02, 0xff, 0x00, 0x41, 0xff, 0x00, 0x00, 0xff, 0x00, 0xff, 0xff, 0x07, 0x00};
  const auto whole = take_all(raw);
  REQUIRE(whole.bytes == Bytes{0x01, 0xff, 0x02, 0x41, 0x00, 0xff, 0xff, 0x07, 0x00});
  REQUIRE(whole.flags == Bytes{0, 0, 0, framing_flag, framing_flag, framing_flag, 0, 0, 0});
  for (std::size_t first = 0; first <= raw.size(); ++first) {
    for (std::size_t second = first; second <= raw.size(); ++second) {
      ErrorMarks marks;
      PortRead intake;
      const std::span<const std::uint8_t> all(raw);
      marks.take(all.first(first), framing_flag, intake);
      marks.take(all.subspan(first, second - first), framing_flag, intake);
      marks.take(all.subspan(second), framing_flag, intake);
      INFO("cut at " << first << " and " << second);
      REQUIRE(intake.bytes == whole.bytes);
      REQUIRE(intake.flags == whole.flags);
      REQUIRE_FALSE(marks.pending());
    }
  }
}

TEST_CASE("half a mark is held back until the rest comes") {
  ErrorMarks marks;
  PortRead intake;
  marks.take(Bytes{0xff, 0x00}, framing_flag, intake);
  CHECK(intake.bytes.empty());
  CHECK(marks.pending());
  intake.clear();
  marks.take(Bytes{0x41}, framing_flag, intake);
  CHECK(intake.bytes == Bytes{0x41});
  CHECK(intake.flags == Bytes{framing_flag});
}

}  // namespace
}  // namespace hopbench
