// What a journey says in words.
#include <fmt/format.h>

#include <algorithm>

#include "seen/reality.h"
#include "study/words.h"
#include "view/frame_fields.h"
#include "view/frame_text.h"
#include "view/journey.h"
#include "view/map_cells.h"
#include "view/moments.h"
#include "view/number_text.h"

namespace hopbench {
namespace {

std::string hop_words(const JourneyScene& scene, std::size_t index) {
  const auto& link = scene.run->links[index];
  return fmt::format("hop {}{} ({} -> {})", link.hop, link.homeward ? "<" : "", link.from, link.to);
}

std::string how_heard(const JourneyScene& scene, const HopRow& row) {
  if (row.inherited) return "damaged before this hop";
  const bool known = place_of(row.symptom) < symptom_count;
  return known ? symptom_words(row.symptom, scene.check) : std::string(name_of(row.symptom));
}

/// Where a try ended, as far as that was seen.
std::string ending(const JourneyScene& scene, const ExchangeObs& obs, std::size_t attempt) {
  if (obs.attempts[attempt].outcome == Outcome::bad_ask) return "the controller sent no good ask";
  const HopRow* last = nullptr;
  for (const auto& row : obs.rows) {
    if (row.attempt != attempt || row.link >= scene.run->links.size()) continue;
    if (row.damaged_here()) return fmt::format("{} on {}", how_heard(scene, row), hop_words(scene, row.link));
    if (last == nullptr || row.end > last->end) last = &row;
  }
  if (last == nullptr) return "nobody saw where it went";
  std::string text;
  Stations(*scene.run).each_trouble(obs, [&](StationTrouble trouble, std::uint16_t station, Nanos at) {
    const bool here = at >= obs.attempts[attempt].start &&
                      (attempt + 1 == obs.attempts.size() || at < obs.attempts[attempt + 1].start);
    if (!here || trouble == StationTrouble::unplaced) return;
    const auto name = station < scene.run->nodes.size() ? scene.run->nodes[station] : std::string("controller");
    text = fmt::format("{} {} {}", name_of(trouble), kind_of(trouble) == MapPlace::Kind::passing ? "in" : "by", name);
  });
  return text.empty() ? "last heard well at the end of " + hop_words(scene, last->link) : text;
}

/// Between the frame before in the same try and this one; none for the first.
std::optional<Nanos> stay_before(const ExchangeObs& obs, const Stations& stations, const HopRow& row) {
  std::optional<Nanos> stay;
  for (const auto& before : obs.rows) {
    if (&before == &row) break;
    if (before.attempt != row.attempt || before.link >= stations.links() || row.link >= stations.links()) continue;
    if (stations.to(before.link) != stations.from(row.link) || stations.from(row.link) == stations.controller())
      continue;
    stay = std::max<Nanos>(0, row.start - before.end);
  }
  return stay;
}

std::string ms(Nanos span) { return fmt::format("{:.1f}", static_cast<double>(span) / 1e6); }

void add_node(const JourneyScene& scene, std::size_t node, std::vector<std::string>& lines) {
  if (node >= scene.run->nodes.size() || node >= scene.then->nodes.size()) return;
  const auto& state = scene.then->nodes[node];
  const auto cells = node < scene.run->cells.size() ? scene.run->cells[node] : 1;
  const auto bleeds = (state.flags & 1U) != 0
                          ? std::string("off or starting up")
                          : fmt::format("balances {} of {}", (state.flags >> 8U) & 0xffU, counted(cells, "cell"));
  lines.push_back(fmt::format("  {}: board {:.1f} °C, supply {:.2f} V, {}", scene.run->nodes[node],
                              state.board_mc / 1000.0, state.supply_mv / 1000.0, bleeds));
}

void add_conditions(const JourneyScene& scene, const ExchangeObs& obs, std::vector<std::string>& lines) {
  if (scene.then == nullptr) return;
  lines.emplace_back();
  lines.emplace_back("at that time");
  if (!scene.then->known && scene.then->nodes.empty()) {
    lines.emplace_back("  not known: the capture tells of no conditions before it");
    return;
  }
  if (scene.then->known) {
    lines.push_back(fmt::format("  {} balancing, {:+.1f} A", counted(scene.then->cells_balancing, "cell"),
                                scene.then->charge_ma / 1000.0));
  }
  add_node(scene, obs.node, lines);
  // And the stations at both ends of where it was damaged.
  const Stations stations(*scene.run);
  std::vector<std::size_t> told{obs.node};
  const auto tell = [&](std::size_t station) {
    if (std::find(told.begin(), told.end(), station) != told.end()) return;
    told.push_back(station);
    add_node(scene, station, lines);
  };
  for (const auto& row : obs.rows) {
    if (!row.damaged_here() || row.link >= stations.links()) continue;
    tell(stations.from(row.link));
    tell(stations.to(row.link));
  }
  stations.each_trouble(obs, [&](StationTrouble, std::uint16_t station, Nanos) { tell(station); });
}

void add_frames(const JourneyScene& scene, const ExchangeObs& obs, std::vector<std::string>& lines) {
  const auto add = [&](std::span<const std::uint8_t> content, bool answer) {
    for (const auto& line : field_lines(scene.protocol, content, answer)) lines.push_back("  " + line);
  };
  lines.emplace_back();
  lines.emplace_back("ask as sent");
  add(obs.asked, false);
  lines.emplace_back();
  if (obs.answered.empty()) {
    lines.emplace_back("answer: none was heard whole");
    return;
  }
  const bool good = obs.outcome != Outcome::garbled;
  lines.emplace_back(good ? "answer as heard by the controller" : "answer as heard by the controller: its check fails");
  add(obs.answered, true);
}

void add_truth(const JourneyScene& scene, const ExchangeObs& obs, std::vector<std::string>& lines) {
  if (!scene.found->truth_known) return;
  lines.emplace_back();
  lines.emplace_back("what the simulation did");
  bool any = false;
  for (std::size_t i = 0; i < scene.found->attempt_truths.size(); ++i) {
    const auto& truth = scene.found->attempt_truths[i];
    if (truth.cause == Cause::none) continue;
    any = true;
    lines.push_back(fmt::format("  try {}: {}", i + 1, words::spaced(name_of(truth.cause))));
  }
  for (const auto& truth : scene.found->row_truths) {
    if (truth.row >= obs.rows.size()) continue;
    const auto& row = obs.rows[truth.row];
    if (row.link >= scene.run->links.size()) continue;
    any = true;
    std::string line = fmt::format("  hop {}: {}", scene.run->links[row.link].hop, words::spaced(name_of(truth.cause)));
    if (truth.undetected) line += ", and every check passed";
    lines.push_back(line);
    if (truth.bit == 0xffffffff || scene.protocol == nullptr) continue;
    const auto hit = wire_bit(scene.protocol->line(), truth.bit);
    const auto& coding = scene.protocol->line();
    const auto last_data = coding.data_bits + (coding.parity == Parity::none ? 0 : 1);
    const std::string which = hit.bit == 0          ? "its start bit"
                              : hit.bit > last_data ? "its stop bit"
                                                    : fmt::format("bit {}", hit.bit);
    lines.push_back(fmt::format("    first wrong bit {}: character {}, {}", truth.bit, hit.character + 1, which));
    // Content is kept of the first ask, and of the answer that was heard.
    const bool kept = row.answering ? !obs.answered.empty() && obs.outcome != Outcome::garbled : row.attempt == 0;
    if (!kept) continue;
    WireBytes wire;
    scene.protocol->wrap(row.answering ? obs.answered : obs.asked, wire);
    lines.push_back("    sent " + hit_text(wire.view(), hit.character));
  }
  if (!any) lines.emplace_back("  nothing");
}

}  // namespace

std::vector<std::string> journey_details(const JourneyScene& scene) {
  const auto obs = scene.found->seen();
  const auto& run = *scene.run;
  std::vector<std::string> lines;
  const std::string entry = obs.entry < run.entries.size() ? run.entries[obs.entry].name : "?";
  lines.push_back(fmt::format("exchange {}  {}", obs.number, entry));
  lines.push_back(fmt::format("asked {}, {}", whole_time(obs.start, millisecond), words::spaced(name_of(obs.outcome))));
  if (obs.kept_one_in > 1) lines.push_back(fmt::format("recorded as one of {} like it", obs.kept_one_in));
  std::string times = obs.round_trip >= 0 ? fmt::format("round trip {} ms", ms(obs.round_trip)) : "no round trip";
  if (run.time_out) times += fmt::format(", time-out {} ms", ms(*run.time_out));
  lines.push_back(times);
  for (std::size_t i = 0; i < obs.attempts.size(); ++i) {
    const auto& tried = obs.attempts[i];
    lines.push_back(fmt::format("try {} at +{} ms: {}", i + 1, ms(std::max<Nanos>(0, tried.start - obs.start)),
                                words::spaced(name_of(tried.outcome))));
    if (tried.outcome != Outcome::answered) lines.push_back("  " + ending(scene, obs, i));
  }
  add_conditions(scene, obs, lines);
  add_frames(scene, obs, lines);
  add_truth(scene, obs, lines);
  return lines;
}

std::vector<std::string> journey_hops(const JourneyScene& scene) {
  const auto obs = scene.found->seen();
  const Stations stations(*scene.run);
  std::vector<std::string> lines{fmt::format("{:<5}{:<26}{:>4} {:<7}{:>9}{:>8}{:>9}  {}", "hop", "from -> to", "try",
                                             "frame", "sent ms", "wire ms", "stay ms", "heard")};
  for (const auto& row : obs.rows) {
    if (row.link >= stations.links()) continue;
    const auto& link = scene.run->links[row.link];
    const auto stay = stay_before(obs, stations, row);
    lines.push_back(fmt::format(
        "{:<5}{:<26}{:>4} {:<7}{:>9}{:>8}{:>9}  {}", fmt::format("{}{}", link.hop, link.homeward ? "<" : ""),
        fitted(link.from + " -> " + link.to, 25), row.attempt + 1, row.answering ? "answer" : "ask",
        "+" + ms(std::max<Nanos>(0, row.start - obs.start)), ms(std::max<Nanos>(0, row.end - row.start)),
        stay ? ms(*stay) : "-", how_heard(scene, row)));
  }
  if (lines.size() == 1) lines.emplace_back("no frame of it was seen on any hop");
  return lines;
}

std::string journey_report(const JourneyScene& scene) {
  const auto reality = reality_of(*scene.run);
  std::string text = fmt::format("{}: {}\n\n", at_top(reality), harmless(scene.run->scenario));
  for (const auto& line : journey_details(scene)) text += harmless(line) + "\n";
  text += "\nsent ms: after the first edge of the ask; stay ms: inside the station, before it sent\n";
  for (const auto& line : journey_hops(scene)) text += harmless(line) + "\n";
  if (const auto caution = caution_of(reality); !caution.empty()) text += fmt::format("\n{}\n", caution);
  return text;
}

}  // namespace hopbench
