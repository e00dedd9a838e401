// A listener that keeps everything it is told, for comparing runs.
#pragma once

#include <string>
#include <vector>

#include "seen/whole_sink.h"

namespace hopbench {

struct KeptExchange {
  ExchangeObs seen;  // its spans are empty; what they pointed to is below
  std::vector<Attempt> attempts;
  std::vector<HopRow> rows;
  std::vector<std::uint8_t> asked;
  std::vector<std::uint8_t> answered;
  std::vector<std::uint8_t> replied;
  std::vector<RowDamage> damage;
  std::vector<RowTruth> row_truths;
  std::vector<AttemptTruth> attempt_truths;
  std::vector<FaultStrike> strikes;
};

/// One line that says all of it, so that a difference can be read.
std::string describe(const KeptExchange& exchange);

class Collector final : public WholeSink {
 public:
  void begin(const RunInfo& run) override { info = run; }
  void exchange(const ExchangeObs& seen, const ExchangeTruth* truth) override;
  void stray(const Stray& stray) override;
  void arrival(const Arrival& arrival) override { arrivals.emplace_back(arrival.bytes.begin(), arrival.bytes.end()); }
  void state(const State& state) override;
  void end(Nanos until, const Lateness& lateness) override;
  // No chain tells of these. One that does must be compared by them, too.
  void tally(const Tally&) override { throw std::logic_error("a tally from a chain"); }
  void gap(const Gap&) override { throw std::logic_error("a gap from a chain"); }
  void dropped(const Dropped&) override { throw std::logic_error("dropped records from a chain"); }
  void command(const Remark&) override { throw std::logic_error("a command from a chain"); }
  void note(const Remark&) override { throw std::logic_error("a note from a chain"); }

  [[nodiscard]] std::size_t count(Outcome outcome) const;
  [[nodiscard]] std::size_t count(Symptom symptom, std::uint16_t link) const;
  [[nodiscard]] std::size_t count(Cause cause) const;  // over tries

  RunInfo info;
  std::vector<KeptExchange> exchanges;
  std::vector<std::string> strays;
  std::vector<Nanos> strays_at;  // as strays
  std::vector<std::string> states;
  std::vector<std::vector<std::uint8_t>> arrivals;
  Nanos ended = -1;
};

}  // namespace hopbench
