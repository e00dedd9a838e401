// What is shown: stretches of time, the cursor, and what of it has been read.
#include "view/inspector.h"

#include <fmt/format.h>

#include <algorithm>

#include "view/help.h"
#include "view/map_figures.h"
#include "view/moments.h"
#include "view/number_text.h"
#include "view/selection_json.h"

namespace hopbench {
namespace {

constexpr std::uint64_t exchanges_a_column = 4;  // of a capture that grows, at first
constexpr std::int64_t most_days = 9;            // told of side by side

}  // namespace

Inspector::Inspector(Picture& picture, const Protocol* protocol, std::vector<Note> notes, bool follow)
    : picture_(picture), protocol_(protocol), notes_(std::move(notes)), follow_(follow), live_(follow) {}

std::size_t Inspector::columns() const { return std::max<std::size_t>(1, map_layout(width_, height_, 1, 0).columns); }

MapLayout Inspector::layout() const {
  const auto days = static_cast<std::size_t>(days_told().count);
  return map_layout(width_, height_, rows_.size(), days == 0 ? 0 : days + 2);
}

const MapRow* Inspector::cursor_row() const { return cursor_row_ < rows_.size() ? &rows_[cursor_row_] : nullptr; }

std::optional<MapPlace> Inspector::cursor_place() const {
  const auto* row = cursor_row();
  if (row == nullptr || row->is_fold() || row->troubles == 0) return std::nullopt;
  return row->place;
}

void Inspector::choose_first_span() {
  // By how many exchanges the last minute had.
  const Nanos until = picture_.until();
  const auto last = picture_.part(until - one_minute, until + 1);
  const auto asked = std::max<std::uint64_t>(1, last.measures.all.asked);
  const Nanos wanted = one_minute / static_cast<Nanos>(asked) * static_cast<Nanos>(exchanges_a_column);
  span_ = column_spans.front();
  while (span_ < wanted && span_ < column_spans.back()) span_ = longer_column(span_);
}

void Inspector::resize(int width, int height) {
  width_ = width;
  height_ = height;
  if (!sized_ && live_) choose_first_span();
  if (live_) {
    go_live();
  } else if (!sized_) {
    show_all();
  }
  sized_ = true;
  stale_columns_ = stale_rows_ = true;
  figure_.reset();
  cursor_column_ = std::min(cursor_column_, columns() - 1);
}

void Inspector::show_from(Nanos from) {
  // Never before the first instant, nor past the last one.
  const Nanos first = slot_of(picture_.from(), span_) * span_;
  const Nanos last = slot_of(std::max(picture_.from(), picture_.until() - 1), span_) * span_;
  const Nanos latest = std::max(first, last - span_ * (static_cast<Nanos>(columns()) - 1));
  from = std::clamp(slot_of(from, span_) * span_, first, latest);
  if (from != from_) stale_columns_ = true;
  from_ = from;
}

void Inspector::show_all() {
  span_ = column_for(picture_.from(), picture_.until(), columns());
  stale_columns_ = true;
  show_from(picture_.from());
}

void Inspector::go_live() {
  live_ = true;
  show_from(picture_.until());
  const auto last = slot_of(std::max(from_, picture_.until() - 1), span_) - from_ / span_;
  cursor_column_ =
      static_cast<std::size_t>(std::clamp<std::int64_t>(last, 0, static_cast<std::int64_t>(columns()) - 1));
}

void Inspector::pause() {
  moved_ = true;
  if (!live_) return;
  live_ = false;
  refresh_rows();
  paused_at_ = whole_.measures.all.asked;
  paused_failed_ = whole_.tried.failed();
}

void Inspector::grown() {
  stale_columns_ = stale_rows_ = true;
  if (live_) go_live();
}

void Inspector::move_columns(std::int64_t by) {
  pause();
  const auto count = static_cast<std::int64_t>(columns());
  const std::int64_t wanted = static_cast<std::int64_t>(cursor_column_) + by;
  if (wanted < 0) show_from(from_ + span_ * wanted);
  if (wanted >= count) show_from(from_ + span_ * (wanted - (count - 1)));
  cursor_column_ = static_cast<std::size_t>(std::clamp<std::int64_t>(wanted, 0, count - 1));
}

void Inspector::move_rows(std::int64_t by) {
  moved_ = true;
  refresh_rows();
  const auto last = static_cast<std::int64_t>(rows_.size()) - 1;
  const std::int64_t wanted = static_cast<std::int64_t>(cursor_row_) + by;
  cursor_row_ = static_cast<std::size_t>(std::clamp<std::int64_t>(wanted, 0, std::max<std::int64_t>(0, last)));
  keep_rows_in_sight();
}

void Inspector::keep_rows_in_sight() {
  const auto shown = std::max<std::size_t>(1, layout().rows);
  if (cursor_row_ < first_row_) first_row_ = cursor_row_;
  if (cursor_row_ >= first_row_ + shown) first_row_ = cursor_row_ + 1 - shown;
  first_row_ = std::min(first_row_, rows_.size() - std::min(rows_.size(), shown));
}

void Inspector::zoom(bool in) {
  const Nanos other = in ? shorter_column(span_) : longer_column(span_);
  if (other == span_) return;
  // What the cursor is on stays where it is. Going closer, the middle of the column does.
  const Nanos at = cursor_time() + (in ? span_ / 2 : 0);
  span_ = other;
  stale_columns_ = true;
  if (live_) {
    go_live();
    return;
  }
  moved_ = true;
  show_from(at - span_ * static_cast<Nanos>(cursor_column_));
  go_to(at);
}

void Inspector::go_to(Nanos at) {
  pause();
  at = std::clamp(at, picture_.from(), std::max(picture_.from(), picture_.until()));
  const auto count = static_cast<std::int64_t>(columns());
  std::int64_t column = slot_of(at, span_) - slot_of(from_, span_);
  if (column < 0 || column >= count) {
    show_from(slot_of(at, span_) * span_ - span_ * (count / 2));
    column = slot_of(at, span_) - slot_of(from_, span_);
  }
  cursor_column_ = static_cast<std::size_t>(std::clamp<std::int64_t>(column, 0, count - 1));
}

void Inspector::go_to_row(MapPlace place) {
  moved_ = true;
  const auto find = [&] {
    refresh_rows();
    for (std::size_t i = 0; i < rows_.size(); ++i) {
      if (rows_[i].place == place && !rows_[i].is_fold()) return std::optional(i);
    }
    return std::optional<std::size_t>();
  };
  auto row = find();
  if (!row && place.kind == MapPlace::Kind::hop) {
    wishes_.open.insert(place.index);
    stale_rows_ = true;
    row = find();
  }
  if (!row) return;
  cursor_row_ = *row;
  keep_rows_in_sight();
}

void Inspector::unfold_here() {
  const auto row = *cursor_row();
  for (std::size_t i = 0; i < row.hops; ++i) wishes_.open.insert(static_cast<std::uint16_t>(row.place.index + i));
  stale_rows_ = true;
  go_to_row(row.place);
}

void Inspector::refresh_rows() {
  if (!stale_rows_) return;
  stale_rows_ = false;
  const bool had_row = cursor_row() != nullptr;
  const MapRow was = had_row ? *cursor_row() : MapRow{};
  whole_ = picture_.slices().part(picture_.from(), picture_.until() + 1);
  whole_.size_for(picture_.run());
  if (figures_in_sight_) {
    sight_ = picture_.part(from_, to());
    sight_.size_for(picture_.run());
  }
  const auto& stations = picture_.slices().stations();
  rows_ = map_rows(picture_.run(), stations, figures_in_sight_ ? sight_ : whole_, wishes_);
  // The cursor stays on its hop while others pass it by.
  if (moved_ && had_row) {
    const auto same = std::find_if(rows_.begin(), rows_.end(), [&](const MapRow& row) { return row.same_row(was); });
    if (same != rows_.end()) cursor_row_ = static_cast<std::size_t>(same - rows_.begin());
  }
  cursor_row_ = std::min(cursor_row_, rows_.empty() ? 0 : rows_.size() - 1);
}

void Inspector::refresh() {
  if (stale_columns_ && figures_in_sight_) stale_rows_ = true;
  refresh_rows();
  if (stale_columns_) {
    stale_columns_ = false;
    figure_.reset();
    columns_ = picture_.columns(from_, span_, columns());
  }
  if (!moved_) put_cursor_on_worst();
  keep_rows_in_sight();
}

void Inspector::put_cursor_on_worst() {
  cursor_row_ = 0;
  if (live_ || rows_.empty()) return;
  std::uint64_t worst = 0;
  for (std::size_t i = 0; i < columns_.size(); ++i) {
    if (columns_[i].read != ReadState::all) continue;
    const auto troubles = troubles_at(columns_[i].slice, rows_.front().place);
    if (troubles <= worst) continue;
    worst = troubles;
    cursor_column_ = i;
  }
}

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
