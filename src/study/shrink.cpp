#include "study/shrink.h"

#include <algorithm>
#include <iterator>
#include <optional>
#include <set>

#include "chain/chain.h"
#include "measure/causes.h"
#include "measure/fan_out.h"
#include "measure/measures.h"
#include "pack/pack.h"
#include "seen/ignoring_sink.h"
#include "study/shrink_units.h"
#include "work/workers.h"

namespace hopbench {
namespace {

constexpr int slices = 64;
constexpr Nanos slack = 16;  // times the shortest run: room in the first round

/// What came of one candidate.
struct Trial {
  bool ran = false;      // it is a good scenario, and a run was begun
  bool holds = false;    // when the run was over; false for one that got stuck or was stopped
  Nanos first_held = 0;  // end of the slice in which it held first; 0: in none
  std::uint64_t exchanges = 0;
  std::optional<std::string> misfit;
};

/// When it first holds, to a slice, in a run that cannot be stepped through.
class FirstHeld final : public IgnoringSink {
 public:
  FirstHeld(const Property& property, const MeasureFold& fold, const CauseFold& causes, Nanos from, Nanos slice)
      : property_(&property), fold_(&fold), causes_(&causes), from_(from), slice_(std::max<Nanos>(slice, 1)) {}
  /// End of the slice; 0: in none.
  [[nodiscard]] Nanos at() const { return at_; }

  void exchange(const ExchangeObs& obs, const ExchangeTruth*) override {
    if (at_ != 0 || obs.outcome == Outcome::answered) return;
    const Measures& now = fold_->measures();
    if (!property_->holds({&fold_->run(), &now, &causes_->counts()})) return;
    at_ = ((obs.closed - from_) / slice_ + 1) * slice_;
  }

 private:
  const Property* property_;
  const MeasureFold* fold_;
  const CauseFold* causes_;
  Nanos from_;
  Nanos slice_;
  Nanos at_ = 0;
};

/// Runs candidates, one or several at the same time.
class Trier {
 public:
  Trier(const Scenario& scenario, const ShrinkPlan& plan, const StopAsked& stop)
      : bus_text_(scenario.bus_text),
        property_(&plan.property),
        seed_(plan.seed),
        in_seat_(&plan.in_seat),
        stop_(&stop),
        workers_(plan.threads) {}

  Trial try_out(const std::string& text, Nanos span) {
    Trial tried = run(text, span, *stop_);
    runs_ += tried.ran ? 1U : 0U;
    return tried;
  }

  /// The first of `count` candidates for which the property holds; none also after a stop.
  std::optional<std::size_t> first(std::size_t count, const std::function<std::string(std::size_t)>& text,
                                   const std::function<Nanos(std::size_t)>& span) {
    std::vector<std::uint8_t> ran(count, 0);
    const auto found = workers_.first(
        count,
        [&](std::size_t i, const StopAsked& unneeded) {
          const Trial tried = run(text(i), span(i), unneeded);
          ran[i] = tried.ran ? 1 : 0;
          return tried.holds;
        },
        *stop_);
    const std::size_t needed = found ? *found + 1 : count;
    runs_ += static_cast<std::uint64_t>(std::count(ran.begin(), ran.begin() + static_cast<std::ptrdiff_t>(needed), 1));
    return found;
  }

  [[nodiscard]] std::uint64_t runs() const { return runs_; }

 private:
  std::string bus_text_;
  const Property* property_;
  std::uint64_t seed_;
  const InSeat* in_seat_;
  const StopAsked* stop_;
  Workers workers_;
  std::uint64_t runs_ = 0;

  /// False if it got stuck or was stopped.
  [[nodiscard]] bool step_through(const Protocol& protocol, const ChainDescription& description, Nanos span,
                                  const StopAsked& stop, MeasureFold& fold, CauseFold& causes, Trial& tried) const {
    FanOut all{&fold, &causes};
    Chain chain(protocol, description, seed_, Way::repeats, Seat::simulated, all);
    for (int i = 1; i <= slices; ++i) {
      const Nanos until = i == slices ? span : span / slices * i;
      if (stop() || !chain.run_until(description.start.at + until)) return false;
      const Measures& now = fold.measures();
      if (tried.first_held == 0 && property_->holds({&fold.run(), &now, &causes.counts()})) tried.first_held = until;
    }
    chain.finish({});
    return true;
  }

  [[nodiscard]] Trial run(const std::string& text, Nanos span, const StopAsked& stop) const {
    Trial tried;
    std::vector<Problem> problems;
    const auto scenario = load_scenario({"scenario", text}, stored_bus(bus_text_), problems);
    if (!scenario) return tried;
    tried.ran = true;
    const Protocol protocol(scenario->bus);
    MeasureFold fold;
    CauseFold causes;
    if (*in_seat_) {
      FirstHeld first(*property_, fold, causes, scenario->chain.start.at, span / slices);
      FanOut all{&fold, &causes, &first};
      if (!(*in_seat_)(protocol, scenario->chain, seed_, span, stop, all)) return tried;
      tried.first_held = std::min(first.at(), span);
    } else if (!step_through(protocol, scenario->chain, span, stop, fold, causes, tried)) {
      return tried;
    }
    const Measures& end = fold.measures();
    const PropertyView view{&fold.run(), &end, &causes.counts()};
    tried.holds = property_->holds(view);
    tried.misfit = property_->misfit(view);
    tried.exchanges = end.all.asked;
    return tried;
  }
};

/// Whole milliseconds read better.
Nanos rounded_up(Nanos span) { return (span + millisecond - 1) / millisecond * millisecond; }

/// A run as short as can be found by looking at ever finer slices of it. What comes out holds.
Nanos shortest(Trier& trier, const ShrinkUnits& units, const Marks& kept, Nanos span) {
  for (int round = 0; round < 8; ++round) {
    const auto tried = trier.try_out(units.text(kept, span), span);
    if (tried.first_held == 0) return span;
    const Nanos shorter = rounded_up(tried.first_held);
    if (shorter >= span) return span;
    if (!trier.try_out(units.text(kept, shorter), shorter).holds) return span;
    span = shorter;
  }
  return span;
}

constexpr Nanos shortest_lead = 60 * second;

/// The scenario begun as late as it still does it, with what stands then stated; nothing if that brings nothing.
/// `held`: when it first holds. A candidate is only good if it was tried, so that what is not stated (what a node is
/// told to bleed, what was read already) need not be.
std::optional<Scenario> begun_later(Trier& trier, const Scenario& whole, std::uint64_t seed, Nanos held,
                                    const std::function<bool()>& stop) {
  std::vector<StartSpec> starts;
  {
    const Protocol protocol(whole.bus);
    MeasureFold fold;
    Chain chain(protocol, whole.chain, seed, Way::repeats, Seat::simulated, fold);
    for (Nanos lead = held / 2; lead >= shortest_lead; lead /= 4) {
      const Nanos until = whole.chain.start.at + (held - lead) / Pack::step * Pack::step;
      for (Nanos now = chain.now(); now < until;) {
        now = std::min(until, now + held / slices + 1);
        if (stop() || !chain.run_until(now)) return std::nullopt;
      }
      starts.push_back(chain.standing());
    }
  }
  std::reverse(starts.begin(), starts.end());
  std::erase_if(starts, [&](const StartSpec& start) { return start.at <= whole.chain.start.at; });
  const auto text = [&](std::size_t i) { return with_start(whole, starts[i]); };
  // Some room, for what is not stated and has to settle.
  const auto span = [&](std::size_t i) { return 2 * (held - (starts[i].at - whole.chain.start.at)); };
  const auto found = trier.first(starts.size(), text, span);
  if (!found) return std::nullopt;
  std::vector<Problem> problems;
  return load_scenario({"scenario", text(*found)}, stored_bus(whole.bus_text), problems);
}

/// The first of the candidates that holds. `failed`: those that do not with the run as long as it is; they are not
/// tried again.
std::optional<std::size_t> first_that_holds(Trier& trier, std::set<Marks>& failed, const ShrinkUnits& units,
                                            const std::vector<Marks>& candidates, Nanos span) {
  std::vector<std::size_t> unknown;
  for (std::size_t i = 0; i < candidates.size(); ++i) {
    if (!failed.contains(candidates[i])) unknown.push_back(i);
  }
  const auto text = [&](std::size_t i) { return units.text(candidates[unknown[i]], span); };
  const auto found = trier.first(unknown.size(), text, [&](std::size_t) { return span; });
  for (std::size_t i = 0; i < found.value_or(unknown.size()); ++i) failed.insert(candidates[unknown[i]]);
  return found ? std::optional(unknown[*found]) : std::nullopt;
}

RunInfo run_of(const Scenario& scenario, std::uint64_t seed) {
  MeasureFold fold;
  const Protocol protocol(scenario.bus);
  const Chain chain(protocol, scenario.chain, seed, Way::events, Seat::simulated, fold);
  return fold.run();
}

}  // namespace

Marks smallest(std::size_t size, const FirstThatHolds& first, const std::function<bool()>& stop) {
  std::vector<std::size_t> left(size);
  for (std::size_t i = 0; i < size; ++i) left[i] = i;
  std::size_t parts = 2;
  while (!left.empty() && !stop()) {
    parts = std::min(parts, left.size());
    const auto begin_of = [&](std::size_t part) { return left.size() * part / parts; };
    std::vector<Marks> candidates;  // all but one part
    for (std::size_t part = 0; part < parts; ++part) {
      Marks& marks = candidates.emplace_back(size, false);
      for (const std::size_t each : left) marks[each] = true;
      for (std::size_t i = begin_of(part); i < begin_of(part + 1); ++i) marks[left[i]] = false;
    }
    if (const auto part = first(candidates)) {
      left.erase(left.begin() + static_cast<std::ptrdiff_t>(begin_of(*part)),
                 left.begin() + static_cast<std::ptrdiff_t>(begin_of(*part + 1)));
      parts = std::max<std::size_t>(parts - 1, 2);
    } else if (parts < left.size()) {
      parts *= 2;
    } else {
      break;
    }
  }
  Marks kept(size, false);
  for (const std::size_t each : left) kept[each] = true;
  return kept;
}

Shrunk shrink(const Scenario& scenario, ShrinkPlan plan, const std::function<bool()>& stop,
              const std::function<void(std::size_t units, Nanos span)>& progress) {
  Shrunk result;
  const RunInfo run = run_of(scenario, plan.seed);
  if (auto why = plan.property.no_such_place(run)) {
    result.end = Shrunk::End::misfit;
    result.why = *why;
    return result;
  }
  if (!plan.property.name_hops(run)) {
    result.end = Shrunk::End::cannot_name;
    return result;
  }
  std::optional<ShrinkUnits> all_units(std::in_place, scenario, plan.seed);
  Trier trier(scenario, plan, stop);
  Marks kept(all_units->size(), true);
  Nanos span = plan.span;
  const Trial whole = trier.try_out(all_units->text(kept, span), span);
  if (!whole.holds) {
    result.end = stop() ? Shrunk::End::stopped : Shrunk::End::never_held;
    if (whole.misfit) {
      result.end = Shrunk::End::misfit;
      result.why = *whole.misfit;
    }
    result.runs = trier.runs();
    return result;
  }

  // A run that begins shortly before it happens makes all that follows quicker still.
  span = shortest(trier, *all_units, kept, span);
  std::vector<Problem> problems;
  const auto spelled_out =
      load_scenario({"scenario", all_units->text(kept, span)}, stored_bus(scenario.bus_text), problems);
  const auto later =
      spelled_out && !plan.in_seat && !stop() ? begun_later(trier, *spelled_out, plan.seed, span, stop) : std::nullopt;
  if (later) {
    span = 2 * (span - (later->chain.start.at - scenario.chain.start.at));
    all_units.emplace(*later, plan.seed);
    kept.assign(all_units->size(), true);
  }
  const ShrinkUnits& units = *all_units;

  // A shorter run makes all that follows quicker; fewer nodes may in turn let it happen sooner; and a shorter run may
  // need less. Until neither brings anything.
  std::set<Marks> failed;
  bool first_round = true;
  for (bool again = true; again && !stop(); first_round = false) {
    const Nanos span_before = span;
    span = shortest(trier, units, kept, span);
    if (first_round && span < plan.span / slack) {
      // With no time to spare, leaving anything out shifts the one moment that counts, and everything seems needed.
      if (trier.try_out(units.text(kept, span * slack), span * slack).holds) span *= slack;
    }
    if (span != span_before) failed.clear();
    std::vector<std::size_t> place;
    for (std::size_t i = 0; i < kept.size(); ++i) {
      // With time to spare, it may come about without any start: much later.
      if (kept[i] && !(first_round && units.of_start(i))) place.push_back(i);
    }
    const auto spread = [&](const Marks& marks) {
      Marks all = kept;
      for (std::size_t i = 0; i < marks.size(); ++i) all[place[i]] = marks[i];
      return all;
    };
    std::size_t fewest = place.size();
    const auto first = [&](const std::vector<Marks>& candidates) {
      std::vector<Marks> all;
      std::transform(candidates.begin(), candidates.end(), std::back_inserter(all), spread);
      const auto found = first_that_holds(trier, failed, units, all, span);
      if (found) {
        const Marks& marks = candidates[*found];
        fewest = std::min(fewest, static_cast<std::size_t>(std::count(marks.begin(), marks.end(), true)));
      }
      if (progress) progress(fewest, span);
      return found;
    };
    Marks less = units.still_there(spread(smallest(place.size(), first, stop)), span);
    again = first_round || less != kept;
    kept = std::move(less);
  }

  result.end = stop() ? Shrunk::End::stopped : Shrunk::End::done;
  result.text = units.text(kept, span);
  result.run_for = span;
  // What is handed over is what was tried last, with nothing in the way of it.
  const StopAsked never_stop = [] { return false; };
  const Trial tried = Trier(scenario, plan, never_stop).try_out(result.text, span);
  const auto loaded = load_scenario({"scenario", result.text}, stored_bus(scenario.bus_text), problems);
  if (loaded) result.begins_after = loaded->chain.start.at;
  result.exchanges = tried.exchanges;
  result.runs = trier.runs();
  for (std::size_t i = 0; i < kept.size(); ++i) {
    // A start that only this search put in was not left out of anything.
    if (!kept[i] && later && units.of_start(i)) continue;
    (kept[i] ? result.kept : result.removed).push_back(units.name(i));
  }
  return result;
}

}  // namespace hopbench
