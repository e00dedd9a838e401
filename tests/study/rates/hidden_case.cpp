#include "hidden_case.h"

#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <cmath>
#include <stdexcept>

#include "chain/chain.h"
#include "measure/causes.h"

namespace hopbench::rates {
namespace {

struct Counts {
  std::array<std::uint64_t, mechanism_count> tries{};
  std::uint64_t failed = 0;
};

/// Failed tries by mechanism, from the truth.
Counts run_for_counts(const std::string& text) {
  const Scenario scenario = loaded(text);
  const Protocol protocol(scenario.bus);
  CauseFold causes;
  Chain chain(protocol, scenario.chain, scenario.chain.seed, Way::repeats, Seat::simulated, causes);
  if (!chain.run_until(scenario.chain.run_for)) throw std::runtime_error("the chain gets stuck");
  chain.finish({});
  Counts counts;
  for (std::size_t i = 0; i < causes.counts().tries.size(); ++i) {
    const auto tries = causes.counts().tries[i];
    counts.failed += tries;
    if (const auto mechanism = mechanism_of(static_cast<Cause>(i)))
      counts.tries[static_cast<std::size_t>(*mechanism)] += tries;
  }
  return counts;
}

/// Mechanisms are as likely as each other, injected faults twice as likely; then one of those that stand for it.
const Plant& some_plant(Dice& dice, const std::string& only) {
  for (const Plant& plant : plants()) {
    if (plant.name == only) return plant;
  }
  std::vector<Mechanism> all;
  for (const Mechanism each : mechanisms()) {
    if (each != Mechanism::balancing) all.push_back(each);
  }
  all.push_back(Mechanism::injected);
  const Mechanism mechanism = dice.of(all);
  std::vector<const Plant*> fit;
  for (const Plant& plant : plants()) {
    if (plant.mechanism == mechanism) fit.push_back(&plant);
  }
  return *dice.of(fit);
}

/// What both need; nothing if no chain has it.
std::optional<Wanted> both(const Wanted& a, const Wanted& b) {
  Wanted all;
  all.battery = a.battery || b.battery;
  all.balancing = a.balancing || b.balancing;
  all.electrical = a.electrical || b.electrical;
  all.by_character = a.by_character || b.by_character;
  all.multi = a.multi || b.multi;
  all.bench_frame = a.bench_frame || b.bench_frame;
  all.ring = a.ring || b.ring;
  all.plain = a.plain || b.plain;
  if (all.electrical && (all.by_character || all.bench_frame || all.plain)) return std::nullopt;
  if (all.plain && (all.by_character || all.battery || all.balancing)) return std::nullopt;
  return all;
}

/// The real time-out, the pace and the length of the run.
struct Timing {
  double exchanges = 0;
  double period = 0;
  double time_out = 0;
};

Timing set_timing(Dice& dice, const Habits& habits, Draft& draft) {
  Timing timing;
  timing.time_out =
      std::ceil((habits.round_trip * log_between(dice, 1.2, 2.5) + log_between(dice, 5e6, 60e6)) / 1e6) * 1e6;
  draft.controller["time_out"] = fmt::format(": {}", span_text(timing.time_out));
  timing.exchanges = log_between(dice, 5'000, 45'000);
  timing.period = habits.exchange;
  if (draft.battery) {
    constexpr double cycle = 4 * 3600e9;
    const double run = cycle * static_cast<double>(dice.between(7, 12));
    timing.period = std::max(habits.exchange * 1.1, run / timing.exchanges);
    timing.exchanges = run / timing.period;
  } else if (chance(dice, 40)) {
    timing.period = habits.exchange * log_between(dice, 1.2, 4);
  }
  if (timing.period > habits.exchange) {
    draft.controller.erase("gap");
    draft.controller["pace"] = fmt::format(": {}", span_text(timing.period));
  }
  if (draft.balances) {
    const double round = timing.period * static_cast<double>(draft.nodes.size() * draft.polls.size());
    draft.controller["balancing"] =
        fmt::format(" {{ every: {} start: \"3.38V\" difference: \"4mV\" hysteresis: \"2mV\" forget_after: {} }}",
                    span_text(std::max(10e9, round / 2)), span_text(std::max(600e9, 4 * round)));
    if (draft.bus == "modbus-rtu") draft.controller.erase("balancing");
  }
  draft.run_for = static_cast<Nanos>(timing.exchanges * timing.period);
  return timing;
}

class Maker {
 public:
  Maker(std::uint64_t seed, const std::string& only, std::vector<std::string>* log)
      : dice_("hidden case", seed),
        seed_(seed),
        only_(only),
        log_(log),
        two_(chance(dice_, 30) && only.empty()),
        as_told_(chance(dice_, 30)) {}

  std::optional<HiddenCase> make() {
    constexpr std::uint64_t drawings = 40;
    for (std::uint64_t drawing = 0; drawing < drawings; ++drawing) {
      std::vector<const Plant*> chosen{&some_plant(dice_, only_)};
      if (two_) {
        const Plant& other = some_plant(dice_, only_);
        if (other.mechanism == chosen.front()->mechanism) continue;
        chosen.push_back(&other);
      }
      if (auto made = drawn(chosen, seed_ * drawings + drawing)) return made;
    }
    return std::nullopt;
  }

 private:
  void give_up(const std::vector<const Plant*>& chosen, const std::string& why) {
    if (log_ == nullptr) return;
    std::string names;
    for (const Plant* plant : chosen) names += (names.empty() ? "" : " + ") + std::string{plant->name};
    log_->push_back(fmt::format("seed {}: {}: {}", seed_, names, why));
  }

  std::optional<HiddenCase> drawn(const std::vector<const Plant*>& chosen, std::uint64_t number) {
    const auto wanted = both(chosen.front()->wanted, chosen.back()->wanted);
    if (!wanted) return std::nullopt;
    try {
      Draft base = base_chain(number, *wanted);
      base.seed = seed_;
      std::string why;
      const auto habits = habits_of(base, why);
      if (!habits) {
        give_up(chosen, why + "\n" + base.text());
        return std::nullopt;
      }
      Dice dice("timing", number);
      const Timing timing = set_timing(dice, *habits, base);
      return tuned(chosen, base, *habits, timing, number);
    } catch (const std::runtime_error& error) {
      give_up(chosen, error.what());
      return std::nullopt;
    }
  }

  /// One of them does nothing at all.
  static bool hopeless(const HiddenCase& made) {
    return std::any_of(made.hidden.begin(), made.hidden.end(), [](const Hidden& each) { return each.failures == 0; });
  }

  /// Draws strengths until each mechanism fails enough tries and not too many.
  std::optional<HiddenCase> tuned(const std::vector<const Plant*>& chosen, const Draft& base, const Habits& habits,
                                  const Timing& timing, std::uint64_t number) {
    Dice places("places", number);
    std::vector<std::size_t> nodes{places.up_to(base.nodes.size() - 1), places.up_to(base.nodes.size() - 1)};
    if (chance(places, 40)) nodes[1] = nodes[0];
    std::vector<double> shares;
    for (std::size_t i = 0; i < chosen.size(); ++i) {
      shares.push_back(log_between(places, 80 / timing.exchanges, std::min(0.15, 4000 / timing.exchanges)));
    }
    const std::vector<double> meant = shares;
    constexpr int most = 5;
    std::string why;
    for (int attempt = 0; attempt < most; ++attempt) {
      Draft draft = base;
      HiddenCase made{seed_, {}, {}, as_told_};
      for (std::size_t i = 0; i < chosen.size(); ++i) {
        Dice dice("plant", 2 * number + i);
        const Ground ground{draft,           habits,           dice,
                            nodes[i],        timing.exchanges, timing.period,
                            timing.time_out, shares[i],        shares[i] / meant[i]};
        const auto planted = chosen[i]->put(ground);
        if (!planted) {
          give_up(chosen, "the chain does not suit it");
          return std::nullopt;
        }
        made.hidden.push_back({chosen[i]->mechanism, std::string{chosen[i]->name}, *planted, 0});
      }
      made.text = draft.text();
      const Counts counts = run_for_counts(made.text);
      bool good = true;
      why.clear();
      for (std::size_t i = 0; i < chosen.size(); ++i) {
        const auto failures = counts.tries[static_cast<std::size_t>(chosen[i]->mechanism)];
        made.hidden[i].failures = failures;
        const auto ceiling = timing.exchanges * chosen[i]->most_percent / 100.0;
        if (failures >= enough_failures && static_cast<double>(failures) <= ceiling) continue;
        good = false;
        why += fmt::format("{}: {} of {:.0f} (of {:.0f} meant) ", chosen[i]->name, failures, timing.exchanges,
                           meant[i] * timing.exchanges);
        if (getenv("DBG")) why += "\n" + made.text;
        const double got = std::max(1.0, static_cast<double>(failures));
        shares[i] *= std::clamp(1.3 * meant[i] * timing.exchanges / got, 0.05, 20.0);
      }
      if (good) return made;
      if (attempt > 0 && hopeless(made)) break;
    }
    give_up(chosen, why);
    return std::nullopt;
  }

  Dice dice_;
  std::uint64_t seed_;
  std::string only_;
  std::vector<std::string>* log_;
  bool two_;
  bool as_told_;
};

}  // namespace

std::optional<HiddenCase> hidden_case(std::uint64_t seed, const std::string& only, std::vector<std::string>* log) {
  return Maker(seed, only, log).make();
}

}  // namespace hopbench::rates
