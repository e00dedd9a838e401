#include "claims.h"

#include <fmt/format.h>

#include <algorithm>
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
      if (3 * count >= run.truth.failures_of(each.mechanism)) add_ends(link);
    }
    for (const auto& [node, count] : run.truth.nodes_of(each.mechanism)) {
      if (3 * count >= run.truth.failures_of(each.mechanism)) guilty.insert(node);
    }
  }
  return guilty;
}

}  // namespace

std::vector<Claim> claims_of(const HiddenCase& hidden, const CaseRun& run, const Explanation& explanation) {
  const RunInfo& info = run.controller.evidence().run;
  const auto guilty = guilty_nodes(hidden, run);
  std::vector<Claim> claims;
  for (const NodeFinding& finding : explanation.where.nodes) {
    const bool holds =
        guilty.contains(finding.node) || std::any_of(finding.alike.begin(), finding.alike.end(),
                                                     [&](std::uint16_t node) { return guilty.contains(node); });
    claims.push_back({Claim::What::node, holds, finding.sentence});
  }
  const Bursts& bursts = run.controller.evidence().bursts;
  const auto check = [&](const Stretch& stretch, std::uint16_t node, const std::string& from_whom) {
    if (stretch.failed == 0) return;
    const bool holds = !run.answers.any(node, stretch.from, stretch.until);
    claims.push_back(
        {Claim::What::stretch, holds,
         fmt::format("no good answer from {} between {} and {} ns", from_whom, stretch.from, stretch.until)});
  };
  check(bursts.longest, no_station, "any node");
  for (std::size_t i = 0; i < bursts.of_nodes.size(); ++i)
    check(bursts.of_nodes[i], static_cast<std::uint16_t>(i), info.nodes[i]);
  return claims;
}

}  // namespace hopbench::rates
