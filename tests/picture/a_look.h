// A picture of a capture, opened and read, for tests.
#pragma once

#include <fstream>
#include <iterator>
#include <memory>
#include <string>

#include "picture/picture.h"
#include "support/catch.h"

namespace hopbench {

inline std::unique_ptr<Picture> opened(const std::string& path) {
  std::string why;
  bool no_capture = false;
  auto picture = Picture::open(path, why, no_capture);
  INFO(why);
  REQUIRE(picture);
  return picture;
}

inline void read_all(Picture& picture, std::size_t at_once = 10'000) {
  while (picture.grow(at_once) > 0) {
  }
  REQUIRE(picture.caught_up());
}

inline std::string bytes_of(const std::string& path) {
  std::ifstream file(path, std::ios::binary);
  return {std::istreambuf_iterator<char>(file), std::istreambuf_iterator<char>()};
}

}  // namespace hopbench
