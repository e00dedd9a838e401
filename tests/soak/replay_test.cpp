// A soak test in real time that was killed counts what its captures hold and its state does not, and nothing twice.
#include "soak/replay.h"

#include <functional>
#include <vector>

#include "chain/chain.h"
#include "measure/fan_out.h"
#include "measure/thinner.h"
#include "seen/whole_sink.h"
#include "soak/soak.h"
#include "support/catch.h"
#include "support/dice.h"
#include "support/physical_scenario.h"
#include "support/random_scenario.h"

namespace hopbench {
namespace {

/// Keeps everything that it is told, and tells it again.
class Tape final : public WholeSink {
 public:
  void begin(const RunInfo& run) override {
    put([run](Sink& to) { to.begin(run); });
  }
  void exchange(const ExchangeObs& obs, const ExchangeTruth* truth) override {
    struct Copy {
      std::vector<Attempt> attempts;
      std::vector<HopRow> rows;
      std::vector<std::uint8_t> asked;
      std::vector<std::uint8_t> answered;
      std::vector<RowTruth> row_truths;
      std::vector<AttemptTruth> attempt_truths;
      std::vector<FaultStrike> strikes;
      bool known = false;
    };
    Copy copy{{obs.attempts.begin(), obs.attempts.end()},
              {obs.rows.begin(), obs.rows.end()},
              {obs.asked.begin(), obs.asked.end()},
              {obs.answered.begin(), obs.answered.end()},
              {},
              {},
              {},
              truth != nullptr};
    if (truth != nullptr) {
      copy.row_truths.assign(truth->rows.begin(), truth->rows.end());
      copy.attempt_truths.assign(truth->attempts.begin(), truth->attempts.end());
      copy.strikes.assign(truth->strikes.begin(), truth->strikes.end());
    }
    put([obs, copy](Sink& to) {
      ExchangeObs again = obs;
      again.attempts = copy.attempts;
      again.rows = copy.rows;
      again.asked = copy.asked;
      again.answered = copy.answered;
      const ExchangeTruth known{copy.row_truths, copy.attempt_truths, copy.strikes};
      to.exchange(again, copy.known ? &known : nullptr);
    });
  }
  void stray(const Stray& stray) override {
    put([at = stray.at, link = stray.link](Sink& to) {
      Stray again;
      again.at = at;
      again.link = link;
      to.stray(again);
    });
  }
  void arrival(const Arrival&) override {}
  void tally(const Tally& tally) override {
    put([tally, bytes = std::vector<std::uint8_t>(tally.measures.begin(), tally.measures.end())](Sink& to) {
      Tally again = tally;
      again.measures = bytes;
      to.tally(again);
    });
  }
  void state(const State& state) override {
    put([at = state.at](Sink& to) {
      State again;
      again.at = at;
      to.state(again);
    });
  }
  void gap(const Gap& gap) override {
    put([gap](Sink& to) { to.gap(gap); });
  }
  void dropped(const Dropped&) override {}
  void command(const Remark&) override {}
  void note(const Remark&) override {}
  void end(Nanos until, const Lateness& lateness) override {
    put([until, lateness](Sink& to) { to.end(until, lateness); });
  }
  void play(Sink& to) const {
    for (const auto& record : records_) record(to);
  }

 private:
  void put(std::function<void(Sink&)> record) { records_.push_back(std::move(record)); }
  std::vector<std::function<void(Sink&)>> records_;
};

class Count final : public ForwardingSink {
 public:
  explicit Count(Sink& to) : ForwardingSink({&to}) {}
  void exchange(const ExchangeObs& obs, const ExchangeTruth* truth) override {
    ++exchanges;
    ForwardingSink::exchange(obs, truth);
  }
  std::uint64_t exchanges = 0;
};

}  // namespace

TEST_CASE("soak: what was recorded after the state was saved is counted once") {
  std::uint64_t replayed = 0;
  for (std::uint64_t number = 0; number < 60; ++number) {
    const RandomScenario scenario = number % 2 == 0 ? physical_scenario(number) : random_scenario(number);
    INFO("scenario " << number);
    const Protocol protocol(scenario.bus);
    const Nanos start = scenario.chain.start.at;
    const Nanos until = start + 6 * second;
    Dice dice("soak replay", number);
    const Nanos saved_at = dice.between(start, until);
    const auto new_soak = [&] { return std::make_unique<Soak>(std::vector<Requirement>{}, start, until, 0); };

    MeasureFold whole;
    CauseFold causes;
    auto soak = new_soak();
    Tape tape;
    Thinner thinner(tape, 0, 3);
    Count counted(thinner);
    FanOut all{&whole, &causes, &soak->sink(), &counted};
    Chain chain(protocol, scenario.chain, 3, Way::events, Seat::simulated, all);
    if (!chain.run_until(saved_at)) continue;
    thinner.hand_over();
    Archive down;
    soak->keep(down);
    down.end();
    const auto bytes = down.bytes();
    const std::uint64_t told = counted.exchanges;
    if (!chain.run_until(until)) continue;
    chain.finish({});

    // All that is left is the state and the captures.
    soak = new_soak();
    Archive up(bytes);
    soak->keep(up);
    up.end();
    REQUIRE(up.good());
    SoakReplay replay(soak->sink(), saved_at);
    tape.play(replay);
    CHECK(replay.latest() == until);
    CHECK(replay.exchanges() == whole.measures().all.asked - told);
    replayed += replay.exchanges();
    soak->settle();
    soak->sink().end(until, {});
    CHECK(soak->measures() == whole.measures());
    CHECK(soak->causes() == causes.counts());
  }
  CHECK(replayed > 300);
}

}  // namespace hopbench
