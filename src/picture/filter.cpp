#include "picture/filter.h"

#include <fmt/format.h>

#include <algorithm>
#include <charconv>
#include <set>
#include <sstream>

#include "seen/healthy.h"

namespace hopbench {
namespace {

/// The first link of that hop: of a line the outward one; "5<" is the homeward one.
std::optional<std::uint16_t> link_of(std::string word, const RunInfo& run) {
  const bool homeward = word.ends_with('<');
  if (homeward) word.pop_back();
  std::uint32_t hop = 0;
  const auto [end, error] = std::from_chars(word.data(), word.data() + word.size(), hop);
  if (error != std::errc() || end != word.data() + word.size()) return std::nullopt;
  for (std::size_t i = 0; i < run.links.size(); ++i) {
    if (run.links[i].hop == hop && run.links[i].homeward == homeward) return static_cast<std::uint16_t>(i);
  }
  return std::nullopt;
}

}  // namespace

bool Filter::any() const { return link || node || topic || outcome || symptom || failed; }

bool Filter::shows(const ExchangeObs& obs, const RunInfo& run) const {
  if (node && obs.node != *node) return false;
  if (outcome && obs.outcome != *outcome) return false;
  if (topic && (obs.entry >= run.entries.size() || run.entries[obs.entry].topic != *topic)) return false;
  if (link && std::none_of(obs.rows.begin(), obs.rows.end(),
                           [&](const HopRow& row) { return row.link == *link && row.damaged_here(); }))
    return false;
  if (symptom &&
      std::none_of(obs.rows.begin(), obs.rows.end(), [&](const HopRow& row) { return row.symptom == *symptom; }))
    return false;
  return !failed || any_try_failed(obs);
}

std::string Filter::text(const RunInfo& run) const {
  std::string text;
  const auto add = [&](const std::string& words) { text += (text.empty() ? "" : " ") + words; };
  if (link && *link < run.links.size()) {
    add("hop " + std::to_string(run.links[*link].hop) + (run.links[*link].homeward ? "<" : ""));
  }
  if (node && *node < run.nodes.size()) add("node " + run.nodes[*node]);
  if (topic) add("topic " + *topic);
  if (outcome) add("outcome " + std::string(name_of(*outcome)));
  if (symptom) add("symptom " + std::string(name_of(*symptom)));
  if (failed) add("failed");
  return text;
}

std::optional<Filter> Filter::parse(const std::string& text, const RunInfo& run, std::string& why) {
  Filter filter;
  std::istringstream words(text);
  std::set<std::string> named;
  for (std::string what; words >> what;) {
    if (what == "failed") {
      filter.failed = true;
      continue;
    }
    std::string which;
    if (!(words >> which)) {
      why = what + " of what? hop 5, node a7, topic readings, outcome late, symptom check, or failed";
      return std::nullopt;
    }
    if (!named.insert(what).second) {
      why = fmt::format("{} is named twice; one of each", what);
      return std::nullopt;
    }
    bool known = true;
    if (what == "hop") {
      filter.link = link_of(which, run);
      known = filter.link.has_value();
    } else if (what == "node") {
      const auto found = std::find(run.nodes.begin(), run.nodes.end(), which);
      known = found != run.nodes.end();
      if (known) filter.node = static_cast<std::uint16_t>(found - run.nodes.begin());
    } else if (what == "topic") {
      known =
          std::any_of(run.entries.begin(), run.entries.end(), [&](const auto& entry) { return entry.topic == which; });
      filter.topic = which;
    } else if (what == "outcome") {
      filter.outcome = outcome_named(which);
      known = filter.outcome.has_value();
    } else if (what == "symptom") {
      filter.symptom = symptom_named(which);
      known = filter.symptom.has_value();
    } else {
      why = "no filter is called " + what + "; there are hop, node, topic, outcome, symptom and failed";
      return std::nullopt;
    }
    if (!known) {
      why = fmt::format("there is no {} {}", what, which);
      return std::nullopt;
    }
  }
  return filter;
}

}  // namespace hopbench
