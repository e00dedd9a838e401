// What each mechanism does to frames on a hop. Shares are ranges over chains, buses and strengths, from how a receiver
// samples characters (a bit in ten is a stop bit; a start bit that is hit shows as one about every other time) and from
// simulations of the bench's own.
#include <fmt/format.h>

#include <algorithm>
#include <boost/math/distributions/binomial.hpp>
#include <cmath>

#include "judge/independence.h"
#include "study/forms.h"
#include "study/predictions.h"
#include "study/words.h"

namespace hopbench {
namespace {

/// Share of a link's frames lost that chance alone never comes to.
constexpr double nearly_all = 0.97;
constexpr double clock_off = 0.02;    // share of a bit length from which on a clock is off
constexpr double clock_good = 0.015;  // and below which it surely does no harm

constexpr Allowed any{0, 1};
constexpr Allowed none{0, 0.05};
constexpr Allowed hardly{0, 0.006};
constexpr Allowed seldom{0, 0.1};
constexpr Allowed by_chance{0, -1};

}  // namespace

std::vector<WireForm> wire_forms() {
  using M = Mechanism;
  std::vector<WireForm> all;
  // gone, cut, overrun, framing, check, straight, recovered, rate; chances of long_run, content, silence, worn
  all.push_back({M::bit_noise, none, none, hardly, {0.08, 0.26}, {0, 0.1}, by_chance, seldom, {0, 0.6}});
  // Shorter than a poll, and longer.
  all.push_back({M::bursts, none, none, hardly, {0.22, 1}, {0, 0.25}, by_chance, seldom, {0, 0.4}});
  all.push_back({M::bursts, none, none, hardly, {0.08, 1}, {0, 0.25}, {0.02, 1}, seldom, {0, 0.6}, 0.2});
  all.push_back({M::bursts, none, none, hardly, {0.85, 1}, {0, 0.25}, by_chance, seldom, {0, 0.4}});
  all.push_back({M::bursts, none, none, hardly, {0.85, 1}, {0, 0.25}, {0.02, 1}, seldom, {0, 0.6}, 0.2});
  // Open for longer than a frame, for a few bits, and with the line low meanwhile.
  all.push_back({M::contact, {0.25, 0.97}, {0, 0.45}, hardly, {0.05, 0.7}, {0.1, 0.9}, by_chance, seldom, {0, 0.4}});
  all.push_back(
      {M::contact, {0.25, 0.97}, {0, 0.45}, hardly, {0.05, 0.7}, {0.1, 0.9}, {0.02, 0.9}, seldom, {0, 0.4}, 0.2});
  all.push_back({M::contact, {0, 0.3}, {0.1, 1}, hardly, {0.05, 0.7}, {0.1, 0.9}, by_chance, seldom, {0, 0.4}});
  all.push_back({M::contact, {0, 0.25}, {0, 0.15}, hardly, {0.2, 0.5}, {0.15, 0.55}, by_chance, seldom, {0, 0.4}});
  all.push_back({M::contact, none, none, hardly, {0.85, 1}, any, by_chance, seldom, {0, 0.4}});
  all.push_back({M::contact, none, none, hardly, {0.85, 1}, any, {0.02, 0.9}, seldom, {0, 0.4}, 0.2});
  all.push_back({M::cable, {0.9, 1}, none, hardly, any, any, {0.75, 1}, seldom, any, 0.97});
  all.push_back({M::cable, none, none, hardly, {0.9, 1}, any, {0.75, 1}, seldom, any, 0.97});
  // Just off, so that some frames pass; and far off.
  all.push_back({M::clock, none, {0, 0.3}, hardly, any, any, any, any, any, 0.3, 0.4});
  all.back().pace = 0.96;
  all.back().with.temperature = 0.4;
  all.back().with.balancing = 0.2;
  all.push_back({M::clock, none, none, hardly, {0.95, 1}, any, {0.85, 1}, any, {0.85, 1}, 0.1});
  all.back().pace = 0.96;
  // A receiver that is slow reads the last bits wrong, and the stop bit as one if the line idles behind it.
  all.push_back({M::clock, none, none, hardly, {0, 0.1}, any, {0.85, 1}, any, {0.85, 1}, 0.1});
  all.back().pace = 0.96;
  all.push_back({M::clock, none, none, hardly, {0.95, 1}, any, {0.75, 1}, any, any, 0.6, 0.3});
  all.back().pace = 0.96;
  all.back().with.temperature = 0.6;
  all.push_back({M::clock, none, none, hardly, {0.9, 1}, any, any, any, any, 0.3, 0.4});
  all.back().pace = 0.96;
  all.back().with.temperature = 0.5;
  all.back().with.balancing = 0.2;
  all.push_back({M::charger, none, none, hardly, {0.08, 0.9}, {0, 0.3}, any, seldom, {0, 0.8}});
  all.back().ripple = 0.5;
  all.back().with.charge = 0.92;
  all.push_back({M::charger, none, none, hardly, {0.08, 0.9}, {0, 0.3}, by_chance, seldom, {0, 0.6}});
  all.back().ripple = 0.5;
  all.back().with.charge = 0.99;
  // Where few frames of the many that meet it fail, those are hit once.
  all.push_back({M::charger, none, none, hardly, {0.08, 0.26}, {0, 0.1}, by_chance, seldom, {0, 0.6}});
  all.back().ripple = 0.5;
  all.back().with.charge = 0.99;
  all.push_back({M::bleed_edges, none, none, hardly, {0.08, 0.9}, {0, 0.3}, any, seldom, {0, 0.8}});
  all.back().with.balancing = 0.92;
  all.push_back({M::bleed_edges, none, none, hardly, {0.08, 0.9}, {0, 0.3}, by_chance, seldom, {0, 0.6}});
  all.back().with.balancing = 0.99;
  all.push_back({M::bleed_edges, none, none, hardly, {0.08, 0.26}, {0, 0.1}, by_chance, seldom, {0, 0.6}});
  all.back().with.balancing = 0.99;
  // What is said matters; it adds up from hop to hop; it only just kills some, at their last bits; every frame is hit.
  all.push_back({M::pulse_width, none, {0, 0.3}, hardly, any, any, any, any, {0, 0.95}, 0.4, 1, 0.001});
  all.push_back({M::pulse_width, none, {0, 0.3}, hardly, any, any, any, {0.1, 1}, any, 0.3, 0.4});
  all.push_back({M::pulse_width, none, {0, 0.3}, hardly, any, any, any, any, any, 0.3, 0.3, 0.01, 1});
  all.push_back({M::pulse_width, none, none, hardly, {0.95, 1}, any, by_chance, any, {0, 0.6}, 0.05, 0.4});
  all.push_back({M::pulse_width, none, none, hardly, {0.95, 1}, any, {0.02, 1}, any, {0.3, 0.95}, 0.3, 0.4});
  all.push_back({M::pulse_width, none, none, hardly, {0.95, 1}, any, {0.85, 1}, any, {0.85, 1}, 0.1});
  all.push_back({M::wake_up, any, any, hardly, {0, 0.15}, any, {0, 0.5}, any, any, 0.1, 0.3, 1});
  all.push_back({M::wake_up, none, {0, 0.2}, hardly, {0, 0.1}, any, {0.85, 1}, any, {0.85, 1}, 0.1, 0.1});
  all.push_back({M::wake_up, {0.9, 1}, none, hardly, any, any, {0.85, 1}, any, {0.85, 1}, 0.1, 0.1});
  all.push_back({M::wake_up, none, {0.8, 1}, hardly, {0, 0.1}, any, {0.85, 1}, any, {0.85, 1}, 0.1, 0.1});
  all.push_back({M::busy_node, seldom, any, {0.03, 1}, seldom, any, any, any, {0, 0.6}, 0.1, 0.1});
  all.back().with.balancing = 0.4;
  all.push_back({M::controller, seldom, any, {0.03, 1}, seldom, any, any, any, {0, 0.6}, 0.1, 0.1});
  // Characters are lost and the next ones are not: nobody marks that, where it is the end of the frame that is lost.
  all.push_back({M::busy_node, none, {0.85, 1}, hardly, seldom, any, by_chance, any, {0, 0.6}, 0.1, 0.1});
  all.back().with.balancing = 0.4;
  all.push_back({M::controller, none, {0.85, 1}, hardly, seldom, any, by_chance, any, {0, 0.6}, 0.1, 0.1});
  all.push_back({M::room, seldom, any, {0.03, 1}, seldom, any, any, seldom, any, 0.3, 0.97});
  all.push_back({M::room, seldom, {0.8, 1}, hardly, seldom, any, {0.85, 1}, seldom, {0.85, 1}, 0.3, 0.3});
  for (const auto mechanism : {M::supply, M::watchdog, M::injected}) {
    all.push_back({mechanism, {0, 0.25}, {0.65, 1}, hardly, any, any, {0.1, 1}, any, {0, 0.5}, 0.5});
    all.back().off = 0.97;
    all.push_back({mechanism, {0, 0.25}, {0.65, 1}, hardly, any, any, by_chance, any, {0, 0.5}, 0.05});
    all.back().off = 1;  // so short that it has to be seen
  }
  all.push_back({M::injected, none, none, hardly, {0.08, 1}, {0, 0.6}, by_chance, seldom, any, 0.1});
  all.push_back({M::injected, {0.97, 1}, none, hardly, any, any, by_chance, seldom, any, 0.1});
  for (auto& form : all) {
    switch (form.mechanism) {
      case M::bit_noise:
      case M::charger:
      case M::bleed_edges:
      case M::pulse_width:
        form.everywhere = 0.5;
        break;
      case M::injected:
        if (form.off < 0.5) form.everywhere = 0.5;  // a station that is off is at one place
        break;
      case M::clock:
        form.everywhere = 0.3;
        break;
      default:
        break;
    }
  }
  return all;
}

namespace {

/// Where much of the traffic is hit by single bits, frames are hit more than once, and one stop bit shows.
Allowed framing_of(const CaseFacts& f, const WireForm& form) {
  if (form.mechanism != Mechanism::bit_noise || f.link_rate <= 0 || f.link_rate >= 0.99) return form.framing;
  const double hits = -std::log1p(-f.link_rate) / f.link_rate;  // in a frame that is hit
  return {form.framing.low, 1 - std::pow(1 - form.framing.high, hits)};
}

void expect_symptoms(Hypothesis& h, const CaseFacts& f, const WireForm& form, bool part) {
  const double damaged = f.damaged * f.n;
  Allowed gone = form.gone;
  if (part && gone.high > 0.9) gone.high = 1;  // what came damaged may be another part's
  h.share(f.gone * f.n, f.n, gone, "were not heard at all");
  h.share(f.cut * f.n, f.n, form.cut, "were cut short");
  h.share(f.share[static_cast<std::size_t>(Symptom::overrun)] * f.n, f.n, form.overrun, "are marked as overrun");
  h.never(form.overrun.low > 0 && f.n >= 50 && f.share[static_cast<std::size_t>(Symptom::overrun)] <= 0,
          "none is marked as overrun");
  h.share(f.framing * damaged, damaged, framing_of(f, form), "of the damaged frames had a stop bit hit");
  if (f.has_parity) {
    h.share(f.bad_check, f.parity + f.bad_check, form.check,
            "of the frames with whole stop bits had good parity and a bad check");
  }
}

void expect_order(Hypothesis& h, const Looked& at, const WireForm& form) {
  if (is_sample(at.evidence)) return;  // what came between is not kept
  const auto& f = at.facts;
  const auto& link = at.evidence.links[at.which.links.front()];
  const bool chance = form.straight.high < 0;
  const double often = std::min(1.0, std::max(0.04, 2.5 * f.runs.by_chance));
  h.share(f.runs.second_ones * f.n, f.n, chance ? Allowed{0, often} : form.straight,
          "failed straight after another frame on the same hop");
  if (chance && at.which.links.size() == 1 && !at.which.part && !is_sample(at.evidence) && f.link_rate < 0.5) {
    const auto hits = at.which.incidents.size();
    if (hits >= 20 && hits <= link.frames) {
      h.tested(few_runs(hits, link.frames, f.runs.count),
               fmt::format("the failures stand together in {}, more than chance puts together",
                           words::counted(f.runs.count, "run")));
    }
  }
  const bool hardly_any_pass = static_cast<double>(link.bad()) >= nearly_all * static_cast<double>(link.frames);
  const bool long_run = f.runs.longest_span > 2 * second && f.runs.outlasts_others() && !hardly_any_pass;
  h.fact(long_run, form.long_run,
         long_run ? fmt::format("nothing came through for {}", words::span(f.runs.longest_span))
                  : fmt::format("the longest failure lasts {}", words::span(f.runs.longest_span)));
}

void expect_pace(Hypothesis& h, const Looked& at, const WireForm& form) {
  const auto& f = at.facts;
  double worst = 0;
  const Pace* who = nullptr;
  for (const auto* pace : {f.sender ? &*f.sender : nullptr, f.receiver ? &*f.receiver : nullptr}) {
    if (pace == nullptr || std::abs(pace->off_when_bad) < std::abs(worst)) continue;
    worst = pace->off_when_bad;
    who = pace;
  }
  const bool both = f.sender && f.receiver;
  const double apart = both ? std::abs(f.sender->off_when_bad - f.receiver->off_when_bad) : 0;
  if (std::max(std::abs(worst), apart) >= clock_off) {
    const auto warm =
        who->from ? fmt::format(" at the temperatures at which frames failed ({:.1f} % over all)", 100 * who->off)
                  : std::string{};
    h.fact(true, form.pace,
           fmt::format("characters from {} are {:.1f} % too {}{}", who->station, 100 * std::abs(worst),
                       worst < 0 ? "short" : "long", warm));
  } else if (both) {
    const auto text = fmt::format("characters from both ends are within {:.1f} % of the usual length",
                                  100 * std::max(std::abs(worst), apart) + 0.05);
    h.fact(false, form.pace, text);
    h.never(form.mechanism == Mechanism::clock && std::max(std::abs(worst), apart) < clock_good, text);
  }
}

/// An opening that is longer than a frame cuts those that come as it begins and ends. It is no longer than the time
/// from one frame to the next, or it would take several in a row.
void expect_edges(Hypothesis& h, const Looked& at) {
  const auto& f = at.facts;
  if (at.which.part || f.link_frames <= 0 || f.n < 50 || f.gone < 0.5) return;  // parts may have lost their edges
  double length = 0;
  for (const auto i : at.which.incidents) {
    const auto& incident = at.evidence.incidents[i];
    length += static_cast<double>(incident.until - incident.at) / f.n;
  }
  const double apart = static_cast<double>(at.evidence.until - at.evidence.from) / f.link_frames;
  const double in_a_row = f.n / static_cast<double>(std::max<std::uint64_t>(1, f.runs.count));
  const double longest = apart * (in_a_row + 1);
  if (length <= 0 || longest <= 0) return;
  const double least = std::min(0.5, length / (longest + length));
  const double edges = std::max(0.0, f.n * (1 - f.gone));
  h.tested(edges >= least * f.n ? 1 : boost::math::cdf(boost::math::binomial_distribution<double>(f.n, least), edges),
           fmt::format("{:.0f} of {:.0f} frames were cut or damaged, as an opening begins or ends", edges, f.n));
}

bool hangs_on_content(const CaseFacts& f) {
  return f.link_rate < 0.9 && (f.by_entry > 0.8 || (f.sticky > 0.4 && f.runs.second_ones < 0.5));
}

void expect_places(Hypothesis& h, const Looked& at, const WireForm& form) {
  const auto& f = at.facts;
  const auto& link = at.evidence.links[at.which.links.front()];
  h.share(static_cast<double>(link.bad()), static_cast<double>(link.frames), form.rate,
          "of all frames on the hop fail");
  const bool content = hangs_on_content(f);
  h.fact(content, form.content,
         content ? fmt::format("{:.0f} % befell plan entries that fail again and again while others go well",
                               100 * std::max(f.sticky, f.by_entry))
                 : "failures do not hang on what is asked");
  // Whatever sleeps does not do so between a request and its reply.
  constexpr Nanos shortest_sleep = 100 * millisecond;
  const bool silence = f.silence && *f.silence >= shortest_sleep && f.runs.second_ones < 0.5;
  h.fact(silence, form.silence,
         silence ? fmt::format("{:.0f} % of the frames that come after {} of silence fail, and hardly any other",
                               100 * f.silence_rate, words::span(*f.silence))
                 : "failures do not follow a silence");
  h.fact(f.worn_out > 0, form.worn,
         f.worn_out > 0
             ? fmt::format("frames pass {} well, and {:.0f} % of those that go further fail, on several hops alike",
                           words::counted(f.worn_out, "hop"), 100 * f.worn_out_rate)
             : "failures do not add up from hop to hop");
  if (f.everywhere > 0) {
    h.fact(true, form.everywhere, fmt::format("it happens on {} alike", words::counted(f.everywhere, "hop")));
  }
  h.share(f.recovered * f.link_bad, f.link_bad, form.recovered, "of them were heard well by the next station");
}

void expect_ripple(Hypothesis& h, const Looked& at, const WireForm& form) {
  const auto& f = at.facts;
  if (!at.evidence.rates_known()) return;  // nothing healthy to compare with
  // What hangs on content or distance keeps step with the plan, and so may with anything.
  constexpr double much = 0.4;
  if (f.worn_out > 0 || f.link_rate > much || hangs_on_content(f)) return;
  const bool in_step = f.ripple_p < 1e-4;
  h.fact(in_step, form.ripple,
         in_step ? fmt::format("the damage keeps step with a ripple of {} Hz{} (p {})", f.ripple_hz,
                               f.ripple_wanders ? ", give or take what it wanders" : "", words::chance(f.ripple_p))
                 : "the damage keeps step with no mains ripple");
}

/// Noise hits bits, so that long frames fail more often; faults that are put in hit frames.
void expect_bits(Hypothesis& h, const CaseFacts& f) {
  if (!f.by_bits) return;
  const bool bits = *f.by_bits > 0;
  const double sure = 1 / (1 + std::exp(-std::min(2.0, std::abs(*f.by_bits))));
  const auto text = bits ? "long frames fail more often, in proportion to their bits"
                         : "long frames fail no more often than short ones";
  if (h.mechanism() == Mechanism::bit_noise) h.fact(bits, sure, text);
  if (h.mechanism() == Mechanism::injected) h.fact(!bits, sure, text);
}

}  // namespace

std::vector<Hypothesis> on_wire(const Looked& at) {
  const auto& f = at.facts;
  const auto station = at.evidence.incidents[at.which.incidents.front()].station;
  std::vector<Hypothesis> all;
  for (const auto& form : wire_forms()) {
    if (form.mechanism == Mechanism::injected && at.evidence.run.faults.empty()) continue;
    const bool own_receiver =
        form.mechanism == Mechanism::busy_node || form.mechanism == Mechanism::controller || form.overrun.low > 0;
    if (own_receiver && (station == no_station) != (form.mechanism == Mechanism::controller)) continue;
    if (form.mechanism == Mechanism::room && station == no_station) continue;
    Hypothesis h(form.mechanism);
    constexpr double least = 0.11;
    h.leaves({form.gone.high < least, form.cut.high < least, form.overrun.high < least,
              form.framing.high<0.2, form.framing.low> 0.84});
    expect_symptoms(h, f, form, at.which.part);
    expect_order(h, at, form);
    expect_places(h, at, form);
    expect_pace(h, at, form);
    expect_ripple(h, at, form);
    expect_bits(h, f);
    expect_conditions(h, f, form.with);
    if (form.off > 0.5) {
      h.never(station == no_station, "it is the controller that does not hear");
      h.never(form.off >= 1 && f.off_told && f.off_starts == 0, "the station was not seen off");
      expect_restarts(h, f);
    } else if (f.off_told && f.off_starts > 0) {
      h.fact(true, form.off, fmt::format("the station went off {}", words::counted(f.off_starts, "time")));
    }
    if (form.mechanism == Mechanism::cable && !is_sample(at.evidence)) {
      const bool in_few_runs = f.runs.count <= 6;
      // What comes and goes as often as that is a contact.
      constexpr std::uint64_t often = 50;
      h.fact(in_few_runs, f.runs.count > often ? 0.999 : 0.9,
             fmt::format("failures come in {}", words::counted(f.runs.count, "run")));
    }
    const bool opens = form.mechanism == Mechanism::contact || form.mechanism == Mechanism::cable;
    if (opens && !is_sample(at.evidence)) expect_edges(h, at);
    if (form.mechanism == Mechanism::contact && !is_sample(at.evidence)) {
      // Common practice, no source: a contact that stays open for long is a cable that is broken.
      constexpr Nanos no_contact = 20 * second;
      if (f.runs.longest_span > no_contact && f.runs.outlasts_others())
        h.fact(true, 0.002, fmt::format("nothing came through for {}", words::span(f.runs.longest_span)));
      const bool in_few_runs = f.runs.count <= 6;
      if (in_few_runs)
        h.fact(in_few_runs, 0.1, fmt::format("failures come in {}", words::counted(f.runs.count, "run")));
    }
    all.push_back(std::move(h));
  }
  return all;
}

}  // namespace hopbench
