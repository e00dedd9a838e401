#include "study/property.h"

#include <fmt/format.h>

#include <algorithm>
#include <utility>

namespace hopbench {
namespace {

using What = PropertyTerm::What;
using Scope = PropertyTerm::Scope;

constexpr std::uint64_t whole_share = 1'000'000'000'000'000;

bool compares(std::uint64_t value, PropertyOperator op, std::uint64_t with) {
  switch (op) {
    case PropertyOperator::more:
      return value > with;
    case PropertyOperator::at_least:
      return value >= with;
    case PropertyOperator::less:
      return value < with;
    case PropertyOperator::at_most:
      return value <= with;
    case PropertyOperator::equal:
      return value == with;
  }
  return false;
}

/// Exact: value / of against share / 1e15.
bool compares_share(std::uint64_t value, std::uint64_t of, PropertyOperator op, std::uint64_t share) {
  if (of == 0) return false;
  __extension__ using Wide = unsigned __int128;
  const Wide left = Wide{value} * whole_share;
  const Wide right = Wide{share} * of;
  const std::uint64_t order = left < right ? 0 : left == right ? 1 : 2;
  return compares(order, op, 1);
}

std::optional<std::size_t> index_of(const std::vector<std::string>& names, const std::string& name) {
  const auto found = std::find(names.begin(), names.end(), name);
  if (found == names.end()) return std::nullopt;
  return static_cast<std::size_t>(found - names.begin());
}

bool has_link(const RunInfo& run, const PropertyTerm& term) {
  return std::any_of(run.links.begin(), run.links.end(), [&](const LinkInfo& link) {
    return term.scope == Scope::hop ? link.hop == term.hop : link.to == term.name;
  });
}

std::optional<std::string> no_such_place_in(const PropertyTerm& term, const RunInfo& run) {
  switch (term.scope) {
    case Scope::all:
    case Scope::topic:
      break;
    case Scope::node:
      if (!index_of(run.nodes, term.name)) return fmt::format("there is no node {}", term.name);
      break;
    case Scope::hop:
      if (!has_link(run, term)) return fmt::format("there is no hop {}", term.hop);
      break;
    case Scope::into:
      if (!has_link(run, term)) return fmt::format("no hop leads into {}", term.name);
      break;
  }
  return std::nullopt;
}

std::optional<std::string> misfit_of(const PropertyTerm& term, const PropertyView& view) {
  if (auto what = no_such_place_in(term, *view.run)) return what;
  if (term.scope == Scope::topic && !index_of(view.measures->topics, term.name))
    return fmt::format("nothing of topic {} is asked", term.name);
  const bool needs_truth = term.what == What::cause || term.what == What::undetected;
  if (needs_truth && (view.causes == nullptr || !view.causes->known)) return "causes are known in a simulation only";
  return std::nullopt;
}

const ExchangeMeasures& exchanges_of(const PropertyTerm& term, const PropertyView& view) {
  const Measures& measures = *view.measures;
  if (term.scope == Scope::node) return measures.nodes[*index_of(view.run->nodes, term.name)];
  if (term.scope == Scope::topic) return measures.by_topic[*index_of(measures.topics, term.name)];
  return measures.all;
}

/// Adds f(index) over the links that the term is about.
template <class F>
std::uint64_t over_links(const PropertyTerm& term, const PropertyView& view, F f) {
  std::uint64_t sum = 0;
  for (std::size_t i = 0; i < view.run->links.size(); ++i) {
    const LinkInfo& link = view.run->links[i];
    if (term.scope == Scope::hop && link.hop != term.hop) continue;
    if (term.scope == Scope::into && link.to != term.name) continue;
    sum += f(i);
  }
  return sum;
}

std::uint64_t longest_unseen(const PropertyTerm& term, const PropertyView& view) {
  std::uint64_t longest = 0;
  for (const CellsUnseen& group : view.measures->cells) {
    if (term.scope == Scope::node && view.run->nodes.at(group.node) != term.name) continue;
    longest = std::max(longest, static_cast<std::uint64_t>(view.measures->longest_unseen(group).span));
  }
  return longest;
}

bool holds_one(const PropertyTerm& term, const PropertyView& view) {
  const auto figure = figure_of(term, view);
  if (!figure) return false;
  return term.share ? compares_share(figure->value, figure->of, term.comparison, term.value)
                    : compares(figure->value, term.comparison, term.value);
}

}  // namespace

std::optional<PropertyFigure> figure_of(const PropertyTerm& term, const PropertyView& view) {
  if (misfit_of(term, view)) return std::nullopt;
  const ExchangeMeasures& exchanges = exchanges_of(term, view);
  std::uint64_t value = 0;
  std::uint64_t of = exchanges.asked;
  switch (term.what) {
    case What::asked:
      value = exchanges.asked;
      break;
    case What::failed:
      value = exchanges.asked - exchanges[Outcome::answered];
      break;
    case What::tries:
      value = exchanges.tries;
      break;
    case What::outcome:
      value = exchanges.outcomes[term.which];
      break;
    case What::symptom:
      value = over_links(term, view, [&](std::size_t i) { return view.measures->links[i].symptoms[term.which]; });
      of = over_links(term, view, [&](std::size_t i) { return view.measures->links[i].frames_in; });
      break;
    case What::undetected:
      value = over_links(term, view, [&](std::size_t i) {
        return i < view.causes->undetected.size() ? view.causes->undetected[i] : std::uint64_t{0};
      });
      of = over_links(term, view, [&](std::size_t i) { return view.measures->links[i].frames_in; });
      break;
    case What::round_trip: {
      const auto at = exchanges.round_trip.percentile(term.parts_per_million);
      if (!at) return std::nullopt;
      value = static_cast<std::uint64_t>(std::max<std::int64_t>(0, *at));
      break;
    }
    case What::unseen:
      value = longest_unseen(term, view);
      break;
    case What::bursts:
    case What::longest_burst: {
      const BurstMeasures& bursts = term.scope == Scope::node
                                        ? view.measures->node_bursts[*index_of(view.run->nodes, term.name)]
                                        : view.measures->bursts;
      const auto longest = bursts.longest_of_all();
      value = term.what == What::bursts ? bursts.count() : longest ? longest->length : 0;
      break;
    }
    case What::cause:
      value = view.causes->tries[term.which];
      of = exchanges.tries;
      break;
  }
  return PropertyFigure{value, of};
}

std::variant<Property, PropertyError> Property::parse(std::string_view text) {
  auto terms = parse_property(text);
  if (auto* error = std::get_if<PropertyError>(&terms)) return std::move(*error);
  Property made;
  made.terms_ = std::get<std::vector<PropertyTerm>>(std::move(terms));
  return made;
}

std::optional<std::string> Property::no_such_place(const RunInfo& run) const {
  for (const PropertyTerm& each : terms_) {
    if (auto what = no_such_place_in(each, run)) return what;
  }
  return std::nullopt;
}

std::optional<std::string> Property::misfit(const PropertyView& view) const {
  for (const PropertyTerm& each : terms_) {
    if (auto what = misfit_of(each, view)) return what;
  }
  return std::nullopt;
}

bool Property::holds(const PropertyView& view) const {
  return std::all_of(terms_.begin(), terms_.end(), [&](const PropertyTerm& each) { return holds_one(each, view); });
}

bool Property::name_hops(const RunInfo& run) {
  for (PropertyTerm& each : terms_) {
    if (each.scope != Scope::hop) continue;
    std::vector<std::string> to;
    for (const LinkInfo& link : run.links) {
      if (link.hop == each.hop) to.push_back(link.to);
    }
    if (to.size() != 1) return false;
    each.scope = Scope::into;
    each.name = to.front();
  }
  return true;
}

}  // namespace hopbench
