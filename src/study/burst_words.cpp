#include "study/burst_words.h"

#include <fmt/format.h>

#include <algorithm>

#include "study/words.h"

namespace hopbench {
namespace {

std::string between(Nanos from, Nanos until) {
  return fmt::format("{} to {}", words::instant(from), words::instant(until));
}

std::string tries(std::uint64_t number) { return number == 1 ? "1 try" : words::count(number) + " tries"; }

}  // namespace

RunLengths runs_of(const Evidence& evidence, const Case& which, bool with_node) {
  RunLengths sum;
  const auto& by_ending = with_node ? evidence.bursts.with_node : evidence.bursts.all;
  for (std::size_t i = 0; i < ending_count; ++i) {
    if (family_of(static_cast<Ending>(i)) == which.family) sum.add(by_ending[i]);
  }
  return sum;
}

std::string burst_sentence(const Evidence& evidence, const Case& which) {
  const auto all = runs_of(evidence, which, false);
  const auto one = runs_of(evidence, which, true);
  if (all.total() == 0) return {};
  if (all.longest <= 1) return "each between tries that went well";
  std::string text =
      fmt::format("{} of {} between tries that went well, the longest run {} ({})", words::count(all.alone()),
                  words::count(all.total()), tries(all.longest), between(all.longest_from, all.longest_until));
  if (one.longest > 1) text += fmt::format("; with one node the longest run is {}", tries(one.longest));
  return text;
}

std::vector<std::string> stretch_sentences(const Evidence& evidence) {
  std::vector<std::string> out;
  const auto& bursts = evidence.bursts;
  if (bursts.longest.failed == 0) return out;
  const auto told = [](const Stretch& stretch) {
    return fmt::format("{} ({}; {} failed)", words::span(stretch.length()), between(stretch.from, stretch.until),
                       tries(stretch.failed));
  };
  std::string text = fmt::format("Longest time without a good answer: {} from any node", told(bursts.longest));
  const auto worst = std::max_element(bursts.of_nodes.begin(), bursts.of_nodes.end(),
                                      [](const Stretch& a, const Stretch& b) { return a.length() < b.length(); });
  if (worst != bursts.of_nodes.end() && worst->failed > 0) {
    const auto alike = std::count_if(bursts.of_nodes.begin(), bursts.of_nodes.end(), [&](const Stretch& each) {
      return each.failed > 0 && 2 * each.length() >= worst->length();
    });
    const auto name = evidence.run.nodes[static_cast<std::size_t>(worst - bursts.of_nodes.begin())];
    text += fmt::format("; {} from {}", told(*worst), name);
    if (alike > 1) text += fmt::format(", and {} of {} nodes at least half as long", alike, bursts.of_nodes.size());
  }
  out.push_back(text + ".");
  return out;
}

}  // namespace hopbench
