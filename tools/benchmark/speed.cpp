#include "speed.h"

#include <fmt/format.h>

#include "measure/measures.h"
#include "plain_loop.h"
#include "workloads.h"

namespace hopbench {
namespace {

constexpr std::uint64_t eighty_days = 5'000'000;

double nanos_each(double seconds, std::uint64_t exchanges) { return 1e9 * seconds / static_cast<double>(exchanges); }

double measured(const Scenario& scenario, Way way, std::uint64_t exchanges, int times = 3) {
  return least_seconds(times, [&] {
    MeasureFold fold;
    run_scenario(scenario, way, exchanges, fold);
  });
}

std::uint64_t failures_of(const Scenario& scenario, std::uint64_t exchanges) {
  MeasureFold fold;
  run_scenario(scenario, Way::repeats, exchanges, fold);
  return fold.measures().all.asked - fold.measures().all[Outcome::answered];
}

}  // namespace

void bench_ways() {
  const Scenario ring16 = captured_scenario("ring16");
  PlainResult plain;
  const double yardstick = least_seconds(2, [&] { plain = plain_ring16(eighty_days, 1e-6, 1); });
  const double repeats = measured(ring16, Way::repeats, eighty_days);
  const double events = measured(ring16, Way::events, eighty_days / 20);
  const double bytes = measured(ring16, Way::every_byte, eighty_days / 500);
  const double yard = nanos_each(yardstick, eighty_days);
  fmt::print("ring16, all measures, healthy exchanges tallied (80 days are {} exchanges)\n", eighty_days);
  fmt::print("  plain loop   {:10.1f} ns an exchange    1      ({} events an exchange, {} lost of {})\n", yard,
             plain.events / plain.asked, plain.lost, plain.asked);
  const auto tell = [&](const char* name, double each) {
    fmt::print("  {:<12} {:10.1f} ns an exchange {:>8.3g} x the plain loop's rate\n", name, each, yard / each);
  };
  tell("repeats", nanos_each(repeats, eighty_days));
  tell("events", nanos_each(events, eighty_days / 20));
  tell("every byte", nanos_each(bytes, eighty_days / 500));

  // What a touched exchange costs: the rest is the same with no noise at all.
  const double quiet = measured(ring_of(16, 0), Way::repeats, eighty_days);
  const std::uint64_t failures = failures_of(ring16, eighty_days);
  fmt::print("  80 days: {:.3f} s; without noise {:.3f} s; a touched exchange {:.2f} us ({} of them)\n\n", repeats,
             quiet, 1e6 * (repeats - quiet) / static_cast<double>(failures), failures);
}

void bench_growth() {
  fmt::print("growth, repeats with all measures, ns an exchange\n  exchanges (ring16)");
  const Scenario ring16 = captured_scenario("ring16");
  for (const std::uint64_t exchanges : {100'000U, 1'000'000U, 10'000'000U, 100'000'000U}) {
    fmt::print("  {:.0e}: {:.1f}", static_cast<double>(exchanges),
               nanos_each(measured(ring16, Way::repeats, exchanges, 1), exchanges));
  }
  fmt::print("\n  nodes (no noise)  ");
  for (const std::size_t nodes : {1U, 4U, 16U, 64U, 250U}) {
    fmt::print("  {}: {:.1f}", nodes, nanos_each(measured(ring_of(nodes, 0), Way::repeats, 3'000'000), 3'000'000));
  }
  fmt::print("\n  bit error         ");
  for (const Ppq rate : {std::uint64_t{0}, std::uint64_t{10'000'000}, std::uint64_t{100'000'000},
                         std::uint64_t{1'000'000'000}, std::uint64_t{10'000'000'000}}) {
    const Scenario ring = ring_of(16, rate);
    const double each = nanos_each(measured(ring, Way::repeats, 1'000'000, 1), 1'000'000);
    fmt::print("  {:.0e} ({:.2f} % fail): {:.1f}", static_cast<double>(rate) / 1e15,
               static_cast<double>(failures_of(ring, 1'000'000)) / 1e4, each);
  }
  fmt::print("\n\n");
}

}  // namespace hopbench
