#include "claims.h"

#include <algorithm>
#include <cstdlib>
#include <set>

namespace hopbench::rates {
namespace {

/// Nodes that a hidden mechanism is at, or at an end of a hop of. Of one that may be anywhere: those at which, or at an
/// end of the link on which, a third of its failures ended.
std::set<std::uint16_t> guilty_nodes(const HiddenCase& hidden, const CaseRun& run) {
  const RunInfo& info = run.controller.evidence().run;
  std::set<std::uint16_t> guilty;
  const auto add_ends = [&](std::size_t link) {
    for (const std::string& name : {info.links[link].from, info.links[link].to}) {
      const auto found = std::find(info.nodes.begin(), info.nodes.end(), name);
      if (found != info.nodes.end()) guilty.insert(static_cast<std::uint16_t>(found - info.nodes.begin()));
    }
  };
  for (const Hidden& each : hidden.hidden) {
    for (const std::size_t link : each.planted.links) add_ends(link);
    for (const std::size_t node : each.planted.nodes) guilty.insert(static_cast<std::uint16_t>(node));
    if (!each.planted.links.empty() || !each.planted.nodes.empty()) continue;
    for (const auto& [link, count] : run.truth.links_of(each.mechanism)) {
      if (3 * count >= each.failures) add_ends(link);
    }
    for (const auto& [node, count] : run.truth.nodes_of(each.mechanism)) {
      if (3 * count >= each.failures) guilty.insert(node);
    }
  }
  return guilty;
}

/// Between the two; nothing if they do not both stand there.
std::optional<std::string> between(const std::string& text, const std::string& before, const std::string& after) {
  const auto from = text.find(before);
  if (from == std::string::npos) return std::nullopt;
  const auto to = text.find(after, from + before.size());
  if (to == std::string::npos) return std::nullopt;
  return text.substr(from + before.size(), to - from - before.size());
}

/// "75.7 min" as nanoseconds.
std::optional<double> span_in(const std::string& text) {
  char* end = nullptr;
  const double number = std::strtod(text.c_str(), &end);
  const std::string unit = end;
  if (unit == " ns") return number;
  if (unit == " us") return number * 1e3;
  if (unit == " ms") return number * 1e6;
  if (unit == " s") return number * 1e9;
  if (unit == " min") return number * 60e9;
  if (unit == " h") return number * 3600e9;
  if (unit == " d") return number * 86400e9;
  return std::nullopt;
}

}  // namespace

std::vector<Claim> claims_of(const HiddenCase& hidden, const CaseRun& run, const Explanation& explanation) {
  const RunInfo& info = run.controller.evidence().run;
  const auto guilty = guilty_nodes(hidden, run);
  std::vector<Claim> claims;
  const auto accuse = [&](const std::string& name, const std::string& sentence) {
    const auto found = std::find(info.nodes.begin(), info.nodes.end(), name);
    if (found == info.nodes.end()) return;
    const auto node = static_cast<std::uint16_t>(found - info.nodes.begin());
    claims.push_back({Claim::What::node, guilty.contains(node), sentence});
  };
  for (const std::string& sentence : explanation.where.sentences) {
    if (const auto name = between(sentence, "Exchanges with ", " fail more often")) accuse(*name, sentence);
  }
  const Nanos longest = run.answers.longest_without(run.controller.evidence().until);
  for (const CaseFinding& finding : explanation.cases) {
    std::set<std::string> said;  // the same sentence stands with several candidates
    for (const Candidate& candidate : finding.candidates) {
      if (const auto name = between(candidate.evidence, "only ", " is concerned"); name && said.insert(*name).second)
        accuse(*name, candidate.evidence);
      const auto stretch = between(candidate.evidence, "nothing came for ", " at a stretch");
      if (!stretch || !said.insert(*stretch).second) continue;
      const auto span = span_in(*stretch);
      const bool holds = span && *span < 1.02 * static_cast<double>(longest);
      claims.push_back({Claim::What::stretch, holds, candidate.evidence});
    }
  }
  return claims;
}

}  // namespace hopbench::rates
