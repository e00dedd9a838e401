// One fixed, invented summary for the tests of views: a ring of three nodes of which one hop is bad.
#pragma once

#include "measure/fan_out.h"
#include "measure/sample_run.h"
#include "view/summary.h"

namespace hopbench::sample {

/// 1000 exchanges, one every 1.3824 s. On the hop into n2 every 100th ask has a wrong check and dies with the try (a
/// second try is answered), every 500th exchange is lost altogether, one damaged frame passes for a good one.
inline Run fixed_run() {
  Run run;
  run.info = ring(3);
  run.info.scenario = "aldermoor-three-nodes";
  constexpr Nanos pace = 1'382'400'000;
  for (std::uint64_t i = 0; i < 1000; ++i) {
    const Nanos start = static_cast<Nanos>(i) * pace;
    auto exchange = clean_exchange(run.info, i, start);
    if (i % 100 == 50) {
      const auto second_try = exchange.rows;
      exchange.rows.resize(2);
      exchange.rows[1].symptom = i % 200 == 50 ? Symptom::check : Symptom::framing;
      for (auto row : second_try) {
        row.attempt = 1;
        row.start += 500 * millisecond;
        row.end += 500 * millisecond;
        exchange.rows.push_back(row);
      }
      exchange.attempts[0].outcome = Outcome::lost;
      exchange.attempts.push_back({start + 500 * millisecond, start + 512'500'000, Outcome::answered});
      exchange.attempt_truth = {{Cause::bit_noise, 0xffff, 1, 0xffffffff}, {}};
      exchange.row_truth = {{1, Cause::bit_noise, 0xffffffff, 40, false}};
    }
    if (i % 500 == 499) {
      exchange.rows.resize(2);
      exchange.rows[1].symptom = Symptom::nothing;
      exchange.fixed.outcome = Outcome::lost;
      exchange.fixed.round_trip = -1;
      exchange.answered.clear();
      exchange.attempts[0].outcome = Outcome::lost;
      exchange.attempt_truth = {{Cause::contact, 0xffff, 1, 0xffffffff}};
      exchange.row_truth = {{1, Cause::contact, 0xffffffff, 0, false}};
    }
    if (i == 700) exchange.row_truth = {{3, Cause::bit_noise, 0xffffffff, 99, true}};
    // One fault struck three times: once it did harm.
    if (i % 400 == 99) exchange.strikes = {{0, 1, 0, false, 0}};
    run.events.emplace_back(std::move(exchange));
  }
  run.until = 1000 * pace;
  return run;
}

/// Its measures, kept together with what they refer to.
struct FixedSummary {
  MeasureFold fold;
  CauseFold causes;
  RoundFold rounds{"cells/n1"};

  explicit FixedSummary(const Run& run = fixed_run()) {
    FanOut all{&fold, &causes, &rounds};
    run.tell(all);
  }
  [[nodiscard]] Summary summary(CaptureNote note = {}) const {
    return {fold.run(), fold.measures(),   causes.counts().known ? &causes.counts() : nullptr, note, fold.coverage(),
            1,          &rounds.measures()};
  }
};

}  // namespace hopbench::sample
