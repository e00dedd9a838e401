#include "text/suggest.h"

#include <algorithm>
#include <array>
#include <cctype>

#include "base/plain_text.h"

namespace hopbench {
namespace {

constexpr std::size_t longest_name = 64;  // longer ones are not looked at
constexpr std::size_t most_listed = 250;  // as many as a chain has nodes

char lower(char c) { return static_cast<char>(std::tolower(static_cast<unsigned char>(c))); }

/// Optimal string alignment distance, case apart. Both at most longest_name long.
std::size_t distance(std::string_view a, std::string_view b) {
  using Row = std::array<std::size_t, longest_name + 1>;
  Row before{};
  Row last{};
  Row row{};
  for (std::size_t j = 0; j <= b.size(); ++j) last[j] = j;
  for (std::size_t i = 1; i <= a.size(); ++i) {
    row[0] = i;
    for (std::size_t j = 1; j <= b.size(); ++j) {
      const bool same = lower(a[i - 1]) == lower(b[j - 1]);
      row[j] = std::min({last[j] + 1, row[j - 1] + 1, last[j - 1] + (same ? 0U : 1U)});
      if (i > 1 && j > 1 && lower(a[i - 1]) == lower(b[j - 2]) && lower(a[i - 2]) == lower(b[j - 1])) {
        row[j] = std::min(row[j], before[j - 2] + 1);
      }
    }
    before = last;
    last = row;
  }
  return last[b.size()];
}

}  // namespace

std::string nearest(std::string_view name, std::span<const std::string> candidates) {
  std::string best;
  std::size_t best_distance = longest_name;
  for (const std::string& candidate : candidates) {
    if (name.size() > longest_name || candidate.size() > longest_name || candidate.empty()) continue;
    const std::size_t d = distance(name, candidate);
    const std::size_t allowed = std::max<std::size_t>(1, std::min(name.size(), candidate.size()) / 3);
    if (d <= allowed && d < std::max(name.size(), candidate.size()) && d < best_distance) {
      best = candidate;
      best_distance = d;
    }
  }
  return best;
}

std::string suggestion(std::string_view name, std::span<const std::string> candidates) {
  if (const std::string near = nearest(name, candidates); !near.empty()) return "; did you mean " + near + "?";
  if (candidates.empty()) return "";
  std::string list;
  for (std::size_t i = 0; i < std::min(candidates.size(), most_listed); ++i) {
    list += (i == 0 ? "" : ", ") + candidates[i];
  }
  if (candidates.size() > most_listed) list += ", ...";
  return "; known are " + list;
}

std::string in_quotes(std::string_view text) {
  constexpr std::size_t most = 48;
  std::size_t end = std::min(text.size(), most);
  while (end > 0 && end < text.size() && (static_cast<unsigned char>(text[end]) & 0xc0U) == 0x80U) --end;
  return "\"" + harmless(text.substr(0, end)) + (end < text.size() ? "...\"" : "\"");
}

}  // namespace hopbench
