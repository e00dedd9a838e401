#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <string>
#include <vector>

#include "study/weighing.h"

namespace hopbench {
namespace {

constexpr double clock_tolerable = 0.02;
// Share of damaged frames with a stop bit hit, if one bit of each was turned over, and if several were. The first
// follows from ten bits a character, of which a hit start bit shows as a stop bit about every other time; the second is
// that of three or four bits.
constexpr double framing_of_one = 0.18;
constexpr double framing_of_many = 0.45;

/// From -2, several bits a frame, to 2, one bit a frame: the log likelihood of the stop bits hit under the one share
/// against the other.
double single_bits(const CaseFacts& f) {
  const double framing = f.framing * f.damaged * f.n;
  const double whole = (1 - f.framing) * f.damaged * f.n;
  const double ratio = framing * std::log(framing_of_one / framing_of_many) +
                       whole * std::log((1 - framing_of_one) / (1 - framing_of_many));
  return std::clamp(ratio / 2, -2.0, 2.0);
}

/// Other frames go well between two of the same entry that do not.
bool hangs_on_content(const CaseFacts& f) {
  return f.link_rate < 0.9 && (f.by_entry > 0.8 || (f.sticky > 0.4 && f.clumped < 0.5));
}

/// What noise has no reason to rise with.
std::string rises_with(const CaseFacts& f) {
  if (f.balancing.unknown) return "conditions are not known";
  std::vector<std::string> found;
  const auto look = [&](const Effect& effect, const char* what) {
    if (effect.rises()) found.emplace_back(what);
  };
  look(f.balancing, "balancing");
  look(f.charge, "charge current");
  look(f.temperature, "board temperature");
  look(f.supply, "low supply");
  if (found.empty()) return "they rise with neither balancing, charge current, temperature nor low supply";
  return fmt::format("yet they rise with {}", fmt::join(found, ", "));
}

void noise(Weighing& scale) {
  const auto& f = scale.f();
  const bool bunched = f.clumped > 0.1 + 2 * f.clumped_by_chance;
  const double off = conditions_matter(f) + (hangs_on_content(f) ? 3 : 0);
  double points = f.damaged > 0.5 ? 3 : -1;
  // One bit in ten of a character is a stop bit, and a start bit that is hit often shows as one.
  const double single = single_bits(f);
  if (f.damaged > 0.5) points += single;
  points -= bunched ? 2 : 0;
  points -= f.gone > 0.2 ? 3 : 0;
  scale.weigh(
      Mechanism::bit_noise, points - off,
      fmt::format("{:.0f} % of the damage left all stop bits whole, as single bits do; {}; {}", 100 * (1 - f.framing),
                  bunched ? "yet failures come in bunches" : "failures come one by one", rises_with(f)));
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
  if (hangs_on_content(f)) points -= 3;
  // Frames that come while it opens or closes are cut, or damaged.
  if (f.n >= 50 && (f.gone > 0.995 || f.cut > 0.995)) points -= 2;
  scale.weigh(Mechanism::contact, points - off,
              breaks ? fmt::format("{:.0f} % were framing errors, as of a line held low; the longest stretch took {}",
                                   100 * f.framing, words::span(longest))
                     : fmt::format("{:.0f} % were not heard at all and {:.0f} % cut off; the longest stretch took {}",
                                   100 * f.gone, 100 * f.cut, words::span(longest)));
  points = f.gone > 0.7 ? 2 : -2;
  const Nanos silence = f.episodes.longest_silence;
  points += silence > 2 * second ? 2.5 : -2;
  points += f.episodes.count <= 5 ? 1 : -1;
  points -= f.gone < 0.5 ? 3 : 0;
  scale.weigh(Mechanism::cable, points,
              fmt::format("no frame came through for {} at a stretch, {}", words::span(silence),
                          (f.episodes.count == 1 ? "once" : words::counted(f.episodes.count, "time")) +
                              (is_sample(scale.e()) ? " in the sample" : "")));
}

void clocks(Weighing& scale) {
  const auto& f = scale.f();
  double worst = 0;
  std::string who;
  std::string warm;
  bool confined = false;  // to where characters run further off than otherwise
  for (const auto* pace : {f.sender ? &*f.sender : nullptr, f.receiver ? &*f.receiver : nullptr}) {
    if (pace == nullptr || std::abs(pace->off_when_bad) <= std::abs(worst)) continue;
    worst = pace->off_when_bad;
    confined = pace->from && std::abs(worst) > std::abs(pace->off) &&
               static_cast<double>(pace->died_there) > 0.9 * static_cast<double>(scale.c().incidents.size());
    who = scale.e().run.links[pace->link].from;
    warm = pace->from ? fmt::format(" from {} degrees on, where {} of {} frames died ({:.1f} % over all it sent)",
                                    *pace->from, words::of_failures(scale.e(), pace->died_there),
                                    words::of_failures(scale.e(), scale.c().incidents.size()), 100 * pace->off)
                      : "";
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
  if (confined && std::abs(worst) >= clock_tolerable) points += 2;
  scale.weigh(Mechanism::clock, points,
              fmt::format("characters from {} run {:.1f} % {}{}", who, 100 * std::abs(worst),
                          worst < 0 ? "short" : "long", warm));
}

bool off_pace(const CaseFacts& f) {
  return (f.sender && std::abs(f.sender->off_when_bad) >= clock_tolerable) ||
         (f.receiver && std::abs(f.receiver->off_when_bad) >= clock_tolerable);
}

void what_couples_in(Weighing& scale) {
  const auto& f = scale.f();
  // Neither silences a station, for as long as a stretch lasts.
  const bool silent = f.gone + f.cut > 0.9 && f.in_a_row > 0.9;
  const double damage = silent ? -3 : f.damaged + f.cut > 0.6 ? 1.5 : -1;
  const bool in_step = f.ripple_p < 1e-4;
  scale.weigh(
      Mechanism::charger, damage + effect_points(f.charge) - (f.balancing.holds() ? 2 : 0) + (in_step ? 2.5 : 0),
      effect_words(f.charge, "charge current", "numbers of cells balancing") +
          (in_step ? fmt::format("; the damage keeps step with a ripple of {} Hz{} (p {})", f.ripple_hz,
                                 f.ripple_wanders ? ", give or take what it wanders" : "", words::chance(f.ripple_p))
                   : ""));
  scale.weigh(Mechanism::bleed_edges,
              damage + effect_points(f.balancing) - (f.charge.holds() ? 1 : 0) - (off_pace(f) ? 2 : 0),
              effect_words(f.balancing, "cells balancing", "charge current"));
}

/// Characters that nobody fetched leave frames too short, now and then with a mark that some are missing.
void overruns(Weighing& scale) {
  const auto& f = scale.f();
  const double marked = f.share[static_cast<std::size_t>(Symptom::overrun)];
  if (marked * f.n < 2 || marked + f.cut < 0.3) return;
  const auto& e = scale.e();
  const auto station = e.incidents[scale.c().incidents.front()].station;
  const auto why = fmt::format(
      "{:.0f} % are marked as overrun and {:.0f} % are cut short: characters came into {} and were "
      "not fetched in time",
      100 * marked, 100 * f.cut, words::station(e.run, station));
  const bool controller = station == no_station;
  scale.weigh(controller ? Mechanism::controller : Mechanism::busy_node, 6.5, why);
  // A faster sender outruns a FIFO at the end of long frames, every time.
  scale.weigh(Mechanism::room,
              controller           ? 0
              : f.entry_rate > 0.9 ? 7.5
                                   : 3,
              why + ", or a faster sender outran its FIFO");
}

void pulses(Weighing& scale) {
  const auto& f = scale.f();
  if (!f.receiver && f.link_rate > always && f.damaged > 0.5) {
    scale.weigh(
        Mechanism::pulse_width, 3.8,
        "every frame is damaged on its way into a station: if what comes before passes edges on, pulses may have "
        "become too long or too short by then");
    return;
  }
  if (f.worn_out > 0 && f.damaged + f.cut > 0.5) {
    scale.weigh(
        Mechanism::pulse_width, 7,
        fmt::format("frames come well over {} from whoever sends them, and of those that go further {:.0f} % are "
                    "damaged, on several hops alike: it adds up from hop to hop",
                    words::counted(f.worn_out, "hop"), 100 * f.worn_out_rate));
    return;
  }
  // At its limit it kills some of the frames that come far enough, by where the receiver happens to sample, and always
  // at the last bits.
  const bool last_bits = f.n >= 50 && f.damaged * f.framing > 0.97 && f.clumped < 0.02 + f.clumped_by_chance;
  if (last_bits && f.link_rate < 0.5 && (f.one_travel || f.spared > 10)) {
    scale.weigh(
        Mechanism::pulse_width, f.one_travel ? 5 : 6.5,
        fmt::format("{:.0f} % had a stop bit hit, which bits hit at random would leave whole most of the time; {}",
                    100 * f.framing,
                    f.one_travel
                        ? "failures come one by one"
                        : fmt::format("frames that came less than {} were spared", words::counted(f.bad_from, "hop"))));
  }
  // The same frame again fails again, whenever it is sent; other frames on the same hop do not.
  double points = f.damaged + f.cut > 0.5 ? 1 : -2;
  points += hangs_on_content(f) ? f.silence && f.framing < 0.5 ? 1 : 4 : -2;
  scale.weigh(
      Mechanism::pulse_width, points - (f.link_rate > always ? 5 : 0),
      fmt::format("{:.0f} % of it befell plan entries that failed again and again while others went well between: "
                  "what their frames say matters",
                  100 * std::max(f.sticky, f.by_entry)));
}

void sleepers(Weighing& scale) {
  const auto& f = scale.f();
  // What lasts makes its own silences.
  if (!f.silence || f.in_a_row > 0.5) return;
  scale.weigh(
      Mechanism::wake_up, f.cut + f.gone + f.share[static_cast<std::size_t>(Symptom::check)] > 0.5 ? 6.5 : 3,
      fmt::format("nearly all of it came first after a silence of {} or more, of which {:.0f} % failed, and hardly "
                  "any after a shorter one",
                  words::span(silence_from(*f.silence)), 100 * f.silence_rate));
}

void injected_on_wire(Weighing& scale) {
  const auto& f = scale.f();
  // Turned over bits look like noise, whoever turned them over.
  double points = f.damaged > 0.9 ? 3.5 + single_bits(f) / 2 : -1;
  if (f.gone > 0.95 && f.episodes.alone * 10 >= f.episodes.count * 9) points = 3.5;
  scale.weigh(Mechanism::injected, points - conditions_matter(f),
              "faults were put in on purpose in this run, and this is what they would look like");
}

}  // namespace

void weigh_wire(Weighing& scale) {
  noise(scale);
  contact_and_cable(scale);
  weigh_restarts(scale);
  clocks(scale);
  what_couples_in(scale);
  pulses(scale);
  overruns(scale);
  sleepers(scale);
  injected_on_wire(scale);
}

}  // namespace hopbench
