// What is shown, as values for the screens.
#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "view/help.h"
#include "view/inspector.h"
#include "view/map_figures.h"
#include "view/map_words.h"
#include "view/moments.h"
#include "view/number_text.h"
#include "view/selection_json.h"

namespace hopbench {
namespace {

constexpr std::int64_t most_days = 9;  // told of side by side

}  // namespace

std::string Inspector::read_text() const {
  const auto read = picture_.read_until().value_or(picture_.from());
  const double all = static_cast<double>(picture_.until()) - static_cast<double>(picture_.from());
  const double share = all <= 0 ? 1 : (static_cast<double>(read) - static_cast<double>(picture_.from())) / all;
  return fmt::format("{:.0f} % read", std::floor(100 * std::clamp(share, 0.0, 1.0)));
}

std::string Inspector::state_text() const {
  std::string text = live_ ? "live, " : "";
  if (!live_ && follow_ && !picture_.ended()) {
    const auto asked = whole_.measures.all.asked;
    const auto failed = whole_.tried.failed();
    text = fmt::format("paused, {} newer, {} failed, ", grouped(asked - std::min(asked, paused_at_)),
                       grouped(failed - std::min(failed, paused_failed_)));
  }
  if (!picture_.caught_up()) {
    text += read_text();
  } else {
    text += picture_.ended() ? "capture complete" : "capture has no end";
  }
  if (picture_.damage().in_the_middle()) text += ", DAMAGED";
  return text;
}

std::string Inspector::check_word() const {
  if (protocol_ == nullptr) return "check";
  const auto& parts = protocol_->description().parts;
  const bool crc = std::any_of(parts.begin(), parts.end(),
                               [](const PartSpec& part) { return part.check && part.check->kind == SumKind::crc; });
  return crc ? "CRC" : "checksum";
}

Inspector::DayRange Inspector::days_told() const {
  const Nanos length = picture_.until() - picture_.from();
  const bool fits = span_ < one_day && span_ % picture_.slices().slice_span() == 0;
  if (length <= one_day || !fits || cursor_row() == nullptr) return {};
  const auto begin = slot_of(picture_.from(), one_day);
  const auto end = slot_of(picture_.until() - 1, one_day) + 1;
  const auto count = std::min<std::int64_t>(most_days, end - begin);
  return {std::clamp(slot_of(cursor_time(), one_day) - count / 2, begin, end - count), count};
}

std::vector<std::string> Inspector::other_days() const {
  const auto days = days_told();
  if (days.count == 0) return {};
  const auto* row = cursor_row();
  const auto& slices = picture_.slices();
  const auto& stations = slices.stations();
  const Nanos here = cursor_time();
  const auto today = slot_of(here, one_day);
  std::vector<std::string> lines{
      "", fmt::format("{}, the same {} on each day:", row_words(*row, picture_.run()), round_span_text(span_))};
  for (auto each = days.first; each < days.first + days.count; ++each) {
    const Nanos start = here + (each - today) * one_day;
    const auto slice = slices.sum(start, start + span_);
    std::uint64_t troubles = 0;
    std::uint64_t chances = 0;
    for (std::size_t i = 0; i < row->hops; ++i) {
      const MapPlace place{row->place.kind, static_cast<std::uint16_t>(row->place.index + i)};
      troubles += troubles_at(slice, place);
      chances += chances_at(slice, stations, place);
    }
    auto line = fmt::format("{}{:>3}d {:>9} of {:>11} {:>7} %", each == today ? ">" : " ", each, grouped(troubles),
                            grouped(chances), short_share(troubles, chances));
    if (slice.known) {
      line += fmt::format("  {:>4} balancing {:>+6.1f} A {:>4.0f} °C", slice.cells_balancing, slice.charge_ma / 1000.0,
                          slice.board_mc / 1000.0);
    }
    if (!picture_.caught_up() && picture_.read_until().value_or(start) < start + span_) line += "  not all read";
    lines.push_back(line + (slice.missing == 0 ? "" : "  " + missing_words(slice.missing)));
  }
  return lines;
}

MapScene Inspector::map_scene(std::string last) {
  MapScene scene;
  scene.run = &picture_.run();
  scene.stations = &picture_.slices().stations();
  scene.whole = &whole_;
  scene.rows = rows_;
  scene.columns = columns_;
  scene.from = from_;
  scene.span = span_;
  scene.until = picture_.until();
  scene.whole_read = picture_.caught_up();
  scene.figures_in_sight = figures_in_sight_;
  scene.capture = picture_.path().substr(picture_.path().rfind('/') + 1);
  scene.state = state_text();
  scene.filter = picture_.slices().filter().text(picture_.run());
  scene.check = check_word();
  scene.shows = shows_;
  for (const auto& note : notes_) {
    scene.notes.push_back(note.at);
    if (note.at >= cursor_time() && note.at < cursor_time() + span_) scene.note = note.text;
  }
  scene.message = std::move(last);
  scene.more = other_days();
  scene.first_row = first_row_;
  scene.cursor_row = cursor_row_;
  scene.cursor_column = cursor_column_;
  return scene;
}

JourneyScene Inspector::journey_scene(std::string last) {
  return {&picture_.run(), protocol_, &*found_, attempt_, scroll_, details_, std::move(last), &then_, check_word()};
}

FiguresScene Inspector::figures_scene(std::string last) {
  refresh();
  // What is figured out once stays until another stretch or another subject is asked for.
  const Nanos end = std::min(to(), picture_.until());
  const auto count = std::min(columns(), figures_columns(width_));
  if (!figure_) {
    figure_ = figure_of(picture_, timed_, picture_.part(from_, end), from_, end);
    over_time_ = picture_.times(timed_, from_, span_, count);
    if (!picture_.caught_up()) figure_->title += ", " + read_text();
  }
  FiguresScene scene;
  scene.one = *figure_;
  scene.aside = aside_ ? &*aside_ : nullptr;
  scene.over_time = over_time_;
  scene.from = from_;
  scene.span = span_;
  scene.message = std::move(last);
  return scene;
}

Screen Inspector::compose() {
  const std::string last = ask_ == Ask::nothing ? message_ : prompt_text();
  if (page_ == Page::help) return help_screen(width_, height_);
  if (page_ == Page::journey && found_) return journey_screen(journey_scene(last), width_, height_);
  if (page_ == Page::figures) return figures_screen(figures_scene(last), width_, height_);
  refresh();
  return map_screen(map_scene(last), width_, height_);
}

Writing Inspector::selection(const std::string& path) {
  const bool as_json = path.ends_with(".json");
  if (page_ == Page::journey && found_) {
    const auto scene = journey_scene("");
    return {path, as_json ? journey_json(scene) : journey_report(scene), false};
  }
  if (!as_json) return {path, compose().text(false), false};
  refresh();
  return {path, map_json(picture_, from_, span_, columns_), false};
}

std::vector<Writing> Inspector::writings() { return std::exchange(writings_, {}); }

}  // namespace hopbench
