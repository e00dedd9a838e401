// What a thinner makes of healthy exchanges that it is not told of whole.
#include "measure/thinner.h"
#include "record/written.h"
#include "support/catch.h"

using namespace hopbench;
using namespace hopbench::sample;

namespace {

/// Healthy exchanges of three nodes for the most part, from a moment to some minutes apart.
Run mostly_healthy(std::uint64_t seed, std::size_t exchanges) {
  Dice dice(seed);
  Run run;
  run.info = ring(3);
  Nanos at = 0;
  const bool slow = dice.chance(2);
  for (std::uint64_t i = 0; i < exchanges; ++i) {
    at += second + static_cast<Nanos>(dice.below(slow && dice.chance(4) ? 400'000'000'000 : 1'000'000'000));
    auto exchange = clean_exchange(run.info, i, at);
    if (dice.chance(40)) {
      exchange.fixed.outcome = Outcome::lost;
      exchange.fixed.round_trip = -1;
    }
    exchange.fixed.since_last = static_cast<Nanos>(dice.below(1'000'000'000));
    run.events.emplace_back(std::move(exchange));
    if (dice.chance(30)) run.events.emplace_back(OwnedStray{{at + second, 0, {}, Symptom::none}, dice.bytes(3)});
  }
  run.until = at + second;
  return run;
}

/// Tells of healthy exchanges by again() as far as the sink allows. Returns of how many.
std::size_t tell_repeats(const Run& run, Sink& sink) {
  const std::size_t nodes = run.info.nodes.size();
  std::vector<OwnedExchange> models;
  std::vector<ExchangeObs> seen;
  for (std::size_t i = 0; i < nodes; ++i) models.push_back(clean_exchange(run.info, i, 0));
  for (const OwnedExchange& model : models) {
    seen.push_back(model.fixed);
    seen.back().attempts = model.attempts;
    seen.back().rows = model.rows;
  }
  const auto fails = [&](std::size_t i) {
    const auto* exchange = std::get_if<OwnedExchange>(&run.events[i]);
    return exchange != nullptr && exchange->fixed.outcome != Outcome::answered;
  };
  std::size_t told = 0;
  std::vector<Repeat> block;
  const auto flush = [&] {
    if (!block.empty()) sink.again(seen, block);
    told += block.size();
    block.clear();
  };
  sink.begin(run.info);
  for (std::size_t i = 0; i < run.events.size(); ++i) {
    const auto* exchange = std::get_if<OwnedExchange>(&run.events[i]);
    std::size_t exchanges = 0;
    bool whole = exchange == nullptr || fails(i);
    for (std::size_t next = i + 1; !whole && next < run.events.size() && exchanges < sink.whole_before(); ++next) {
      if (std::holds_alternative<OwnedExchange>(run.events[next])) ++exchanges;
      whole = fails(next);
    }
    if (whole || exchange->fixed.number >= sink.whole_from()) {
      flush();
      run.tell_event(i, sink);
      continue;
    }
    const ExchangeObs& obs = exchange->fixed;
    block.push_back({static_cast<std::uint32_t>(obs.number % nodes), obs.number, obs.turn, obs.start, obs.since_last});
    if (block.size() == 17) flush();
  }
  flush();
  sink.end(run.until, run.lateness);
  return told;
}

}  // namespace

TEST_CASE("what is handed on is the same, byte for byte, whether healthy exchanges come whole or as repeats") {
  std::size_t repeats = 0;
  std::size_t scarce = 0;
  for (std::uint64_t seed = 0; seed < 200; ++seed) {
    CAPTURE(seed);
    Dice dice(seed + 5000);
    const Run run = mostly_healthy(seed, 200 + dice.below(4000));
    const auto keep_one_in = static_cast<std::uint32_t>(dice.chance(2) ? 0 : 1 + dice.below(200));
    const auto around = static_cast<std::uint32_t>(dice.below(6));
    const std::uint64_t room = dice.chance(2) ? 0 : 20'000 + dice.below(300'000);
    const auto handed_on = [&](auto tell) {
      Payloads kept;
      Thinner thinner(kept, keep_one_in, around);
      std::size_t counted = 0;
      std::uint64_t bytes = 0;
      thinner.keep_within(room, [&] {
        for (; counted < kept.all.size(); ++counted) bytes += kept.all[counted].bytes.size();
        return bytes;
      });
      tell(thinner);
      if (room > 0 && bytes > room / 2) ++scarce;
      return kept.all;
    };
    const auto whole = handed_on([&](Sink& sink) { run.tell(sink); });
    const auto blocks = handed_on([&](Sink& sink) { repeats += tell_repeats(run, sink); });
    REQUIRE(blocks == whole);
  }
  // Runs without repeats, or with room enough, would prove little.
  CHECK(repeats > 100'000);
  CHECK(scarce > 50);
}
