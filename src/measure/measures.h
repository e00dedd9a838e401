// What a run comes to in numbers: a fold over observations, the same live or from a capture. Causes are counted
// elsewhere (measure/causes.h).
#pragma once

#include <array>
#include <cstdint>
#include <string>
#include <vector>

#include "measure/histogram.h"
#include "seen/observation.h"

namespace hopbench {

/// One link, as seen at its far end.
struct LinkMeasures {
  std::uint64_t frames_in = 0;     // good frames put on the link
  std::uint64_t frames_out = 0;    // of those: heard well
  std::uint64_t came_damaged = 0;  // frames that were bad already when they were put on it; in no other count
  std::array<std::uint64_t, symptom_count> symptoms{};  // of the good ones; [none] is frames_out
  std::uint64_t strays = 0;                             // heard at its end outside any exchange
  Histogram transit;  // ns from first edge at the sender to last edge at the receiver, if heard well

  void merge(const LinkMeasures& other);
  friend bool operator==(const LinkMeasures&, const LinkMeasures&) = default;
};

/// Some exchanges: all of them, or those with one node, or of one topic.
struct ExchangeMeasures {
  std::uint64_t asked = 0;
  std::uint64_t tries = 0;
  std::array<std::uint64_t, outcome_count> outcomes{};
  Histogram round_trip;  // ns, of the exchanges that had one

  [[nodiscard]] std::uint64_t operator[](Outcome outcome) const { return outcomes[static_cast<std::size_t>(outcome)]; }
  void merge(const ExchangeMeasures& other);
  friend bool operator==(const ExchangeMeasures&, const ExchangeMeasures&) = default;
};

/// Memory is fixed by the size of the chain, not by the length of the run.
struct Measures {
  ExchangeMeasures all;
  std::vector<LinkMeasures> links;      // as RunInfo.links
  std::vector<ExchangeMeasures> nodes;  // as RunInfo.nodes, and one more: everyone
  std::vector<std::string> topics;      // names, in the order of their first entry
  std::vector<ExchangeMeasures> by_topic;
  std::uint64_t arrivals = 0;  // bytes that a real port took in
  Nanos until = 0;             // last instant covered, or that of the last record
  bool ended = false;
  Lateness lateness;

  /// Adds a run of the same chain (or the rest of this one).
  void merge(const Measures& other);
  friend bool operator==(const Measures& a, const Measures& b);
};

/// Folds observations into Measures. Truth that is handed over is left alone.
class MeasureFold final : public Sink {
 public:
  [[nodiscard]] const Measures& measures() const { return measures_; }
  [[nodiscard]] const RunInfo& run() const { return run_; }

  void begin(const RunInfo& run) override;
  void exchange(const ExchangeObs& obs, const ExchangeTruth* truth) override;
  void stray(const Stray& stray) override;
  void arrival(const Arrival& arrival) override;
  void end(Nanos until, const Lateness& lateness) override;

 private:
  RunInfo run_;
  Measures measures_;
  std::vector<std::size_t> topic_of_entry_;
};

}  // namespace hopbench
