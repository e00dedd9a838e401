#include "study/shrink.h"

#include <algorithm>
#include <map>
#include <optional>

#include "chain/chain.h"
#include "measure/causes.h"
#include "measure/fan_out.h"
#include "measure/measures.h"
#include "pack/pack.h"
#include "study/shrink_units.h"

namespace hopbench {
namespace {

constexpr int slices = 64;
constexpr Nanos slack = 16;  // times the shortest run: room in the first round

/// What came of one run.
struct Trial {
  bool holds = false;    // when the run was over
  Nanos first_held = 0;  // end of the slice in which it held first; 0: in none
  std::uint64_t exchanges = 0;
  std::optional<std::string> misfit;
};

class Trier {
 public:
  Trier(const Scenario& scenario, const Property& property, std::uint64_t seed, const std::function<bool()>& stop)
      : bus_text_(scenario.bus_text), property_(&property), seed_(seed), stop_(&stop) {}

  /// Nothing for a text that is no good scenario, one that gets stuck, and after a stop.
  std::optional<Trial> try_out(const std::string& text, Nanos span) {
    std::vector<Problem> problems;
    const auto scenario = load_scenario({"scenario", text}, stored_bus(bus_text_), problems);
    if (!scenario) return std::nullopt;
    ++runs_;
    const Protocol protocol(scenario->bus);
    MeasureFold fold;
    CauseFold causes;
    FanOut all{&fold, &causes};
    Chain chain(protocol, scenario->chain, seed_, Way::repeats, Seat::simulated, all);
    Trial tried;
    for (int i = 1; i <= slices; ++i) {
      if ((*stop_)()) return std::nullopt;
      const Nanos until = i == slices ? span : span / slices * i;
      if (!chain.run_until(until)) return std::nullopt;
      const Measures& now = fold.measures();
      if (tried.first_held == 0 && property_->holds({&fold.run(), &now, &causes.counts()})) tried.first_held = until;
    }
    chain.finish({});
    const Measures& end = fold.measures();
    const PropertyView view{&fold.run(), &end, &causes.counts()};
    tried.holds = property_->holds(view);
    tried.misfit = property_->misfit(view);
    tried.exchanges = end.all.asked;
    return tried;
  }
  [[nodiscard]] std::uint64_t runs() const { return runs_; }

 private:
  std::string bus_text_;
  const Property* property_;
  std::uint64_t seed_;
  const std::function<bool()>* stop_;
  std::uint64_t runs_ = 0;
};

/// Whole milliseconds read better.
Nanos rounded_up(Nanos span) { return (span + millisecond - 1) / millisecond * millisecond; }

/// A run as short as can be found by looking at ever finer slices of it. What comes out holds.
Nanos shortest(Trier& trier, const ShrinkUnits& units, const std::vector<bool>& kept, Nanos span) {
  for (int round = 0; round < 8; ++round) {
    const auto tried = trier.try_out(units.text(kept, span), span);
    if (!tried || tried->first_held == 0) return span;
    const Nanos shorter = rounded_up(tried->first_held);
    if (shorter >= span) return span;
    const auto verified = trier.try_out(units.text(kept, shorter), shorter);
    if (!verified || !verified->holds) return span;
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
      const Nanos until = (held - lead) / Pack::step * Pack::step;
      for (Nanos now = chain.now(); now < until;) {
        now = std::min(until, now + held / slices + 1);
        if (stop() || !chain.run_until(now)) return std::nullopt;
      }
      starts.push_back(chain.standing());
    }
  }
  std::reverse(starts.begin(), starts.end());
  for (const StartSpec& start : starts) {
    const Nanos since = start.at - whole.chain.start.at;
    if (since <= 0) continue;
    const std::string text = with_start(whole, start);
    // Some room, for what is not stated and has to settle.
    const auto tried = trier.try_out(text, 2 * (held - since));
    if (!tried || !tried->holds) continue;
    std::vector<Problem> problems;
    return load_scenario({"scenario", text}, stored_bus(whole.bus_text), problems);
  }
  return std::nullopt;
}

RunInfo run_of(const Scenario& scenario, std::uint64_t seed) {
  MeasureFold fold;
  const Protocol protocol(scenario.bus);
  const Chain chain(protocol, scenario.chain, seed, Way::events, Seat::simulated, fold);
  return fold.run();
}

}  // namespace

std::vector<bool> smallest(std::size_t size, const std::function<bool(const std::vector<bool>&)>& holds,
                           const std::function<bool()>& stop) {
  std::vector<std::size_t> left(size);
  for (std::size_t i = 0; i < size; ++i) left[i] = i;
  const auto marks = [&](const std::vector<std::size_t>& kept) {
    std::vector<bool> mark(size, false);
    for (const std::size_t each : kept) mark[each] = true;
    return mark;
  };
  std::size_t parts = 2;
  while (!left.empty() && !stop()) {
    parts = std::min(parts, left.size());
    bool less = false;
    for (std::size_t part = 0; part < parts && !less && !stop(); ++part) {
      const std::size_t from = left.size() * part / parts;
      const std::size_t to = left.size() * (part + 1) / parts;
      std::vector<std::size_t> rest(left.begin(), left.begin() + static_cast<std::ptrdiff_t>(from));
      rest.insert(rest.end(), left.begin() + static_cast<std::ptrdiff_t>(to), left.end());
      if (!holds(marks(rest))) continue;
      left = std::move(rest);
      parts = std::max<std::size_t>(parts - 1, 2);
      less = true;
    }
    if (less) continue;
    if (parts >= left.size()) break;
    parts *= 2;
  }
  return marks(left);
}

Shrunk shrink(const Scenario& scenario, ShrinkPlan plan, const std::function<bool()>& stop,
              const std::function<void(std::size_t units, Nanos span)>& progress) {
  Shrunk result;
  if (!plan.property.name_hops(run_of(scenario, plan.seed))) {
    result.end = Shrunk::End::cannot_name;
    return result;
  }
  std::optional<ShrinkUnits> all_units(std::in_place, scenario, plan.seed);
  Trier trier(scenario, plan.property, plan.seed, stop);
  std::vector<bool> kept(all_units->size(), true);
  Nanos span = plan.span;
  const auto first = trier.try_out(all_units->text(kept, span), span);
  if (!first || !first->holds) {
    result.end = stop() ? Shrunk::End::stopped : Shrunk::End::never_held;
    if (first && first->misfit) {
      result.end = Shrunk::End::misfit;
      result.why = *first->misfit;
    }
    result.runs = trier.runs();
    return result;
  }

  // A run that begins shortly before it happens makes all that follows quicker still.
  span = shortest(trier, *all_units, kept, span);
  std::vector<Problem> problems;
  const auto spelled_out =
      load_scenario({"scenario", all_units->text(kept, span)}, stored_bus(scenario.bus_text), problems);
  const auto later = spelled_out && !stop() ? begun_later(trier, *spelled_out, plan.seed, span, stop) : std::nullopt;
  if (later) {
    span = 2 * (span - (later->chain.start.at - scenario.chain.start.at));
    all_units.emplace(*later, plan.seed);
    kept.assign(all_units->size(), true);
  }
  const ShrinkUnits& units = *all_units;

  // A shorter run makes all that follows quicker; fewer nodes may in turn let it happen sooner; and a shorter run may
  // need less. Until neither brings anything.
  std::map<std::vector<bool>, bool> known;
  bool first_round = true;
  for (bool again = true; again && !stop(); first_round = false) {
    const Nanos span_before = span;
    span = shortest(trier, units, kept, span);
    if (first_round && span < plan.span / slack) {
      // With no time to spare, leaving anything out shifts the one moment that counts, and everything seems needed.
      const auto roomy = trier.try_out(units.text(kept, span * slack), span * slack);
      if (roomy && roomy->holds) span *= slack;
    }
    if (span != span_before) known.clear();
    std::vector<std::size_t> place;
    for (std::size_t i = 0; i < kept.size(); ++i) {
      // With time to spare, it may come about without any start: much later.
      if (kept[i] && !(first_round && units.of_start(i))) place.push_back(i);
    }
    const auto spread = [&](const std::vector<bool>& marks) {
      std::vector<bool> all = kept;
      for (std::size_t i = 0; i < marks.size(); ++i) all[place[i]] = marks[i];
      return all;
    };
    std::size_t fewest = place.size();
    const auto holds = [&](const std::vector<bool>& marks) {
      const std::vector<bool> all = spread(marks);
      const auto found = known.find(all);
      if (found != known.end()) return found->second;
      const auto tried = trier.try_out(units.text(all, span), span);
      const bool held = tried && tried->holds;
      if (!stop()) known[all] = held;
      const auto count = static_cast<std::size_t>(std::count(marks.begin(), marks.end(), true));
      if (held) fewest = std::min(fewest, count);
      if (progress) progress(fewest, span);
      return held;
    };
    std::vector<bool> less = units.still_there(spread(smallest(place.size(), holds, stop)), span);
    again = first_round || less != kept;
    kept = std::move(less);
  }

  result.end = stop() ? Shrunk::End::stopped : Shrunk::End::done;
  result.text = units.text(kept, span);
  result.run_for = span;
  // What is handed over is what was tried last, with nothing in the way of it.
  const std::function<bool()> never_stop = [] { return false; };
  Trier last(scenario, plan.property, plan.seed, never_stop);
  const auto tried = last.try_out(result.text, span);
  const auto loaded = load_scenario({"scenario", result.text}, stored_bus(scenario.bus_text), problems);
  if (loaded) result.begins_after = loaded->chain.start.at;
  result.exchanges = tried ? tried->exchanges : 0;
  result.runs = trier.runs();
  for (std::size_t i = 0; i < kept.size(); ++i) {
    // A start that only this search put in was not left out of anything.
    if (!kept[i] && later && units.of_start(i)) continue;
    (kept[i] ? result.kept : result.removed).push_back(units.name(i));
  }
  return result;
}

}  // namespace hopbench
