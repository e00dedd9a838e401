// "Did you mean": the nearest of the names that would have been right.
#pragma once

#include <span>
#include <string>
#include <string_view>
#include <vector>

namespace hopbench {

/// The candidate nearest to `name`, if it is near enough to be meant: at most a third of its letters differ (left out,
/// added, changed, or two neighbours swapped; case does not count), one or two for short names. Empty if none is.
std::string nearest(std::string_view name, std::span<const std::string> candidates);

/// "; did you mean X?" if a candidate is near, else "; known are A, B, C", all of them, else "".
std::string suggestion(std::string_view name, std::span<const std::string> candidates);

/// Text in quotes, cut if long, with control characters replaced: safe to put into a message.
std::string in_quotes(std::string_view text);

}  // namespace hopbench
