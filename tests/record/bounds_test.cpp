// What a reader believes of a record: instants within a stated range, places that the head names.
#include "record/bounds.h"

#include "record/forged.h"
#include "support/catch.h"

using namespace hopbench;
using namespace hopbench::sample;

namespace {

/// A listener that would trip over whatever the reader must not let through.
class Strict final : public Sink {
 public:
  std::uint64_t exchanges = 0;

  void begin(const RunInfo& run) override {
    run_ = run;
    CHECK(run.links.size() <= 4096);
    CHECK(run.nodes.size() <= 4096);
    CHECK(run.entries.size() <= 65'536);
    CHECK(run.faults.size() <= 65'536);
    for (const auto cells : run.cells) CHECK(cells <= 65'536);
    begun_ = true;
  }
  void exchange(const ExchangeObs& obs, const ExchangeTruth* truth) override {
    ++exchanges;
    instants({obs.start, obs.decided, obs.closed});
    REQUIRE(obs.round_trip >= -1);
    REQUIRE(obs.round_trip <= 2 * farthest_instant);
    REQUIRE(obs.since_last >= -1);
    REQUIRE(obs.since_last <= 2 * farthest_instant);
    REQUIRE(obs.attempts.size() <= 256);
    for (const auto& attempt : obs.attempts) instants({attempt.start, attempt.ask_end});
    for (const auto& row : obs.rows) instants({row.start, row.end});
    if (!begun_) return;
    REQUIRE(obs.entry < run_.entries.size());
    REQUIRE((obs.node == 0xffff || obs.node < run_.nodes.size()));
    for (const auto& row : obs.rows) REQUIRE(row.link < run_.links.size());
    if (truth == nullptr) return;
    for (const auto& row : truth->rows) {
      REQUIRE(row.row < obs.rows.size());
      REQUIRE((row.fault == 0xffffffff || row.fault < run_.faults.size()));
    }
    REQUIRE(truth->attempts.size() == obs.attempts.size());
    for (const auto& attempt : truth->attempts) {
      REQUIRE((attempt.station == 0xffff || attempt.station < run_.nodes.size()));
      REQUIRE((attempt.link == 0xffff || attempt.link < run_.links.size()));
      REQUIRE((attempt.fault == 0xffffffff || attempt.fault < run_.faults.size()));
    }
    for (const auto& strike : truth->strikes) {
      REQUIRE(strike.fault < run_.faults.size());
      REQUIRE((strike.link == 0xffff || strike.link < run_.links.size()));
    }
  }
  /// As it may be gathered from repeats, too.
  [[nodiscard]] std::uint64_t whole_from() const override { return whole ? 0 : ~std::uint64_t{0}; }
  void again(std::span<const ExchangeObs> models, std::span<const Repeat> repeats) override {
    for (const auto& repeat : repeats) {
      REQUIRE(repeat.model < models.size());
      const auto& model = models[repeat.model];
      const auto moved = [&](Nanos at) { return static_cast<__int128>(at) - model.start + repeat.start; };
      for (const auto& row : model.rows) {
        REQUIRE(moved(row.start) >= -farthest_instant);
        REQUIRE(moved(row.end) <= farthest_instant);
      }
      REQUIRE(moved(model.closed) <= farthest_instant);
      REQUIRE(repeat.since_last >= -1);
      REQUIRE(repeat.since_last <= 2 * farthest_instant);
      ++exchanges;
    }
  }
  void stray(const Stray& stray) override {
    instants({stray.at});
    if (begun_) REQUIRE(stray.link < run_.links.size());
  }
  void arrival(const Arrival& arrival) override {
    instants({arrival.at});
    REQUIRE((arrival.flags.empty() || arrival.flags.size() == arrival.bytes.size()));
  }
  void end(Nanos until, const Lateness& lateness) override {
    instants({until});
    for (const Nanos span : {lateness.worst, lateness.total, lateness.worst_stall, lateness.stalled,
                             lateness.port_median, lateness.port_99}) {
      REQUIRE(span >= 0);
      REQUIRE(span <= 2 * farthest_instant);
    }
  }
  void tally(const Tally& tally) override { instants({tally.from, tally.to}); }
  void state(const State& state) override {
    instants({state.at});
    if (begun_) REQUIRE(state.nodes.size() == run_.nodes.size());
  }
  void gap(const Gap& gap) override { instants({gap.from, gap.to}); }
  void dropped(const Dropped& dropped) override { instants({dropped.from, dropped.to}); }
  void command(const Remark& command) override { instants({command.at}); }
  void note(const Remark& note) override { instants({note.at}); }

  bool whole = true;

 private:
  static void instants(std::initializer_list<Nanos> all) {
    for (const Nanos at : all) {
      REQUIRE(at >= -farthest_instant);
      REQUIRE(at <= farthest_instant);
    }
  }
  RunInfo run_;
  bool begun_ = false;
};

}  // namespace

TEST_CASE("whatever a forged capture holds, nobody is told what cannot be") {
  std::uint64_t given = 0;
  for (std::uint64_t seed = 1; seed <= 400; ++seed) {
    CAPTURE(seed);
    // Runs of alike exchanges as well: they are read as repeats.
    auto run = full_run(seed, 30);
    if (seed % 2 == 0) {
      run.run.events.clear();
      for (std::uint64_t i = 0; i < 60; ++i) {
        run.run.events.emplace_back(clean_exchange(run.run.info, i, static_cast<Nanos>(i) * second));
      }
    }
    const auto bytes = forged(capture_of(run), seed, 1 + seed % 6);
    for (const bool whole : {true, false}) {
      CaptureReader reader(std::make_unique<MemorySource>(bytes));
      Strict strict;
      strict.whole = whole;
      replay(reader, strict);
      given += strict.exchanges;
    }
  }
  CHECK(given > 5000);
}

TEST_CASE("the ends of the range are instants, and what lies beyond them is damage") {
  Run run;
  run.info = ring(2);
  run.events.emplace_back(clean_exchange(run.info, 0, 0));
  const auto capture = capture_of(run);
  const auto read_with_start = [&](Nanos start) {
    return read_back(rewritten(capture, [&](RecordKind kind, google::protobuf::Message& message) {
      if (kind != RecordKind::clean_exchange) return;
      auto& exchange = static_cast<capture::Exchange&>(message);
      const Nanos last = exchange.decided_after_ns();
      exchange.set_start_ns(start > 0 ? start - last : start);
    }));
  };
  for (const Nanos good : {-farthest_instant, farthest_instant}) {
    const auto back = read_with_start(good);
    CHECK(back.lines.size() == 3);
    CHECK(back.damage.records_missing == 0);
  }
  for (const Nanos bad : {-farthest_instant - 1, farthest_instant + 1, never, std::numeric_limits<Nanos>::min()}) {
    CAPTURE(bad);
    const auto back = read_with_start(bad);
    CHECK(back.damage.records_missing == 1);
    CHECK(back.lines.size() == 2);
    CHECK(back.holes.size() == 1);
  }
}

TEST_CASE("values of a later version are read as they are, and named so") {
  CHECK(name_of(static_cast<Symptom>(57)) == "unknown (57)");
  CHECK(name_of(static_cast<Outcome>(255)) == "unknown (255)");
  CHECK(name_of(static_cast<Cause>(200)) == "unknown (200)");
  CHECK(name_of(static_cast<Vantage>(5)) == "unknown (5)");
  CHECK(place_of(static_cast<Symptom>(57)) == symptom_count);
  CHECK(place_of(static_cast<Outcome>(57)) == outcome_count);
  for (std::size_t i = 0; i < outcome_count; ++i) CHECK(place_of(static_cast<Outcome>(i)) == i);
  Run run;
  run.info = ring(2);
  run.events.emplace_back(clean_exchange(run.info, 0, 0));
  auto& exchange = std::get<OwnedExchange>(run.events.front());
  exchange.fixed.outcome = static_cast<Outcome>(57);
  exchange.attempts.front().outcome = static_cast<Outcome>(58);
  exchange.rows.front().symptom = static_cast<Symptom>(59);
  exchange.attempt_truth.front().cause = static_cast<Cause>(60);
  run.info.links.front().vantage = static_cast<Vantage>(61);
  const auto back = read_back(capture_of(run));
  CHECK(difference(back.lines, listing_of(run)) == "");
  CHECK_FALSE(back.damage.in_the_middle());
}

TEST_CASE("causes that point to what is not there are left out, and that is told") {
  Run run;
  run.info = ring(2);
  for (std::uint64_t i = 0; i < 3; ++i)
    run.events.emplace_back(clean_exchange(run.info, i, static_cast<Nanos>(i) * second));
  auto& exchange = std::get<OwnedExchange>(run.events[1]);
  exchange.attempts.front().outcome = exchange.fixed.outcome = Outcome::lost;
  for (const int which : {0, 1, 2, 3}) {
    CAPTURE(which);
    auto& truth = exchange.attempt_truth.front();
    truth = {Cause::bit_noise, 0xffff, 0xffff, 0xffffffff};
    if (which == 1) truth.station = 2;
    if (which == 2) truth.link = 3;
    if (which == 3) truth.fault = 2;
    const auto back = read_back(capture_of(run));
    CHECK(back.damage.causes_unreadable == (which == 0 ? 0 : 1));
    CHECK(back.damage.in_the_middle() == (which != 0));
    REQUIRE(back.lines.size() == 5);
    CHECK((back.lines[2].find(" truth") == std::string::npos) == (which != 0));
  }
}

TEST_CASE("a head that names more than any chain has is not believed") {
  Run run;
  run.info = ring(2);
  run.events.emplace_back(clean_exchange(run.info, 0, 0));
  const auto capture = capture_of(run);
  for (const int which : {0, 1, 2, 3, 4, 5, 6}) {
    CAPTURE(which);
    const auto bytes = rewritten(capture, [&](RecordKind kind, google::protobuf::Message& message) {
      if (kind != RecordKind::head) return;
      auto& head = static_cast<capture::Head&>(message);
      if (which == 1)
        while (head.link_size() <= 4096) head.add_link();
      if (which == 2)
        while (head.node_size() <= 4096) head.add_node();
      if (which == 3)
        while (head.entry_size() <= 65'536) head.add_entry();
      if (which == 4)
        while (head.fault_size() <= 65'536) head.add_fault("f");
      if (which == 5) head.mutable_node(0)->set_cells(1U << 31U);
      if (which == 6) head.mutable_link(0)->set_hop(65'536 + 1);
    });
    const auto back = read_back(bytes);
    CHECK((back.lines.front().starts_with("begin ")) == (which == 0));
    CHECK((back.damage.records_missing > 0) == (which != 0));
  }
}
