// One run of a scenario, as whoever sees every hop and as the controller sees it, with the truth beside it.
#pragma once

#include <array>
#include <cstdint>
#include <functional>
#include <map>
#include <memory>
#include <optional>
#include <string>
#include <unordered_map>
#include <utility>
#include <vector>

#include "seen/ignoring_sink.h"
#include "seen/mechanism.h"
#include "study/counters.h"
#include "study/evidence_fold.h"
#include "study/explanation.h"
#include "study/specimens.h"
#include "text/scenario.h"

namespace hopbench::rates {

/// Why tries failed. Incidents are found in it by entry, turn and attempt.
class TruthFold final : public IgnoringSink {
 public:
  void exchange(const ExchangeObs& obs, const ExchangeTruth* truth) override;
  [[nodiscard]] AttemptTruth why(const Incident& incident) const;
  /// Tries that a mechanism made fail.
  [[nodiscard]] std::uint64_t failures_of(Mechanism mechanism) const {
    return failures_[static_cast<std::size_t>(mechanism)];
  }
  /// How many of a mechanism's failed tries ended on each link, and at each node.
  [[nodiscard]] const std::map<std::uint16_t, std::uint64_t>& links_of(Mechanism mechanism) const;
  [[nodiscard]] const std::map<std::uint16_t, std::uint64_t>& nodes_of(Mechanism mechanism) const;

 private:
  static std::uint64_t key(std::uint32_t entry, std::uint32_t turn, std::uint8_t attempt);
  std::unordered_map<std::uint64_t, AttemptTruth> failed_;
  std::array<std::uint64_t, mechanism_count> failures_{};
  std::array<std::map<std::uint16_t, std::uint64_t>, mechanism_count> links_;
  std::array<std::map<std::uint16_t, std::uint64_t>, mechanism_count> nodes_;
};

/// When good answers came, by node, as the controller saw them: it takes stale and wrong values for good ones.
class AnswerFold final : public IgnoringSink {
 public:
  void begin(const RunInfo& run) override { answers_.assign(run.nodes.size(), {}); }
  void exchange(const ExchangeObs& obs, const ExchangeTruth*) override;
  /// A good answer of this node, or of any (no_station), came within.
  [[nodiscard]] bool any(std::uint16_t node, Nanos from, Nanos to) const;
  /// The longest time without a good answer from any node.
  [[nodiscard]] Nanos longest_without(Nanos until) const;

 private:
  std::vector<std::vector<Nanos>> answers_;
};

enum class Eyes : std::uint8_t { every_hop, controller };

/// What was seen in one run, by both.
struct CaseRun {
  explicit CaseRun(Scenario that) : scenario(std::move(that)), protocol(scenario.bus) {}

  Scenario scenario;
  Protocol protocol;
  EvidenceFold hops;
  EvidenceFold controller;
  SpecimenFold hops_kept{hops};
  SpecimenFold controller_kept{controller};
  TruthFold truth;
  AnswerFold answers;
  std::optional<std::vector<NodeCounters>> counters;

  [[nodiscard]] Exhibits kept(Eyes eyes) const {
    return {eyes == Eyes::every_hop ? &hops_kept : &controller_kept, &protocol};
  }
  [[nodiscard]] const Evidence& evidence(Eyes eyes) const {
    return eyes == Eyes::every_hop ? hops.evidence() : controller.evidence();
  }
};

/// Stands between the chain and whoever listens, and hands things on changed; empty: nobody does.
using Between = std::function<Sink&(Sink& to)>;

/// Runs the scenario of this text. `as_told`: conditions are taken from the traffic also for who sees every hop.
std::unique_ptr<CaseRun> run_case(const std::string& text, bool as_told, const Between& between = {});

}  // namespace hopbench::rates
