#include "view/journey.h"

#include <fmt/format.h>

#include <algorithm>

#include "study/words.h"
#include "view/frame_text.h"
#include "view/number_text.h"
#include "view/weave.h"

namespace hopbench {
namespace {

constexpr int label_width = 20;
constexpr int beside_width = 46;
constexpr int least_drawing = 40;

struct Axis {
  Nanos from = 0;
  Nanos to = 1;
  int left = 0;
  int width = 1;
  [[nodiscard]] int x(Nanos at) const {
    const double share = static_cast<double>(at - from) / static_cast<double>(std::max<Nanos>(1, to - from));
    return left + std::clamp(static_cast<int>(share * width), 0, width - 1);
  }
};

bool shown(const JourneyScene& scene, std::size_t attempt) { return !scene.attempt || *scene.attempt == attempt; }

Axis axis_of(const JourneyScene& scene, const ExchangeObs& obs, int left, int width) {
  Axis axis{obs.start, std::max(obs.start + 1, obs.decided), left, width};
  if (scene.attempt && *scene.attempt < obs.attempts.size()) {
    axis.from = obs.attempts[*scene.attempt].start;
    if (*scene.attempt + 1 < obs.attempts.size()) axis.to = obs.attempts[*scene.attempt + 1].start;
  }
  for (const auto& row : obs.rows) {
    if (shown(scene, row.attempt)) axis.to = std::max(axis.to, row.end);
  }
  return axis;
}

void draw_row(Screen& screen, const HopRow& row, const Axis& axis, int y) {
  const int x0 = axis.x(row.start);
  const int x1 = std::max(x0, axis.x(row.end) - 1);
  const bool bad = row.symptom != Symptom::none;
  const Ink ink = row.inherited ? Ink::unseen : bad ? Ink::wire : row.answering ? Ink::strong : Ink::plain;
  for (int x = x0; x <= x1; ++x) screen.put(x, y, row.answering ? U'═' : U'━', ink);
  if (!bad) return;
  LinkCell cell;
  cell.frames = cell.bad = 1;
  cell.marks = mark_of(row.symptom);
  const auto drawn = weave_cell(cell, LinkInfo{}, RowSlice{});
  screen.put(x1 + 1 < axis.left + axis.width ? x1 + 1 : x1, y, drawn.glyph, drawn.ink);
}

/// From where one hop's frame ended to where the next one's began: time inside a station.
void draw_stay(Screen& screen, const HopRow& before, const HopRow& after, const Axis& axis, int y) {
  for (int x = axis.x(std::min(before.end, after.start)); x < axis.x(after.start); ++x) {
    if (screen.at(x, y).glyph == U' ') screen.put(x, y, U'·', Ink::dim);
  }
}

std::string ending(const JourneyScene& scene, const ExchangeObs& obs, std::size_t attempt) {
  if (obs.attempts[attempt].outcome == Outcome::bad_ask) return "the controller sent no good ask";
  const HopRow* last = nullptr;
  const HopRow* bad = nullptr;
  for (const auto& row : obs.rows) {
    if (row.attempt != attempt) continue;
    if (row.symptom != Symptom::none && !row.inherited && bad == nullptr) bad = &row;
    if (last == nullptr || row.end > last->end) last = &row;
  }
  const auto hop = [&](const HopRow& row) {
    const auto& link = scene.run->links[row.link];
    return fmt::format("hop {} ({} -> {})", link.hop, link.from, link.to);
  };
  if (bad != nullptr && bad->link < scene.run->links.size()) {
    const bool known = place_of(bad->symptom) < symptom_count;
    return fmt::format("{} on {}", known ? mark_words(mark_of(bad->symptom)) : std::string(name_of(bad->symptom)),
                       hop(*bad));
  }
  if (last == nullptr) return "nobody saw where it went";
  if (last->link >= scene.run->links.size()) return "";
  return fmt::format("last heard well at the end of {}", hop(*last));
}

}  // namespace

std::vector<std::string> journey_details(const JourneyScene& scene) {
  const auto obs = scene.found->seen();
  const auto& run = *scene.run;
  std::vector<std::string> lines;
  const std::string entry = obs.entry < run.entries.size() ? run.entries[obs.entry].name : "?";
  lines.push_back(fmt::format("exchange {}  {}", obs.number, entry));
  lines.push_back(fmt::format("asked {}, {}", whole_time(obs.start, millisecond), words::spaced(name_of(obs.outcome))));
  if (obs.kept_one_in > 1) lines.push_back(fmt::format("kept as one of {} like it", obs.kept_one_in));
  if (obs.round_trip >= 0) lines.push_back("round trip " + short_span(obs.round_trip));
  for (std::size_t i = 0; i < obs.attempts.size(); ++i) {
    lines.push_back(fmt::format("try {}: {}", i + 1, words::spaced(name_of(obs.attempts[i].outcome))));
    if (obs.attempts[i].outcome != Outcome::answered) lines.push_back("  " + ending(scene, obs, i));
  }
  lines.emplace_back();
  lines.emplace_back("ask");
  for (const auto& line : frame_lines(scene.protocol, obs.asked, false)) lines.push_back("  " + line);
  lines.emplace_back("answer");
  for (const auto& line : frame_lines(scene.protocol, obs.answered, true)) lines.push_back("  " + line);
  if (!scene.found->truth_known) return lines;
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
    if (row.link >= run.links.size()) continue;
    any = true;
    std::string line = fmt::format("  hop {}: {}", run.links[row.link].hop, words::spaced(name_of(truth.cause)));
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
  return lines;
}

namespace {
bool has_details_beside(int width) { return width >= label_width + least_drawing + beside_width; }
/// First line below the drawing.
int drawing_end(int width, int height) {
  return has_details_beside(width) ? height - 1 : height - 1 - std::min(11, height / 2);
}
}  // namespace

std::size_t journey_rows(int width, int height) {
  return static_cast<std::size_t>(std::max(1, drawing_end(width, height) - 2));
}

Screen journey_screen(const JourneyScene& scene, int width, int height) {
  Screen screen(width, height);
  if (width < least_width || height < least_height) {
    screen.put(0, 0, fmt::format("{} x {} places are needed", least_width, least_height));
    return screen;
  }
  const auto obs = scene.found->seen();
  const auto& run = *scene.run;
  const bool beside = has_details_beside(width);
  const int drawing = beside ? width - label_width - beside_width - 1 : width - label_width;
  const auto axis = axis_of(scene, obs, label_width, drawing);
  screen.put(0, 0,
             fmt::format("Journey of exchange {}{}", obs.number,
                         scene.attempt ? fmt::format(", try {} of {}", *scene.attempt + 1, obs.attempts.size())
                         : obs.attempts.size() > 1 ? fmt::format(", all {} tries", obs.attempts.size())
                                                   : std::string()),
             Ink::heading);
  screen.put(label_width, 1, whole_time(axis.from, millisecond), Ink::dim);
  screen.put_right(label_width + drawing, 1, "+" + short_span(axis.to - axis.from), Ink::dim);
  const int bottom = drawing_end(width, height);
  const auto details = journey_details(scene);
  std::size_t drawn = 0;
  int y = 2;
  for (std::size_t link = scene.scroll; link < run.links.size() && y < bottom; ++link, ++y) {
    const auto& info = run.links[link];
    const bool unseen = info.vantage == Vantage::unseen;
    screen.put(
        0, y,
        fitted(fmt::format("{}{} {} > {}", info.hop, info.homeward ? "<" : "", info.from, info.to), label_width - 2),
        unseen ? Ink::unseen : Ink::plain);
    if (unseen) {
      for (int x = label_width; x < label_width + drawing; x += 2) screen.put(x, y, U'░', Ink::unseen);
    }
    for (const auto& row : obs.rows) {
      if (row.link != link || !shown(scene, row.attempt)) continue;
      draw_row(screen, row, axis, y);
      for (const auto& before : obs.rows) {
        if (before.link + 1U == link && before.attempt == row.attempt && before.end <= row.start &&
            row.start - before.end < axis.to - axis.from) {
          draw_stay(screen, before, row, axis, y);
        }
      }
      ++drawn;
    }
    // Where tries were given up.
    for (std::size_t i = 1; i < obs.attempts.size(); ++i) {
      if (scene.attempt || link != scene.scroll) continue;
      const int x = axis.x(obs.attempts[i].start);
      if (screen.at(x, y).glyph == U' ') screen.put(x, y, U'│', Ink::timing);
    }
  }
  if (drawn == 0 && y < bottom) screen.put(label_width, y, "no frame of it was seen on these hops", Ink::dim);
  const int left = beside ? width - beside_width : 0;
  int line = beside ? 2 : bottom;
  for (std::size_t i = scene.details; i < details.size() && line < height - 1; ++i, ++line) {
    const bool heading = !details[i].empty() && details[i][0] != ' ';
    screen.put(left, line, fitted(details[i], static_cast<std::size_t>(beside ? beside_width : width)),
               heading ? Ink::plain : Ink::dim);
  }
  screen.put(0, height - 1,
             scene.message.empty() ? "up/down hops  left/right tries  page up/down details  n N failures  Esc back"
                                   : fitted(scene.message, static_cast<std::size_t>(width)),
             scene.message.empty() ? Ink::dim : Ink::strong);
  return screen;
}

}  // namespace hopbench
