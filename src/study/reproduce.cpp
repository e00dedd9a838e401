#include "study/reproduce.h"

#include <algorithm>
#include <array>
#include <cmath>

#include "chain/chain.h"
#include "seen/forwarding_sink.h"
#include "study/evidence_fold.h"
#include "study/stand_out.h"
#include "work/workers.h"

namespace hopbench {
namespace {

// What a run costs is frames on hops, above all those that are worked out edge by edge.
constexpr std::uint64_t most_frames = 240'000;
constexpr std::uint64_t most_exchanges = 15'000;
constexpr std::uint64_t least_exchanges = 2'500;
constexpr std::uint64_t most_failures = 600;

/// Thrown into a run to end it; the chain is not used after that.
struct Enough {};

/// Counts what passes, and ends the run when there is enough of it.
class Meter final : public ForwardingSink {
 public:
  Meter(Sink& to, const std::function<bool()>& stop) : ForwardingSink({&to}), stop_(&stop) {}
  void exchange(const ExchangeObs& obs, const ExchangeTruth* truth) override {
    ForwardingSink::exchange(obs, truth);
    until = std::max(until, obs.closed);
    if (obs.outcome != Outcome::answered || obs.attempts.size() > 1) ++failures_;
    if (failures_ >= most_failures) throw Enough{};
    if ((++exchanges_ & 0xffU) == 0 && (*stop_)()) throw Enough{};
  }
  Nanos until = 0;

 private:
  const std::function<bool()>* stop_;
  std::uint64_t failures_ = 0;
  std::uint64_t exchanges_ = 0;
};

}  // namespace

ReproducePlan plan_for(const Evidence& evidence, unsigned threads) {
  ReproducePlan plan;
  plan.sight = evidence.sight;
  plan.share = std::clamp(
      static_cast<double>(evidence.failures) / static_cast<double>(std::max<std::uint64_t>(1, evidence.tries)), 1e-4,
      0.25);
  const std::uint64_t links = std::max<std::uint64_t>(1, evidence.run.links.size());
  plan.exchanges = std::clamp<std::uint64_t>(most_frames / links, least_exchanges, most_exchanges);
  plan.exchanges = std::clamp<std::uint64_t>(evidence.exchanges, 200, plan.exchanges);
  plan.longest = evidence.bursts.longest.length();
  plan.threads = threads;
  return plan;
}

bool asked_by_plan(const ChainDescription& chain, const RunInfo& run) {
  const auto planned = [&](const EntryInfo& entry) {
    return std::any_of(chain.controller.plan.begin(), chain.controller.plan.end(),
                       [&](const PlanEntry& each) { return each.name == entry.name; });
  };
  return chain.nodes.size() == run.nodes.size() && !chain.controller.plan.empty() &&
         std::count_if(run.entries.begin(), run.entries.end(), planned) >=
             static_cast<std::ptrdiff_t>(chain.controller.plan.size());
}

Left reproduce(const Protocol& protocol, const Planting& planting, const ReproducePlan& plan,
               const std::function<bool()>& stop) {
  // The same for whatever seed the capture has.
  constexpr std::uint64_t seed = 77;
  EvidenceFold fold;
  AtController shut(fold, &protocol);
  AsTold open(fold, &protocol, TakeTold::on_real_chain);
  Observed door(plan.sight == Sight::controller_only ? static_cast<Observer&>(shut) : open);
  Meter meter(door, stop);
  try {
    Chain world(protocol, planting.chain, seed, Way::repeats, Seat::simulated, meter);
    static_cast<void>(world.run_exchanges(plan.exchanges));
    world.finish({});
  } catch (const Enough&) {
    meter.end(meter.until, {});
  }
  Left left;
  const Evidence& evidence = fold.evidence();
  left.tries = static_cast<double>(evidence.tries);
  for (const Case& which : cases_of(evidence, standing_out(evidence))) {
    left.by_family.try_emplace(which.family, trace_of(evidence, which));
  }
  return left;
}

Reproduced reproduce_all(const Protocol& protocol, const ChainDescription& chain, const ReproducePlan& plan,
                         const std::function<bool()>& stop,
                         const std::function<void(std::size_t done, std::size_t runs)>& progress) {
  Reproduced out;
  const auto twin = healthy_twin(chain);
  const auto habits = habits_of(protocol, twin);
  if (!habits) return out;
  // Stronger and weaker ones are there for those that turn out too weak or too strong.
  constexpr int steps = 2;
  std::array<std::vector<Planting>, 2 * steps + 1> at;
  for (int step = -steps; step <= steps; ++step) {
    at[static_cast<std::size_t>(step + steps)] = plantings(
        twin, *habits, {step, plan.share, static_cast<double>(plan.exchanges), static_cast<double>(plan.longest)});
  }
  const auto& all = at[steps];
  std::vector<Left> left(all.size());
  Workers workers(std::min(plan.threads, static_cast<unsigned>(std::max<std::size_t>(1, all.size()))));
  const auto run = [&](std::size_t i, const StopAsked& unneeded) {
    left[i] = reproduce(protocol, all[i], plan, unneeded);
    const auto rate = [](const Left& one) {
      double failures = 0;
      for (const auto& [family, trace] : one.by_family) failures += trace.failures;
      return failures / std::max(1.0, one.tries);
    };
    const auto far = [&](const Left& one) { return std::abs(std::log(std::max(rate(one), 1e-5) / plan.share)); };
    const int way = rate(left[i]) < plan.share / 4 ? 1 : rate(left[i]) > 4 * plan.share ? -1 : 0;
    for (int step = way; way != 0 && std::abs(step) <= steps && !unneeded(); step += way) {
      auto other = reproduce(protocol, at[static_cast<std::size_t>(step + steps)][i], plan, unneeded);
      const bool nearer = far(other) < far(left[i]);
      const bool over = way > 0 ? rate(other) > plan.share / 4 : rate(other) < 4 * plan.share;
      if (nearer && rate(other) > 0) left[i] = std::move(other);
      if (over) break;
    }
  };
  out.stopped = !workers.each(all.size(), run, stop, progress);
  out.runs = all.size();
  if (out.stopped) return out;
  for (std::size_t i = 0; i < all.size(); ++i) {
    out.left[static_cast<std::size_t>(all[i].mechanism)].push_back(std::move(left[i]));
  }
  return out;
}

}  // namespace hopbench
