#include <fmt/format.h>

#include <utility>
#include <vector>

#include "seen/reality.h"
#include "view/number_text.h"
#include "view/paragraph.h"
#include "view/text_table.h"
#include "view/what_if_report.h"

namespace hopbench {
namespace {

std::string rate_text(std::uint64_t failed, std::uint64_t asked) {
  return asked == 0 ? "-" : percent(static_cast<double>(failed) / static_cast<double>(asked));
}

constexpr Nanos a_day = 86'400 * second;

/// What the run without a mechanism says of the units in which it differs: in how many it had fewer failures, and the
/// limits of that.
std::pair<std::string, std::string> units_text(const MechanismFinding& each) {
  const auto units = each.off.fewer_in + each.off.more_in;
  if (each.bearing == Bearing::only_shifts_times) return {"only shifts", "times"};
  if (each.bearing == Bearing::too_few) return {"too few", "to tell"};
  if (units == 0) return {"no change", ""};
  return {fmt::format("{} of {}", each.off.fewer_in, units),
          fmt::format("{:.0f} to {:.0f} %", 100 * each.off.fewer->low, 100 * each.off.fewer->high)};
}

std::string table(const WhatIf& found) {
  const bool shares = found.mechanisms.front().share.has_value();
  std::vector<TextTable::Column> columns{
      {"mechanism", true}, {"without\nfailed"}, {"it\n%"}, {"alone\nfailed"}, {"\n%"}};
  if (shares) columns.push_back({"share\n%"});
  columns.push_back({found.unit == a_day ? "fewer in\ndays" : "fewer in\ncycles"});
  columns.push_back({"95 %\ninterval"});
  TextTable table(columns);
  for (const auto& each : found.mechanisms) {
    TextTable::Row row;
    row.cells = {std::string(name_of(each.mechanism)), grouped(each.off.failed),
                 rate_text(each.off.failed, each.off.asked), grouped(each.only.failed),
                 rate_text(each.only.failed, each.only.asked)};
    if (shares) row.cells.push_back(fmt::format("{:.1f}", 100 * each.share.value_or(0)));
    const auto [fewer, limits] = units_text(each);
    row.cells.push_back(fewer);
    row.cells.push_back(limits);
    table.rows().push_back(std::move(row));
  }
  return table.text(false);
}

/// Turns paired, asked at other instants.
std::string turns_text(const MechanismFinding& each) {
  const ByTurn& turns = each.off.by_turn;
  auto text = fmt::format("Without {}: {} of {} gone, {} new, turn by turn", name_of(each.mechanism),
                          grouped(turns.gone), counted(turns.gone + turns.stayed, "failure"), grouped(turns.come));
  if (each.bearing == Bearing::only_shifts_times && turns.fewer) {
    const auto differ = static_cast<double>(turns.gone + turns.come);
    text += fmt::format(": {:.0f} fewer to {:.0f} more (95 %), so perhaps none; none with it alone",
                        differ * (2 * turns.fewer->high - 1), differ * (1 - 2 * turns.fewer->low));
  }
  return text + ".";
}

std::string pairs_text(const WhatIf& found, const MechanismFinding& each) {
  auto text = fmt::format("Without {}: {} of {} gone, {} new.", name_of(each.mechanism), grouped(each.off.gone),
                          counted(each.off.gone + each.off.stayed, "failure"), grouped(each.off.come));
  if (each.off.gone > 0 && each.only.pairs(found.asked)) {
    text += fmt::format(" With it alone: {} of them there; {} need something else as well.", grouped(each.only.stayed),
                        grouped(each.not_alone));
  }
  return text;
}

/// Single failures: where runs stayed in step each is the same exchange, else the same turn.
std::string single_failures(const WhatIf& found) {
  std::string out;
  const auto say = [&](const std::string& sentence) { out += paragraph(0, "", sentence); };
  bool apart = false;
  for (const auto& each : found.mechanisms) {
    if (!each.off.pairs(found.asked)) {
      apart = true;
      say(turns_text(each));
    } else if (each.off.gone + each.off.come > 0) {
      say(pairs_text(found, each));
    }
  }
  for (const auto& each : found.together) {
    say(fmt::format("{} and {} only together: {}, gone without either, and there with neither alone.",
                    name_of(each.one), name_of(each.other), counted(each.failures, "failure")));
  }
  if (found.either > 0) {
    say(fmt::format("Failures that stay whichever single mechanism is switched off, and go without all of them: {}.",
                    grouped(found.either)));
  }
  if (apart) {
    say("\"Turn by turn\": that run asks at other instants. Noise and faults strike the same turns all the same; "
        "contacts, bursts and the battery go on in time and strike others. A `pace` that fits a whole time-out keeps "
        "runs in step.");
  }
  return out;
}

}  // namespace

std::string what_if_text(const std::string& scenario, std::uint64_t seed, const WhatIf& found) {
  std::string out = paragraph(0, "",
                              fmt::format("What if, {}: scenario {}, seed {}, {} with the same random numbers.",
                                          in_passing(found.reality), scenario, seed, counted(found.runs, "run"))) +
                    "\n";
  const auto total = [](const char* what, std::uint64_t failed, std::uint64_t asked) {
    return fmt::format("  {:<27}{:>11} failed of {} asked ({}{})\n", what, grouped(failed), grouped(asked),
                       rate_text(failed, asked), asked == 0 ? "" : " %");
  };
  out += total("as it is", found.failed, found.asked);
  out += total("without all its mechanisms", found.none_failed, found.none_asked) + "\n";
  if (found.failed == 0) {
    return out + paragraph(0, "",
                           "Nothing failed in this run, so there is nothing to attribute; a longer one or another seed "
                           "may tell.");
  }
  if (found.mechanisms.empty()) return out + "The scenario has no mechanism that could be switched off.\n";
  out += table(found) + "\n" + single_failures(found);
  out +=
      paragraph(0, "",
                fmt::format("\"Fewer in\": of the {} in which the run without the mechanism differs, those with fewer "
                            "failures. The interval tells how far that holds for others.",
                            found.unit == a_day ? "days" : "charge cycles"));
  out += "\"Alone\" keeps balancing, since others hang on it.\n";
  return out + paragraph(0, "", std::string(caution_of(found.reality)));
}

}  // namespace hopbench
