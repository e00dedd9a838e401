// How a terminal hands over characters that came with an error. Expected: termios(3) on INPCK, IGNPAR, PARMRK, IGNBRK.
#include <termios.h>

#include <cstdlib>
#include <vector>

#include "support/catch.h"

extern "C" {
#include "preload/settings.h"
#include "preload/terminal_input.h"

/// The library's own is in a file that stands before the whole C library.
decltype(settings) settings = {};
[[noreturn]] void refuse(const char* call, const char* why);
void refuse(const char* /*call*/, const char* /*why*/) { std::abort(); }
}

namespace hopbench {
namespace {

using Bytes = std::vector<int>;

Bytes read_with(unsigned flags, const std::vector<hopbench_char>& heard) {
  settings.input = flags;
  input_clear();
  for (const hopbench_char& each : heard) input_add(&each);
  std::vector<unsigned char> bytes(8'192);
  bytes.resize(input_take(bytes.data(), bytes.size()));
  CHECK(input_size() == 0);
  return {bytes.begin(), bytes.end()};
}

}  // namespace

TEST_CASE("characters with errors are read as the settings say", "[preload]") {
  constexpr std::uint8_t good = 0;
  const std::vector<hopbench_char> heard{{1, 'a', good},
                                         {2, 'b', HOPBENCH_TIME_PARITY},
                                         {3, 'c', HOPBENCH_TIME_FRAMING},
                                         {4, 0, HOPBENCH_TIME_BREAK | HOPBENCH_TIME_FRAMING},
                                         {5, 0xFF, good},
                                         {6, 'd', HOPBENCH_TIME_OVERRUN}};
  CHECK(read_with(0, heard) == Bytes{'a', 'b', 'c', 0, 0xFF, 'd'});
  CHECK(read_with(IGNBRK, heard) == Bytes{'a', 'b', 'c', 0xFF, 'd'});
  CHECK(read_with(INPCK, heard) == Bytes{'a', 0, 0, 0, 0xFF, 'd'});
  CHECK(read_with(INPCK | IGNPAR, heard) == Bytes{'a', 0, 0xFF, 'd'});
  CHECK(read_with(IGNPAR, heard) == Bytes{'a', 'b', 'c', 0, 0xFF, 'd'});
  CHECK(read_with(INPCK | PARMRK, heard) == Bytes{'a', 0xFF, 0, 'b', 0xFF, 0, 'c', 0xFF, 0, 0, 0xFF, 0xFF, 'd'});
  CHECK(read_with(INPCK | IGNPAR | PARMRK | IGNBRK, heard) == Bytes{'a', 0xFF, 0xFF, 'd'});
}

TEST_CASE("a terminal that nobody reads keeps what came first", "[preload]") {
  std::vector<hopbench_char> heard;
  for (std::uint64_t i = 0; i < 5'000; ++i) heard.push_back({i, static_cast<std::uint8_t>(i % 251), 0});
  const Bytes bytes = read_with(0, heard);
  REQUIRE(bytes.size() == 4'095);
  CHECK(bytes.front() == 0);
  CHECK(bytes.back() == 4'094 % 251);
  // The ring has come round: what is read stays in order.
  CHECK(read_with(0, {{1, 'x', 0}, {2, 'y', 0}, {3, 'z', 0}}) == Bytes{'x', 'y', 'z'});
}

}  // namespace hopbench
