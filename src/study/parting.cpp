#include "study/parting.h"

#include <fmt/format.h>

#include <algorithm>
#include <functional>
#include <iterator>
#include <map>
#include <optional>
#include <utility>

#include "study/controller_judge.h"
#include "study/second_look.h"
#include "study/signatures.h"
#include "study/words.h"

namespace hopbench {
namespace {

constexpr std::size_t least_part = 20;      // incidents
constexpr int deepest = 2;                  // parts of parts
constexpr std::size_t most_looked_at = 16;  // parts of one case that are looked at in full

/// A way to tell two kinds of failures apart.
struct Cut {
  std::function<bool(const Incident&)> first;
  std::string those;
  std::string others;
};

/// Links or stations, the one with most incidents first.
std::vector<Cut> by_place(const Evidence& evidence, const Case& which) {
  std::vector<Cut> cuts;
  constexpr std::size_t most_places = 4;
  const bool wire = on_links(which.family);
  const auto& places = wire ? which.links : which.stations;
  if (places.size() < 2) return cuts;
  for (std::size_t i = 0; i < std::min(most_places, places.size()); ++i) {
    const auto place = places[i];
    const auto name = wire ? words::hop(evidence.run, place) : words::station(evidence.run, place);
    cuts.push_back({[place, wire](const Incident& each) { return (wire ? each.link : each.station) == place; },
                    (wire ? "are on " : "are at ") + name, "are elsewhere"});
  }
  return cuts;
}

/// The silence that tells failures best from what was heard well.
std::optional<Cut> after_silence(const Evidence& evidence, const Case& which) {
  if (which.family != Family::wire || which.links.front() >= evidence.links.size()) return std::nullopt;
  const auto& good = evidence.links[which.links.front()].good_after.sample;
  std::vector<Nanos> bad;
  for (const auto i : which.incidents) {
    if (evidence.incidents[i].link == which.links.front()) bad.push_back(evidence.incidents[i].silence);
  }
  if (good.size() < least_part || bad.size() < least_part) return std::nullopt;
  std::sort(bad.begin(), bad.end());
  std::vector<Nanos> sorted = good;
  std::sort(sorted.begin(), sorted.end());
  double best = 0.2;
  Nanos from = 0;
  for (std::size_t i = 0; i < bad.size(); i += std::max<std::size_t>(1, bad.size() / 256)) {
    const auto longer = static_cast<double>(bad.end() - std::lower_bound(bad.begin(), bad.end(), bad[i]));
    const auto well = static_cast<double>(sorted.end() - std::lower_bound(sorted.begin(), sorted.end(), bad[i]));
    const double apart = longer / static_cast<double>(bad.size()) - well / static_cast<double>(sorted.size());
    if (apart <= best) continue;
    best = apart;
    from = bad[i];
  }
  if (from <= 0) return std::nullopt;
  return Cut{[from](const Incident& each) { return each.silence >= from; },
             fmt::format("came after a silence of {} or more", words::span(from)), "came after a shorter silence"};
}

std::vector<Cut> cuts_of(const Evidence& evidence, const Case& which) {
  std::vector<Cut> cuts;
  if (which.family == Family::wire) {
    cuts.push_back({[](const Incident& each) { return each.ending == Ending::damaged; }, "came damaged",
                    "were cut short or did not come"});
    cuts.push_back({[](const Incident& each) { return each.symptom == Symptom::nothing; }, "did not come at all",
                    "came damaged or cut"});
    cuts.push_back(
        {[](const Incident& each) { return each.symptom == Symptom::too_short || each.symptom == Symptom::overrun; },
         "were cut short", "came damaged or not at all"});
  }
  if (which.family == Family::wire) {
    cuts.push_back({[](const Incident& each) { return each.symptom == Symptom::framing; }, "had a stop bit hit",
                    "had all stop bits whole"});
  }
  if (auto cut = after_silence(evidence, which)) cuts.push_back(std::move(*cut));
  auto places = by_place(evidence, which);
  cuts.insert(cuts.end(), std::make_move_iterator(places.begin()), std::make_move_iterator(places.end()));
  return cuts;
}

/// Those of runs of three and more, by index into the case's incidents.
std::vector<bool> in_runs(const Evidence& evidence, const Case& which) {
  constexpr std::size_t long_run = 3;
  std::vector<bool> found(which.incidents.size(), false);
  std::map<std::uint16_t, std::vector<std::size_t>> by_place;
  for (std::size_t i = 0; i < which.incidents.size(); ++i) {
    const auto& incident = evidence.incidents[which.incidents[i]];
    by_place[on_links(which.family) ? incident.link : incident.node].push_back(i);
  }
  for (const auto& [place, list] : by_place) {
    for (std::size_t i = 0; i < list.size();) {
      std::size_t next = i + 1;
      while (next < list.size() && evidence.incidents[which.incidents[list[next]]].good_before == 0) ++next;
      for (std::size_t k = i; k < next && next - i >= long_run; ++k) found[list[k]] = true;
      i = next;
    }
  }
  return found;
}

struct Halves {
  Case first;
  Case second;
  std::string those;
  std::string others;
};

Halves halved(const Evidence& evidence, const Case& which, const std::vector<bool>& first) {
  Halves halves;
  for (auto* half : {&halves.first, &halves.second}) {
    half->family = which.family;
    half->placed = which.placed;
    half->part = true;
  }
  for (std::size_t i = 0; i < which.incidents.size(); ++i) {
    (first[i] ? halves.first : halves.second).incidents.push_back(which.incidents[i]);
  }
  find_places(evidence, halves.first);
  find_places(evidence, halves.second);
  return halves;
}

bool named(const Judged& judged) { return !judged.candidates.empty(); }

/// Something in it speaks against what is named.
bool fits_badly(const Judged& judged) {
  constexpr double bad = -1.5;
  return named(judged) && judged.candidates.front().worst < bad;
}

bool fits(const Judged& judged) { return named(judged) && !fits_badly(judged); }

bool unexpected(const Incident& incident, const Unexpected& left) {
  switch (incident.symptom) {
    case Symptom::nothing:
      return left.gone;
    case Symptom::too_short:
      return left.cut;
    case Symptom::overrun:
      return left.overrun;
    case Symptom::framing:
      return left.framing;
    case Symptom::parity:
    case Symptom::check:
    case Symptom::too_long:
      return left.whole;
    case Symptom::none:
    case Symptom::no_room:
      break;
  }
  return false;
}

/// What the mechanism that explains most of a case leaves over, if something else explains that.
std::optional<Halves> left_over(const Evidence& evidence, const Case& which, const Judged& whole) {
  constexpr std::size_t least_left = 30;
  const auto& left = whole.candidates.front().unexpected;
  if (which.family != Family::wire || !left.any()) return std::nullopt;
  std::vector<bool> expected;
  for (const auto i : which.incidents) expected.push_back(!unexpected(evidence.incidents[i], left));
  const auto over = static_cast<std::size_t>(std::count(expected.begin(), expected.end(), false));
  if (over < least_left || over + least_part > expected.size()) return std::nullopt;
  auto halves = halved(evidence, which, expected);
  if (!fits(judged(evidence, halves.second)) || !named(judged(evidence, halves.first))) return std::nullopt;
  const auto name = words::mechanism(whole.candidates.front().mechanism);
  halves.those = "look like " + name;
  halves.others = "do not look like " + name;
  return halves;
}

class Parting {
 public:
  /// `budget`: cases that may still be looked at in full; shared by parts of parts.
  Parting(const Evidence& evidence, const Exhibits& kept, std::size_t& budget)
      : evidence_(evidence), kept_(kept), budget_(budget) {}
  void part(Case which, std::string what, int depth);
  bool halve(Halves halves, const std::string& what, int depth, bool all_named);
  std::vector<CasePart> found;

 private:
  [[nodiscard]] Common common(const Case& which) const {
    if (kept_.specimens == nullptr) return {};
    return common_of(evidence_, *kept_.specimens, which, whens_of(evidence_, which), kept_.protocol);
  }
  const Evidence& evidence_;
  const Exhibits& kept_;
  std::size_t& budget_;
};

void Parting::part(Case which, std::string what, int depth) {
  const auto& evidence = evidence_;
  auto in_common = common(which);
  if (evidence.sight == Sight::controller_only) {
    auto judged = judged_at_controller(evidence, which, kept_.reproduced);
    found.push_back({std::move(which), std::move(judged), std::move(in_common), std::move(what)});
    return;
  }
  auto whole = judged(evidence, which, &in_common);
  if (named(whole) && depth < deepest) {
    if (auto halves = left_over(evidence, which, whole)) {
      if (halve(std::move(*halves), what, deepest, true)) return;
    }
  }
  if (fits(whole) || depth >= deepest || which.incidents.size() < 2 * least_part) {
    look_again(evidence, which, in_common, whole);
    found.push_back({std::move(which), std::move(whole), std::move(in_common), std::move(what)});
    return;
  }
  std::vector<std::pair<std::vector<bool>, std::pair<std::string, std::string>>> ways;
  for (const auto& cut : cuts_of(evidence, which)) {
    std::vector<bool> first;
    for (const auto i : which.incidents) first.push_back(cut.first(evidence.incidents[i]));
    ways.push_back({std::move(first), {cut.those, cut.others}});
  }
  ways.push_back({in_runs(evidence, which), {"came in runs of three or more", "came by themselves"}});
  if (!in_common.rules.empty()) {
    std::vector<bool> under;
    for (const auto& rule : in_common.rule_of) under.push_back(rule == 0U);
    std::string those = in_common.frames ? "are frames" : "are tries";
    for (const auto& each : in_common.rules.front().parts) those += " " + each.words;
    ways.push_back({std::move(under), {std::move(those), "are others"}});
  }
  std::vector<std::pair<double, Halves>> possible;
  for (const auto& [first, names] : ways) {
    const auto in_first = static_cast<std::size_t>(std::count(first.begin(), first.end(), true));
    if (in_first < least_part || first.size() - in_first < least_part) continue;
    auto halves = halved(evidence, which, first);
    const auto one = judged(evidence, halves.first);
    const auto other = judged(evidence, halves.second);
    // Half of it explained is better than nothing, if it is the larger half.
    const bool enough = named(one) && named(other);
    const bool most = named(first.size() < 2 * in_first ? one : other);
    if (named(whole) ? !fits(one) || !fits(other) : !enough && !most) continue;
    const auto score = [](const Judged& judged) { return named(judged) ? judged.candidates.front().score : -20; };
    halves.those = names.first;
    halves.others = names.second;
    possible.emplace_back(score(one) + score(other), std::move(halves));
  }
  std::stable_sort(possible.begin(), possible.end(), [](const auto& a, const auto& b) { return a.first > b.first; });
  constexpr std::size_t most_tried = 4;
  for (std::size_t i = 0; i < std::min(most_tried, possible.size()); ++i) {
    if (halve(std::move(possible[i].second), what, depth + 1, named(whole))) return;
  }
  look_again(evidence, which, in_common, whole);
  found.push_back({std::move(which), std::move(whole), std::move(in_common), std::move(what)});
}

/// Looks at both halves in full. `all_named`: not if one of them turns out to look like nothing.
bool Parting::halve(Halves halves, const std::string& what, int depth, bool all_named) {
  const auto also = what.empty() ? what : what + " and ";
  if (budget_ < 2) return false;
  budget_ -= 2;
  Parting parts(evidence_, kept_, budget_);
  parts.part(std::move(halves.first), also + halves.those, depth);
  parts.part(std::move(halves.second), also + halves.others, depth);
  if (all_named &&
      !std::all_of(parts.found.begin(), parts.found.end(), [](const CasePart& each) { return named(each.judged); }))
    return false;
  std::move(parts.found.begin(), parts.found.end(), std::back_inserter(found));
  return true;
}

}  // namespace

std::vector<CasePart> parted(const Evidence& evidence, const Exhibits& kept, Case which) {
  std::size_t budget = most_looked_at;
  Parting parting(evidence, kept, budget);
  parting.part(std::move(which), {}, 0);
  auto& parts = parting.found;
  std::stable_sort(parts.begin(), parts.end(), [](const CasePart& a, const CasePart& b) {
    return a.which.incidents.size() > b.which.incidents.size();
  });
  return std::move(parts);
}

}  // namespace hopbench
