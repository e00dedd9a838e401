// A picture of a capture, opened and read, for tests.
#pragma once

#include <fmt/format.h>

#include <fstream>
#include <iterator>
#include <memory>
#include <optional>
#include <string>

#include "picture/picture.h"
#include "support/catch.h"

namespace hopbench {

/// `program`: none: without an index.
inline std::unique_ptr<Picture> opened(const std::string& path, const std::optional<std::string>& program = "1") {
  std::string why;
  bool no_capture = false;
  auto picture = Picture::open(path, program, why, no_capture);
  INFO(why);
  REQUIRE(picture);
  return picture;
}

inline void read_all(Picture& picture, std::size_t at_once = 10'000) {
  while (picture.grow(at_once) > 0) {
  }
  REQUIRE(picture.caught_up());
}

inline std::string damage_told(const CaptureDamage& damage) {
  return fmt::format(
      "bytes {} records {} torn {} missing {} misplaced {} cut {} first {} causes {}{}{}{}", damage.bytes_skipped,
      damage.records_missing, damage.torn_bytes, damage.segments_missing, damage.segments_misplaced,
      damage.segments_cut, damage.first_bad_segment ? int(*damage.first_bad_segment) : -1, damage.causes_unreadable,
      damage.unclosed ? " unclosed" : "", damage.sum_disagrees ? " sum" : "", damage.newer ? " newer" : "");
}

/// Both tell the same of all of the capture.
inline void check_equal(const Picture& a, const Picture& b) {
  CHECK(damage_told(a.damage()) == damage_told(b.damage()));
  REQUIRE(a.slices().slice_span() == b.slices().slice_span());
  const Nanos span = a.slices().slice_span();
  for (Nanos at = slot_of(a.from(), span) * span; at <= a.until(); at += span) {
    CAPTURE(at);
    REQUIRE(a.slices().sum(at, at + 1) == b.slices().sum(at, at + 1));
  }
  CHECK(a.slices().part(a.from(), a.until()).nodes == b.slices().part(a.from(), a.until()).nodes);
}

inline std::string bytes_of(const std::string& path) {
  std::ifstream file(path, std::ios::binary);
  return {std::istreambuf_iterator<char>(file), std::istreambuf_iterator<char>()};
}

}  // namespace hopbench
