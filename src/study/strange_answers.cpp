#include "study/strange_answers.h"

#include <fmt/format.h>

#include <algorithm>
#include <map>
#include <optional>

#include "study/words.h"

namespace hopbench {
namespace {

constexpr std::uint64_t least = 6;  // tries
constexpr double nearly_all = 0.9;
constexpr double hardly_any = 0.1;
constexpr std::size_t most_told = 3;

/// Nodes by whom they were asked and who answered, of tries that failed or that went well.
using Answered = std::map<std::uint16_t, std::map<std::uint16_t, std::uint64_t>>;

std::uint64_t sum_of(const std::map<std::uint16_t, std::uint64_t>& counts) {
  std::uint64_t sum = 0;
  for (const auto& [node, count] : counts) sum += count;
  return sum;
}

double share_of(const Answered& answered, std::uint16_t asked, std::uint16_t other) {
  const auto found = answered.find(asked);
  if (found == answered.end()) return 0;
  const auto count = found->second.find(other);
  return count == found->second.end() ? 0
                                      : static_cast<double>(count->second) / static_cast<double>(sum_of(found->second));
}

std::vector<StrangeAnswers> strange_in(const Answered& failed, const Answered& well, bool by_place) {
  std::vector<StrangeAnswers> found;
  for (const auto& [asked, counts] : failed) {
    for (const auto& [other, count] : counts) {
      if (other == asked || count < least || share_of(failed, asked, other) < nearly_all ||
          share_of(well, asked, other) > hardly_any) {
        continue;
      }
      found.push_back({asked, other, by_place, count, sum_of(counts)});
    }
  }
  return found;
}

/// Which node has an address, by what asks of it carry.
std::map<std::uint64_t, std::uint16_t> nodes_by_address(const CaseSample& sample, const Protocol& protocol) {
  std::map<std::uint64_t, std::uint16_t> nodes;
  Frame ask;
  for (const Specimen* each : sample.specimens()) {
    if (each->node == no_station || protocol.parse(each->said->asked, ask) != Damage::none) continue;
    if (const auto address = protocol.destination(ask)) nodes.try_emplace(*address, each->node);
  }
  return nodes;
}

std::vector<StrangeAnswers> by_address(const CaseSample& sample, const Protocol& protocol) {
  const auto nodes = nodes_by_address(sample, protocol);
  Answered failed;
  Answered well;
  Frame answer;
  for (std::size_t i = 0; i < sample.specimens().size(); ++i) {
    const Specimen& one = *sample.specimens()[i];
    const auto& content = sample.failed(i) ? one.said->came : one.said->answered;
    if (one.node == no_station || content.empty() || protocol.parse(content, answer) != Damage::none) continue;
    answer.role = Role::answer;
    const auto source = protocol.source(answer);
    const auto found = source ? nodes.find(*source) : nodes.end();
    if (found != nodes.end()) ++(sample.failed(i) ? failed : well)[one.node][found->second];
  }
  return strange_in(failed, well, false);
}

std::string named(const RunInfo& run, std::uint16_t node) { return node < run.nodes.size() ? run.nodes[node] : "?"; }

std::string counted_in(const StrangeAnswers& each) {
  return fmt::format("{} of {}", words::count(each.in), words::count(each.of));
}

}  // namespace

std::vector<StrangeAnswers> strange_answers_of(const CaseSample& sample, const Protocol* protocol) {
  Answered failed;
  Answered well;
  for (std::size_t i = 0; i < sample.specimens().size(); ++i) {
    const Specimen& one = *sample.specimens()[i];
    if (one.node == no_station || one.answerer == no_station) continue;
    ++(sample.failed(i) ? failed : well)[one.node][one.answerer];
  }
  auto found = strange_in(failed, well, true);
  if (found.empty() && protocol != nullptr) found = by_address(sample, *protocol);
  std::stable_sort(found.begin(), found.end(), [](const auto& a, const auto& b) { return a.in > b.in; });
  return found;
}

std::vector<std::string> sentences_of(const std::vector<StrangeAnswers>& all, const RunInfo& run) {
  std::vector<std::string> said;
  std::vector<bool> told(all.size(), false);
  for (std::size_t i = 0; i < all.size() && said.size() < most_told; ++i) {
    if (told[i]) continue;
    const StrangeAnswers& one = all[i];
    const auto asked = named(run, one.asked);
    const auto other = named(run, one.other);
    std::size_t back = i + 1;
    while (back < all.size() && (all[back].asked != one.other || all[back].other != one.asked)) ++back;
    std::string text =
        one.by_place
            ? fmt::format("What is asked of {} is answered from the place of {} in {}", asked, other, counted_in(one))
            : fmt::format("Answers of {} carry the address of {} in {}", asked, other, counted_in(one));
    if (back < all.size()) {
      told[back] = true;
      text += one.by_place
                  ? fmt::format(", and what is asked of {} from that of {} in {}: their addresses look swapped.", other,
                                asked, counted_in(all[back]))
                  : fmt::format(", and those of {} that of {} in {}: their addresses look swapped.", other, asked,
                                counted_in(all[back]));
    } else {
      text += one.by_place ? fmt::format(": {} looks set to the address of {}.", other, asked) : ".";
    }
    said.push_back(std::move(text));
  }
  return said;
}

}  // namespace hopbench
