#include "view/journey.h"

#include <fmt/format.h>

#include <algorithm>

#include "view/map.h"
#include "view/map_figures.h"
#include "view/moments.h"
#include "view/number_text.h"

namespace hopbench {
namespace {

constexpr int label_width = 17;
constexpr int times_width = 12;
constexpr int drawing_left = label_width + times_width + 1;
constexpr int beside_width = 50;
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

/// When the controller gives a try up, if that is known.
std::optional<Nanos> given_up(const JourneyScene& scene, const Attempt& attempt) {
  if (!scene.run->time_out || attempt.ask_end > farthest_instant) return std::nullopt;
  return attempt.ask_end + std::min(*scene.run->time_out, farthest_instant);
}

Axis axis_of(const JourneyScene& scene, const ExchangeObs& obs, int left, int width) {
  Axis axis{obs.start, std::max(obs.start + 1, obs.decided), left, width};
  if (scene.attempt && *scene.attempt < obs.attempts.size()) {
    axis.from = obs.attempts[*scene.attempt].start;
    if (*scene.attempt + 1 < obs.attempts.size()) axis.to = obs.attempts[*scene.attempt + 1].start;
  }
  for (const auto& row : obs.rows) {
    if (shown(scene, row.attempt)) axis.to = std::max(axis.to, row.end);
  }
  for (std::size_t i = 0; i < obs.attempts.size(); ++i) {
    if (!shown(scene, i) || obs.attempts[i].outcome == Outcome::answered) continue;
    if (const auto end = given_up(scene, obs.attempts[i])) axis.to = std::max(axis.to, *end);
  }
  return axis;
}

/// Of a frame that was not heard well; the words stand in the details.
char32_t letter_of(Symptom symptom) {
  static constexpr char32_t letters[] = U" FPCSLORN";
  const auto place = place_of(symptom);
  return place < symptom_count ? letters[place] : U'?';
}

void draw_row(Screen& screen, const HopRow& row, const Axis& axis, int y) {
  const int x0 = axis.x(row.start);
  const int x1 = std::max(x0, axis.x(row.end) - 1);
  const bool bad = row.symptom != Symptom::none;
  const Ink ink = row.inherited ? Ink::unseen : bad ? Ink::wire : row.answering ? Ink::strong : Ink::plain;
  for (int x = x0; x <= x1; ++x) screen.put(x, y, row.answering ? U'═' : U'━', ink);
  if (bad) screen.put(x1 + 1 < axis.left + axis.width ? x1 + 1 : x1, y, letter_of(row.symptom), Ink::wire);
}

/// From where one hop's frame ended to where the next one's began: time inside a station.
void draw_stay(Screen& screen, const HopRow& before, const HopRow& after, const Axis& axis, int y) {
  for (int x = axis.x(std::min(before.end, after.start)); x < axis.x(after.start); ++x) {
    if (screen.at(x, y).glyph == U' ') screen.put(x, y, U'·', Ink::dim);
  }
}

bool has_details_beside(int width) { return width >= drawing_left + least_drawing + beside_width; }
/// First line below the drawing.
int drawing_end(int width, int height) {
  return has_details_beside(width) ? height - 1 : height - 1 - std::min(11, height / 2);
}

std::string title(const JourneyScene& scene, const ExchangeObs& obs) {
  std::string text = fmt::format("Journey of exchange {}", obs.number);
  if (scene.attempt) {
    text += fmt::format(", try {} of {}", *scene.attempt + 1, obs.attempts.size());
  } else if (obs.attempts.size() > 1) {
    text += fmt::format(", all {} tries", obs.attempts.size());
  }
  return text;
}

/// One hop: its frames, the stays before them, and figures of the last of them.
bool draw_hop(Screen& screen, const JourneyScene& scene, const ExchangeObs& obs, const Stations& stations,
              std::size_t link, const Axis& axis, int y) {
  const auto& info = scene.run->links[link];
  const bool unseen = info.vantage == Vantage::unseen;
  const auto label = fmt::format("{}{} {} > {}", info.hop, info.homeward ? "<" : "", info.from, info.to);
  screen.put(0, y, fitted(label, label_width - 1), unseen ? Ink::unseen : Ink::plain);
  if (unseen) screen.put(axis.left, y, "nobody listened here", Ink::unseen);
  bool any = false;
  for (const auto& row : obs.rows) {
    if (row.link != link || !shown(scene, row.attempt)) continue;
    any = true;
    draw_row(screen, row, axis, y);
    std::optional<Nanos> stay;
    for (const auto& before : obs.rows) {
      if (&before == &row) break;
      if (before.attempt != row.attempt || before.link >= stations.links()) continue;
      if (stations.to(before.link) != stations.from(link) || stations.from(link) == stations.controller()) continue;
      if (before.end <= row.start) draw_stay(screen, before, row, axis, y);
      stay = std::max<Nanos>(0, row.start - before.end);
    }
    screen.put(label_width, y, std::string(times_width, ' '));
    screen.put_right(label_width + 6, y, stay ? short_ms(*stay) : "", Ink::dim);
    screen.put_right(label_width + times_width, y, short_ms(std::max<Nanos>(0, row.end - row.start)), Ink::dim);
  }
  return any;
}

void draw_time_outs(Screen& screen, const JourneyScene& scene, const ExchangeObs& obs, const Axis& axis, int top,
                    int bottom) {
  for (std::size_t i = 0; i < obs.attempts.size(); ++i) {
    if (!shown(scene, i)) continue;
    const auto end = given_up(scene, obs.attempts[i]);
    if (!end || *end > axis.to) continue;
    const int x = axis.x(*end);
    for (int y = top; y < bottom; ++y) {
      if (screen.at(x, y).glyph == U' ') screen.put(x, y, U'│', Ink::timing);
    }
    const std::string words = "time-out";
    screen.put_right(x + 1, top - 1, words, Ink::timing);
  }
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
  const Stations stations(run);
  const bool beside = has_details_beside(width);
  const int drawing = beside ? width - drawing_left - beside_width - 1 : width - drawing_left;
  const auto axis = axis_of(scene, obs, drawing_left, drawing);
  screen.put(0, 0, title(scene, obs), Ink::heading);
  screen.put_right(drawing_left + drawing, 0, "+" + short_span(axis.to - axis.from), Ink::dim);
  screen.put_right(label_width + 6, 1, "ms: stay", Ink::dim);
  screen.put_right(label_width + times_width, 1, "wire", Ink::dim);
  screen.put(drawing_left, 1, whole_time(axis.from, millisecond), Ink::dim);
  const int bottom = drawing_end(width, height);
  const auto details = journey_details(scene);
  bool drawn = false;
  int y = 2;
  for (std::size_t link = scene.scroll; link < run.links.size() && y < bottom; ++link, ++y) {
    drawn = draw_hop(screen, scene, obs, stations, link, axis, y) || drawn;
  }
  draw_time_outs(screen, scene, obs, axis, 2, y);
  if (!drawn && y < bottom) screen.put(drawing_left, y, "no frame of it was seen on these hops", Ink::dim);
  const int left = beside ? width - beside_width : 0;
  int line = beside ? 2 : bottom;
  for (std::size_t i = scene.details; i < details.size() && line < height - 1; ++i, ++line) {
    const bool heading = !details[i].empty() && details[i][0] != ' ';
    screen.put(left, line, fitted(details[i], static_cast<std::size_t>(beside ? beside_width : width)),
               heading ? Ink::plain : Ink::dim);
  }
  const std::string keys = "[ ] exchange before, after  n N failure  PgUp PgDn text  w write  Esc back  ?";
  screen.put(0, height - 1, fitted(scene.message.empty() ? keys : scene.message, static_cast<std::size_t>(width)),
             scene.message.empty() ? Ink::dim : Ink::strong);
  return screen;
}

}  // namespace hopbench
