#include "study/signatures.h"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "study/case_facts.h"
#include "study/words.h"

namespace hopbench {
namespace {

constexpr double told_apart = 1.0;  // points
constexpr double always = 0.97;     // share of frames that chance alone leaves none of
constexpr double clock_tolerable = 0.02;
// Share of damaged frames with a stop bit hit, if one bit of each was turned over, and if several were. The first
// follows from ten bits a character, of which a hit start bit shows as a stop bit about every other time; the second is
// that of three or four bits.
constexpr double framing_of_one = 0.18;
constexpr double framing_of_many = 0.45;

/// Points for and against one mechanism, and the sentence that goes with it.
class Weighing {
 public:
  Weighing(const Evidence& evidence, const Case& which, const CaseFacts& facts, std::vector<Candidate>& out)
      : evidence_(evidence), which_(which), facts_(facts), out_(out) {}

  void weigh(Mechanism mechanism, double points, std::string why) {
    // Who puts in faults says so.
    if (mechanism == Mechanism::injected && evidence_.run.faults.empty()) return;
    if (points > 0) out_.push_back({mechanism, points, std::move(why)});
  }
  [[nodiscard]] const CaseFacts& f() const { return facts_; }
  [[nodiscard]] const Evidence& e() const { return evidence_; }
  [[nodiscard]] const Case& c() const { return which_; }
  [[nodiscard]] std::string where() const { return words::place(evidence_, which_); }

 private:
  const Evidence& evidence_;
  const Case& which_;
  const CaseFacts& facts_;
  std::vector<Candidate>& out_;
};

/// Against mechanisms that no condition should matter to, and that leave some frames whole.
double conditions_matter(const CaseFacts& f) {
  double points = f.link_rate > always ? 5 : 0;
  for (const auto* effect : {&f.balancing, &f.charge}) {
    if (effect->holds() || effect->unparted()) points = 3;
  }
  if (f.temperature.holds()) points = 3;
  return points;
}

std::string effect_words(const Effect& effect, const char* what, const char* others) {
  if (effect.holds())
    return fmt::format("it rises with {} also at equal {} (p {})", what, others, words::chance(effect.at_equal.p));
  if (effect.unparted())
    return fmt::format("it rises with {} (p {}), which could not be looked at with {} equal", what,
                       words::chance(effect.alone.p), others);
  if (effect.at_equal.tested) return fmt::format("at equal {} it does not depend on {}", others, what);
  return fmt::format("whether it goes with {} could not be tested", what);
}

/// Points for a mechanism that hangs on a condition.
double effect_points(const Effect& effect) {
  if (effect.holds()) return 4;
  if (effect.unparted()) return 1.5;
  return -4;
}

/// From -2, several bits a frame, to 2, one bit a frame: the log likelihood of the stop bits hit under the one share
/// against the other.
double single_bits(const CaseFacts& f) {
  const double framing = f.framing * f.damaged * f.n;
  const double whole = (1 - f.framing) * f.damaged * f.n;
  const double ratio = framing * std::log(framing_of_one / framing_of_many) +
                       whole * std::log((1 - framing_of_one) / (1 - framing_of_many));
  return std::clamp(ratio / 2, -2.0, 2.0);
}

void noise(Weighing& scale) {
  const auto& f = scale.f();
  const bool bunched = f.clumped > 0.1 + 2 * f.clumped_by_chance;
  const double off = conditions_matter(f);
  double points = f.damaged > 0.5 ? 3 : -1;
  // One bit in ten of a character is a stop bit, and a start bit that is hit often shows as one.
  const double single = single_bits(f);
  if (f.damaged > 0.5) points += single;
  points -= bunched ? 2 : 0;
  points -= f.gone > 0.2 ? 3 : 0;
  scale.weigh(
      Mechanism::bit_noise, points - off,
      fmt::format("{:.0f} % of the damage left all stop bits whole, as single bits do; {}; no condition matters",
                  100 * (1 - f.framing), bunched ? "yet failures come in bunches" : "failures come one by one"));
  points = f.damaged > 0.5 ? 2.5 : -3;
  if (f.damaged > 0.5) points -= single;
  points += bunched ? 2 : 0;
  points -= f.gone > 0.3 ? 2 : 0;
  points += scale.c().placed ? 0.5 : -0.5;
  scale.weigh(
      Mechanism::bursts, points - off,
      fmt::format("{:.0f} % of the damage hit stop bits, which takes more than one bit a frame; {}", 100 * f.framing,
                  bunched ? "failures come in bunches" : "the bunches are shorter than a poll"));
}

void contact_and_cable(Weighing& scale) {
  const auto& f = scale.f();
  const double off = conditions_matter(f);
  const auto& longest = f.episodes.longest;
  const double lost = f.gone + f.cut;
  double points = lost > 0.4 ? 3 : -2;
  points += f.cut > 0.03 && f.gone > 0 ? 1 : 0;
  // An open contact that reads low holds the line in a break: a framing error in every frame, and nothing else.
  const bool breaks = f.damaged > 0.8 && f.framing > 0.9;
  if (breaks) points = 4;
  points += longest < 2 * second ? 1 : -2.5;
  // Frames that come while it opens or closes are cut, or damaged.
  if (f.n >= 50 && (f.gone > 0.995 || f.cut > 0.995)) points -= 2;
  scale.weigh(Mechanism::contact, points - off,
              breaks ? fmt::format("{:.0f} % were framing errors, as of a line held low; the longest stretch took {}",
                                   100 * f.framing, words::span(longest))
                     : fmt::format("{:.0f} % were not heard at all and {:.0f} % cut off; the longest stretch took {}",
                                   100 * f.gone, 100 * f.cut, words::span(longest)));
  points = f.gone > 0.7 ? 2 : -2;
  points += longest > 2 * second ? 2.5 : -2;
  points += f.episodes.count <= 5 ? 1 : -1;
  points -= f.gone < 0.5 ? 3 : 0;
  scale.weigh(Mechanism::cable, points,
              fmt::format("no frame came through for {} at a stretch, {}", words::span(longest),
                          f.episodes.count == 1 ? "once" : words::counted(f.episodes.count, "time")));
}

void restarts(Weighing& scale) {
  const auto& f = scale.f();
  const auto& spans = f.episodes.spans;
  const bool stretches = spans.size() >= 2 && spans.back() > 0 &&
                         static_cast<double>(spans.front()) > 0.5 * static_cast<double>(spans.back());
  const bool told = f.off_starts > 0;
  double silent = scale.c().family == Family::swallowed ? 2 : f.gone + f.cut > 0.7 ? 2 : -2;
  if (f.episodes.longest < 50 * millisecond || f.clumped < 0.5) silent -= 2;
  silent += stretches ? 1.5 : 0;
  silent += told ? 2.5 : 0;
  const bool low = f.supply.rises();
  const auto base = fmt::format("the station falls silent for about {}{}", words::span(f.episodes.longest),
                                told ? fmt::format(" and was seen off {}", words::counted(f.off_starts, "time")) : "");
  const bool known = f.supply.alone.tested;
  scale.weigh(Mechanism::supply,
              silent + (low     ? 2.5
                        : known ? -1.5
                                : 0),
              base + (low     ? "; its supply is low then"
                      : known ? "; its supply is not low then"
                              : "; its supply is not known"));
  scale.weigh(Mechanism::watchdog, silent + (low ? -2 : 0), base + ", and starts again by itself");
}

void clocks(Weighing& scale) {
  const auto& f = scale.f();
  double worst = 0;
  std::string who;
  std::string warm;
  for (const auto* pace : {f.sender ? &*f.sender : nullptr, f.receiver ? &*f.receiver : nullptr}) {
    if (pace == nullptr || std::abs(pace->off_when_bad) <= std::abs(worst)) continue;
    worst = pace->off_when_bad;
    who = scale.e().run.links[pace->link].from;
    warm = pace->worse_from ? fmt::format(" above {} degrees", *pace->worse_from) : "";
  }
  double points = std::abs(worst) >= clock_tolerable ? 5 : std::abs(worst) >= 0.012 ? 1.5 : -3;
  if (!f.receiver && f.link_rate > always && f.damaged > 0.5) {
    scale.weigh(Mechanism::clock, 4,
                fmt::format("every frame is damaged on its way into {}, of whose own characters nothing was ever heard",
                            words::station(scale.e().run, scale.e().incidents[scale.c().incidents.front()].station)));
    return;
  }
  points += f.damaged + f.cut > 0.6 ? 1 : -1;
  if (f.temperature.rises()) points += 1;
  scale.weigh(Mechanism::clock, points,
              fmt::format("characters from {} run {:.1f} % {}{}", who, 100 * std::abs(worst),
                          worst < 0 ? "short" : "long", warm));
}

void what_couples_in(Weighing& scale) {
  const auto& f = scale.f();
  const double damage = f.damaged + f.cut > 0.6 ? 1.5 : -1;
  scale.weigh(Mechanism::charger, damage + effect_points(f.charge) - (f.balancing.holds() ? 2 : 0),
              effect_words(f.charge, "charge current", "numbers of cells balancing"));
  scale.weigh(Mechanism::bleed_edges, damage + effect_points(f.balancing) - (f.charge.holds() ? 1 : 0),
              effect_words(f.balancing, "cells balancing", "charge current"));
}

void pulses(Weighing& scale) {
  const auto& f = scale.f();
  // The same frame again fails again, whenever it is sent; other frames on the same hop do not.
  double points = f.damaged > 0.5 ? 1 : -2;
  points += f.one_entry > 0.5 ? 2 : -1;
  scale.weigh(Mechanism::pulse_width, points - conditions_matter(f),
              fmt::format("{:.0f} % of it befell one plan entry's frames: what they say matters", 100 * f.one_entry));
}

void sleepers(Weighing& scale) {
  const auto gap = trend_of(tabulate(scale.e(), scale.c(), Condition::gap, {}));
  if (!gap.tested || gap.t <= 0 || gap.p > 0.001) return;
  const auto& f = scale.f();
  scale.weigh(Mechanism::wake_up, f.cut + f.gone > 0.5 ? 5 : 2,
              fmt::format("it befalls what comes after a longer silence (p {}), and its beginning is missing",
                          words::chance(gap.p)));
}

void injected_on_wire(Weighing& scale) {
  const auto& f = scale.f();
  // Turned over bits look like noise, whoever turned them over.
  double points = f.damaged > 0.9 ? 4 + single_bits(f) / 2 : -1;
  if (f.gone > 0.95 && f.episodes.alone * 10 >= f.episodes.count * 9) points = 3.5;
  scale.weigh(Mechanism::injected, points - conditions_matter(f),
              "faults were put in on purpose in this run, and this is what they would look like");
}

void on_wire(Weighing& scale) {
  noise(scale);
  contact_and_cable(scale);
  restarts(scale);
  clocks(scale);
  what_couples_in(scale);
  pulses(scale);
  sleepers(scale);
  injected_on_wire(scale);
}

/// Held up for the same time whenever it was: what was put in looks so, work does not.
bool same_excess(const Evidence& evidence, const Case& which) {
  Spans spans;
  for (const auto i : which.incidents) spans.add(evidence.incidents[i].excess);
  return spans.mean() > 0 && spans.deviation() < 0.02 * spans.mean();
}

void late(Weighing& scale) {
  const auto& e = scale.e();
  const auto& c = scale.c();
  const auto& f = scale.f();
  double at_node = 0;  // held up at the node asked
  double between = 0;  // at a station between
  double excess = 0;
  Nanos longest = 0;
  for (const auto i : c.incidents) {
    const auto& incident = e.incidents[i];
    if (incident.excess > millisecond) {
      (incident.station == incident.node ? at_node : between) += 1 / f.n;
      excess += static_cast<double>(incident.excess) / f.n;
    }
    longest = std::max(longest, incident.excess);
  }
  const auto turn = words::span(static_cast<Nanos>(excess));
  const double cells = f.balancing.rises() ? 1 : 0;
  const auto length = trend_of(tabulate(e, c, Condition::length, {}));
  const double long_answers = length.tested && length.t > 0 && length.p < 0.01 ? 1.5 : 0;
  const double every_time = f.entry_rate > 0.9 ? 1.5 : 0;
  const double same = f.n >= 20 && same_excess(e, c) && every_time == 0 ? 1.5 : 0;
  scale.weigh(Mechanism::measurement, (at_node > 0.5 ? 3 : 0) + long_answers + cells + every_time - same,
              fmt::format("{:.0f} % were held up at the node asked, by {} on average{}", 100 * at_node, turn,
                          long_answers > 0 ? ", more often where more cells are asked for" : ""));
  scale.weigh(
      Mechanism::busy_node, (at_node > 0.5 ? 2.5 : 0) + (between > 0.2 ? 2 : 0) + 2 * cells - long_answers / 2 - same,
      fmt::format("{:.0f} % were held up at the node asked and {:.0f} % at one between", 100 * at_node, 100 * between));
  scale.weigh(Mechanism::injected,
              (at_node + between > 0.5 ? 2.6 : 0) - 3 * cells - long_answers - every_time + same / 2,
              fmt::format("held up by {} on average, {} at most, whatever the conditions", turn, words::span(longest)));
  if (at_node + between < 0.5) {
    scale.weigh(Mechanism::controller, 2,
                "no station took longer than usual: the time-out is too short for this chain, or the controller keeps "
                "time badly");
  }
}

void swallowed(Weighing& scale) {
  restarts(scale);
  const auto& f = scale.f();
  scale.weigh(Mechanism::busy_node, f.balancing.rises() ? 3.5 : 1.5,
              "frames end at a station that heard them well, which had no time for them");
  scale.weigh(Mechanism::injected, f.episodes.alone * 10 >= f.episodes.count * 9 ? 2.5 : 0.5,
              "single frames end at a station that heard them well");
  scale.weigh(Mechanism::room, f.one_entry > 0.9 ? 2 : 0.5, "a station has no place to keep them in");
}

/// From the controller nothing is known but outcomes, times and conditions.
void from_controller(Weighing& scale) {
  const auto& f = scale.f();
  const auto& c = scale.c();
  const double off = conditions_matter(f);
  const bool bunched = f.clumped > 0.1 + 2 * f.clumped_by_chance;
  const bool long_silence = f.episodes.longest > 2 * second && f.episodes.most_incidents >= 5;
  if (c.family == Family::late) {
    scale.weigh(Mechanism::measurement, 3 - (f.one_node > 0.9 ? 0 : 0.5), "answers come, after the time-out");
    scale.weigh(Mechanism::busy_node, 2.5 + (f.balancing.rises() ? 1 : 0), "answers come, after the time-out");
    scale.weigh(Mechanism::controller, 2, "answers come, after the time-out");
    scale.weigh(Mechanism::injected, 2, "answers come, after the time-out");
    return;
  }
  const std::string one = bunched ? "failures come in bunches" : "failures come one by one";
  scale.weigh(Mechanism::bit_noise, (bunched ? 1 : 3) - off - (long_silence ? 2 : 0), one);
  scale.weigh(Mechanism::bursts, (bunched ? 3 : 2.5) - off - (long_silence ? 1 : 0), one);
  scale.weigh(Mechanism::contact, (bunched ? 3 : 2.5) - off - (long_silence ? 1 : 0), one);
  scale.weigh(Mechanism::injected, 2 - off, one);
  if (long_silence) {
    const auto why = fmt::format("nothing came for {} at a stretch", words::span(f.episodes.longest));
    scale.weigh(Mechanism::cable, 3, why);
    scale.weigh(Mechanism::supply, 2.5 + (f.supply.rises() ? 2 : 0), why);
    scale.weigh(Mechanism::watchdog, 2.5, why);
  }
  scale.weigh(Mechanism::charger, effect_points(f.charge) - (f.balancing.holds() ? 2 : 0),
              effect_words(f.charge, "charge current", "numbers of cells balancing"));
  const double cells = effect_points(f.balancing) - (f.charge.holds() ? 1 : 0);
  const auto why = effect_words(f.balancing, "cells balancing", "charge current");
  scale.weigh(Mechanism::bleed_edges, cells, why);
  scale.weigh(Mechanism::busy_node, cells, why);
  scale.weigh(Mechanism::clock, std::max(cells, f.temperature.holds() ? 4.0 : 0.0), why);
  if (f.one_node > 0.9) {
    const auto about =
        fmt::format("only {} is concerned: it, or what only its frames meet", words::station(scale.e().run, f.node));
    scale.weigh(Mechanism::room, 2.5, about);
    scale.weigh(Mechanism::clock, 2.5, about);
  }
}

void weigh_all(Weighing& scale) {
  if (scale.e().sight == Sight::controller_only &&
      (scale.c().family == Family::unseen || scale.c().family == Family::wire || scale.c().family == Family::late)) {
    from_controller(scale);
    return;
  }
  switch (scale.c().family) {
    case Family::wire:
      on_wire(scale);
      break;
    case Family::overrun:
      scale.weigh(scale.c().stations.front() == no_station ? Mechanism::controller : Mechanism::busy_node, 4,
                  fmt::format("characters came in and were not fetched in time {}", scale.where()));
      scale.weigh(Mechanism::room, 1.5, "a faster sender would outrun a FIFO so");
      break;
    case Family::no_room:
      scale.weigh(Mechanism::room, 6, fmt::format("frames longer than its buffer came in {}", scale.where()));
      break;
    case Family::swallowed:
      swallowed(scale);
      break;
    case Family::changed:
      scale.weigh(
          Mechanism::injected, 4,
          fmt::format("frames were heard well {} and were bad when they left: damaged in its memory", scale.where()));
      break;
    case Family::late:
      late(scale);
      break;
    case Family::ignored:
      scale.weigh(Mechanism::controller, 5,
                  "every hop saw a good answer arrive in time, and the controller made nothing of it");
      break;
    case Family::refused:
      scale.weigh(Mechanism::injected, 1.5, "a node said no: to a request that was not meant for it, or changed");
      break;
    case Family::mismatched:
      scale.weigh(Mechanism::injected, 3, "a good answer to another request came: repeated, delayed or out of order");
      scale.weigh(Mechanism::measurement, 1.5, "a late answer is taken for the next one's");
      break;
    case Family::bad_value:
      scale.weigh(Mechanism::measurement, 4, "values that were accepted were old, or not those of the cells");
      scale.weigh(Mechanism::injected, 2, "a masqueraded answer would pass so");
      break;
    case Family::unseen:
      break;
  }
}

std::string step_for(Mechanism mechanism, const Evidence& evidence, const Case& which) {
  const auto place = words::place(evidence, which);
  switch (mechanism) {
    case Mechanism::bit_noise:
      return "Put another cable or isolator " + place + " and see whether the rate goes with it.";
    case Mechanism::bursts:
      return "Write down when switchgear and large loads near the cable switch, and set that against the failures.";
    case Mechanism::contact:
      return "Clean and reseat the connectors " + place + "; move them by hand while a capture runs.";
    case Mechanism::cable:
      return "Look at the cable and its plugs " + place + " at the times named; measure its resistance end to end.";
    case Mechanism::clock:
      return "Measure the bit length at the outputs of both stations " + place + ", cold and warm.";
    case Mechanism::busy_node:
      return "Have the node count overruns and its longest time with interrupts off; ask it less often for a day.";
    case Mechanism::measurement:
      return "Run the same plan with a time-out longer by the turn-around seen, or ask for fewer cells at a time.";
    case Mechanism::charger:
      return "Charge once with balancing disabled, and balance once with the charger off.";
    case Mechanism::pulse_width:
      return "Measure the width of a single bit at both ends of the electrically forwarded stretch.";
    case Mechanism::bleed_edges:
      return "Let the same cells bleed without chopping, or with a slower one, for one charge cycle.";
    case Mechanism::supply:
      return "Record the station's supply at its own terminals through a failure; measure its tap contacts.";
    case Mechanism::watchdog:
      return "Read the station's reset counter and its reason for the last reset.";
    case Mechanism::room:
      return "Ask for fewer cells at a time, so that frames fit, and see whether they come through.";
    case Mechanism::wake_up:
      return "Send something short before the first ask after a silence, or poll without pauses for an hour.";
    case Mechanism::controller:
      return "Take a capture with a tap on the controller's own line beside its log, and compare arrival times.";
    case Mechanism::balancing:
      return "Run one charge cycle with balancing disabled.";
    case Mechanism::injected:
      return "If nobody put in faults on purpose, rule this out.";
  }
  return {};
}

}  // namespace

std::vector<Candidate> candidates_for(const Evidence& evidence, const Case& which) {
  std::vector<Candidate> found;
  if (which.incidents.empty()) return found;
  const auto facts = facts_of(evidence, which);
  Weighing scale(evidence, which, facts, found);
  weigh_all(scale);
  std::stable_sort(found.begin(), found.end(),
                   [](const Candidate& a, const Candidate& b) { return a.score > b.score; });
  return found;
}

std::size_t tied_at_top(const std::vector<Candidate>& candidates) {
  std::size_t tied = 0;
  while (tied < candidates.size() && candidates[tied].score > candidates.front().score - told_apart) ++tied;
  return tied;
}

std::string next_step(const Evidence& evidence, const Case& which, const std::vector<Candidate>& candidates,
                      std::size_t tied) {
  if (candidates.empty()) return {};
  std::string text = step_for(candidates.front().mechanism, evidence, which);
  for (std::size_t i = 1; i < std::min<std::size_t>(tied, 3); ++i) {
    text += " " + step_for(candidates[i].mechanism, evidence, which);
  }
  return text;
}

}  // namespace hopbench
