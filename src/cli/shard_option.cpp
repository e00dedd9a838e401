#include "cli/shard_option.h"

#include <charconv>

#include "cli/commands.h"
#include "text/suggest.h"

namespace hopbench {

std::optional<Shard> read_shard(const std::string& text) {
  if (text.empty()) return Shard{};
  constexpr std::size_t most = 100'000;
  Shard shard;
  const char* const end = text.data() + text.size();
  const auto number = std::from_chars(text.data(), end, shard.number);
  if (number.ec == std::errc() && number.ptr != end && *number.ptr == '/') {
    const auto of = std::from_chars(number.ptr + 1, end, shard.of);
    const bool whole = of.ec == std::errc() && of.ptr == end;
    if (whole && shard.number >= 1 && shard.number <= shard.of && shard.of <= most) return shard;
  }
  (void)bad_input("--shard: " + in_quotes(text) + " is no part of a whole; write I/N, for example 1/3, 2/3 or 3/3");
  return std::nullopt;
}

}  // namespace hopbench
