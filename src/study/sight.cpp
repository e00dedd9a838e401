#include "study/sight.h"

#include <algorithm>

namespace hopbench {

std::string_view name_of(Sight sight) {
  switch (sight) {
    case Sight::every_hop:
      return "every_hop";
    case Sight::some_hops:
      return "some_hops";
    case Sight::controller_only:
      return "controller_only";
  }
  return "controller_only";
}

Sight sight_of(const RunInfo& run) {
  const auto on_wire = [](const LinkInfo& link) {
    return link.vantage == Vantage::simulated || link.vantage == Vantage::tapped;
  };
  const auto seen = static_cast<std::size_t>(std::count_if(run.links.begin(), run.links.end(), on_wire));
  if (seen == 0) return Sight::controller_only;
  return seen == run.links.size() ? Sight::every_hop : Sight::some_hops;
}

void AtController::begin(const RunInfo& run) {
  RunInfo shut = run;
  shut.truth_known = false;
  into_controller_.assign(run.links.size(), false);
  for (std::size_t i = 0; i < shut.links.size(); ++i) {
    const bool own = shut.links[i].to == run.controller;
    into_controller_[i] = own;
    shut.links[i].vantage = own ? Vantage::at_port : Vantage::unseen;
  }
  told_.begin(shut);
}

void AtController::exchange(const ExchangeObs& obs) {
  const auto told = [](Outcome outcome) {
    return outcome == Outcome::stale || outcome == Outcome::wrong ? Outcome::answered : outcome;
  };
  rows_.clear();
  for (HopRow row : obs.rows) {
    if (row.link >= into_controller_.size() || !into_controller_[row.link]) continue;
    // Of a frame that never made a character the controller knows nothing, not even that it was sent.
    if (row.symptom == Symptom::nothing) continue;
    row.start = row.end;
    row.inherited = false;
    rows_.push_back(row);
  }
  attempts_.assign(obs.attempts.begin(), obs.attempts.end());
  for (auto& attempt : attempts_) attempt.outcome = told(attempt.outcome);
  ExchangeObs shut = obs;
  shut.outcome = told(obs.outcome);
  shut.rows = rows_;
  shut.replied = {};
  shut.damage = {};
  shut.attempts = attempts_;
  told_.exchange(shut);
}

void AtController::stray(const Stray& stray) {
  Stray shut = stray;
  shut.belongs_to = Stray{}.belongs_to;
  told_.stray(shut);
}

}  // namespace hopbench
