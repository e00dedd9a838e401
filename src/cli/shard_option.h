// The option --shard: every N-th of numbered jobs.
#pragma once

#include <cstddef>
#include <optional>
#include <string>

namespace hopbench {

struct Shard {
  std::size_t number = 1;  // from 1
  std::size_t of = 1;
  [[nodiscard]] bool has(std::size_t job) const { return job % of == number - 1; }
};

/// From "2/3"; of an empty text the whole. Nothing, and one line on the standard error, for anything else.
std::optional<Shard> read_shard(const std::string& text);

}  // namespace hopbench
