#include "text/requirement_loader.h"

#include <fmt/format.h>

#include <algorithm>
#include <variant>

#include "scenario/link_table.h"
#include "text/readers.h"

namespace hopbench {
namespace {

constexpr int most_requirements = 1000;
constexpr std::uint32_t most_bunch = 1'000'000;
constexpr Ppq most_risk = certain / 5;

using Scope = PropertyTerm::Scope;

/// What the term is about has to be in the chain.
void check_place(const PropertyTerm& term, const ChainDescription& chain, const Spot& spot) {
  if (term.scope == Scope::node && std::none_of(chain.nodes.begin(), chain.nodes.end(),
                                                [&](const NodeSpec& node) { return node.name == term.name; })) {
    spot.say(fmt::format("there is no node {}", term.name));
  }
  const auto links = link_infos(chain);
  const auto none_of_links = [&](auto fits) { return std::none_of(links.begin(), links.end(), fits); };
  if (term.scope == Scope::hop && none_of_links([&](const LinkInfo& link) { return link.hop == term.hop; })) {
    spot.say(fmt::format("there is no hop {}", term.hop));
  }
  if (term.scope == Scope::into && none_of_links([&](const LinkInfo& link) { return link.to == term.name; })) {
    spot.say(fmt::format("no hop leads into {}", term.name));
  }
  if (term.scope == Scope::topic && std::none_of(chain.controller.plan.begin(), chain.controller.plan.end(),
                                                 [&](const PlanEntry& entry) { return entry.topic == term.name; })) {
    spot.say(fmt::format("nothing of topic {} is asked", term.name));
  }
}

void read_risk(const Spot& spot, std::string_view field, const std::string& text, Ppq& risk) {
  read_probability(spot, field, text, risk, true);
  if (spot.has(field) && (risk == 0 || risk > most_risk)) {
    spot.in(field).say(fmt::format("{} must be above 0 and at most 20%", field));
  }
}

Requirement requirement_from(const text::Requirement& message, const Spot& spot, const ChainDescription& chain) {
  Requirement made;
  made.that = message.that();
  if (!spot.has("that")) {
    spot.say("a requirement needs that: \"failed <= 0.01%\", or what else has to hold");
    return made;
  }
  const Spot that = spot.in("that");
  auto parsed = parse_property(message.that());
  if (const auto* error = std::get_if<PropertyError>(&parsed)) {
    that.say(fmt::format("at its character {}: {}", error->column, error->what));
    return made;
  }
  const auto& terms = std::get<std::vector<PropertyTerm>>(parsed);
  made.term = terms.front();
  if (terms.size() > 1) that.say("one thing at a time; write a requirement for each");
  if (made.term.comparison != PropertyOperator::at_most) that.say("a requirement says what may not be passed: \"<=\"");
  check_place(made.term, chain, that);
  const auto what = made.term.what;
  const bool good =
      what == PropertyTerm::What::asked ||
      (what == PropertyTerm::What::outcome && made.term.which == static_cast<std::uint8_t>(Outcome::answered));
  if (good) that.say("more of this is no fault; require failed, lost, late or the like");
  read_risk(spot, "reject_risk", message.reject_risk(), made.reject_risk);
  read_risk(spot, "accept_risk", message.accept_risk(), made.accept_risk);
  if (message.has_bunch()) made.bunch = message.bunch();
  check_range(spot, "bunch", made.bunch, 1, most_bunch);
  if (!made.term.share) {
    for (const char* field : {"acceptable", "reject_risk", "accept_risk", "bunch"}) {
      if (spot.has(field)) spot.in(field).say(fmt::format("{} goes with a share in that", field));
    }
    return made;
  }
  if (!spot.has("acceptable")) {
    spot.say("a share needs acceptable: at which share is the chain as good as it should be? \"0%\" for none at all");
    return made;
  }
  read_probability(spot, "acceptable", message.acceptable(), made.acceptable, false);
  if (made.acceptable >= made.term.value || made.term.value == certain) {
    spot.in("acceptable").say("acceptable must be less than the share in that, and that less than 100%");
  }
  return made;
}

}  // namespace

std::vector<Requirement> requirements_from(const text::Scenario& scenario, const Spot& root,
                                           const ChainDescription& chain) {
  std::vector<Requirement> made;
  if (too_many(root, "requirement", scenario.requirement_size(), most_requirements)) return made;
  for (int i = 0; i < scenario.requirement_size(); ++i) {
    made.push_back(requirement_from(scenario.requirement(i), root.in("requirement", i), chain));
  }
  return made;
}

}  // namespace hopbench
