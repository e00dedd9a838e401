#include <fmt/format.h>

#include "seen/reality.h"
#include "view/number_text.h"
#include "view/what_if_report.h"

namespace hopbench {
namespace {

using Text = fmt::memory_buffer;

std::string rate_text(std::uint64_t failed, std::uint64_t asked) {
  return asked == 0 ? "-" : percent(static_cast<double>(failed) / static_cast<double>(asked)) + " %";
}

constexpr Nanos a_day = 86'400 * second;

/// "1 charge cycle", "6 days".
std::string units_text(const WhatIf& found, std::uint64_t units) {
  return counted(units, found.unit == a_day ? "day" : "charge cycle");
}

void add_mechanism(Text& text, const WhatIf& found, const MechanismFinding& each) {
  fmt::format_to(fmt::appender(text), "  {:<12}{:>11}{:>10}{:>11}{:>10}", name_of(each.mechanism),
                 grouped(each.off.failed), rate_text(each.off.failed, each.off.asked), grouped(each.only.failed),
                 rate_text(each.only.failed, each.only.asked));
  if (each.share) fmt::format_to(fmt::appender(text), "{:>9.1f} %", 100 * *each.share);
  const auto units = each.off.fewer_in + each.off.more_in;
  if (each.bearing == Bearing::only_shifts_times) {
    fmt::format_to(fmt::appender(text), "   only shifts times\n");
  } else if (each.bearing == Bearing::too_few) {
    fmt::format_to(fmt::appender(text), "   shifts times; too few failures to tell more\n");
  } else if (units == 0) {
    fmt::format_to(fmt::appender(text), "   no difference\n");
  } else {
    fmt::format_to(fmt::appender(text), "   fewer in {} of {} with a difference ({:.0f} to {:.0f} %)\n",
                   each.off.fewer_in, units_text(found, units), 100 * each.off.fewer->low, 100 * each.off.fewer->high);
  }
}

/// Turns paired, asked at other instants.
void add_turns(Text& text, const MechanismFinding& each) {
  const ByTurn& turns = each.off.by_turn;
  fmt::format_to(fmt::appender(text), "Without {}: {} of {} gone, {} new, turn by turn", name_of(each.mechanism),
                 grouped(turns.gone), counted(turns.gone + turns.stayed, "failure"), grouped(turns.come));
  if (each.bearing == Bearing::only_shifts_times && turns.fewer) {
    const auto differ = static_cast<double>(turns.gone + turns.come);
    fmt::format_to(fmt::appender(text), ": {:.0f} fewer to {:.0f} more (95 %), so perhaps none; none with it alone",
                   differ * (2 * turns.fewer->high - 1), differ * (1 - 2 * turns.fewer->low));
  }
  fmt::format_to(fmt::appender(text), ".\n");
}

/// Single failures: where runs stayed in step each is the same exchange, else the same turn.
void add_pairs(Text& text, const WhatIf& found) {
  bool apart = false;
  for (const auto& each : found.mechanisms) {
    if (!each.off.pairs(found.asked)) {
      apart = true;
      add_turns(text, each);
      continue;
    }
    if (each.off.gone + each.off.come == 0) continue;
    fmt::format_to(fmt::appender(text), "Without {}: {} of {} gone, {} new.", name_of(each.mechanism),
                   grouped(each.off.gone), counted(each.off.gone + each.off.stayed, "failure"), grouped(each.off.come));
    if (each.off.gone > 0 && each.only.pairs(found.asked)) {
      fmt::format_to(fmt::appender(text), " With it alone: {} of them there; {} need something else as well.",
                     grouped(each.only.stayed), grouped(each.not_alone));
    }
    fmt::format_to(fmt::appender(text), "\n");
  }
  for (const auto& each : found.together) {
    fmt::format_to(fmt::appender(text),
                   "{} and {} only together: {}, gone without either, and there with neither alone.\n",
                   name_of(each.one), name_of(each.other), counted(each.failures, "failure"));
  }
  if (found.either > 0) {
    fmt::format_to(fmt::appender(text),
                   "Failures that stay whichever single mechanism is switched off, and go without all of them: {}.\n",
                   grouped(found.either));
  }
  if (apart) {
    fmt::format_to(
        fmt::appender(text),
        "\"Turn by turn\": that run asks at other instants. Noise and faults strike the same turns all the "
        "same; contacts,\nbursts and the battery go on in time and strike others. A `pace` that fits a whole "
        "time-out keeps runs in step.\n");
  }
}

}  // namespace

std::string what_if_text(const std::string& scenario, std::uint64_t seed, const WhatIf& found) {
  Text text;
  fmt::format_to(fmt::appender(text), "What if, {}: scenario {}, seed {}, {} on the same luck.\n\n",
                 in_passing(found.reality), harmless(scenario), seed, counted(found.runs, "run"));
  fmt::format_to(fmt::appender(text), "  as it is                     {:>11} failed of {} asked ({})\n",
                 grouped(found.failed), grouped(found.asked), rate_text(found.failed, found.asked));
  fmt::format_to(fmt::appender(text), "  without all its mechanisms   {:>11} failed of {} asked ({})\n\n",
                 grouped(found.none_failed), grouped(found.none_asked), rate_text(found.none_failed, found.none_asked));
  if (found.failed == 0) {
    fmt::format_to(
        fmt::appender(text),
        "Nothing failed in this run, so there is nothing to attribute; a longer one or another seed may tell.\n");
    return fmt::to_string(text);
  }
  if (found.mechanisms.empty()) {
    fmt::format_to(fmt::appender(text), "The scenario has no mechanism that could be switched off.\n");
    return fmt::to_string(text);
  }
  const bool shares = found.mechanisms.front().share.has_value();
  fmt::format_to(fmt::appender(text), "  {:<17}{:<20}{}{}\n", "", "without it", "with it alone",
                 shares ? "           share" : "");
  for (const auto& each : found.mechanisms) add_mechanism(text, found, each);
  fmt::format_to(fmt::appender(text), "\n");
  add_pairs(text, found);
  fmt::format_to(
      fmt::appender(text),
      "The limits (95 %) tell how far that holds for other {}.\n\"Alone\" keeps balancing, since others hang on it.\n",
      found.unit == a_day ? "days" : "charge cycles");
  fmt::format_to(fmt::appender(text), "{}\n", caution_of(found.reality));
  return fmt::to_string(text);
}

}  // namespace hopbench
