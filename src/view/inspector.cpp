// Which stretch of time is shown, where the cursor is, and which rows there are.
#include "view/inspector.h"

#include <algorithm>

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
  const Nanos from = cursor_time();
  const Nanos to = from + span_;
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
  refresh();
  if (in) put_cursor_on_worst(from, to);
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
  whole_ = picture_.slices().whole();
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
  if (!moved_ && !live_) {
    cursor_row_ = 0;
    put_cursor_on_worst(picture_.from(), picture_.until());
  }
  keep_rows_in_sight();
}

void Inspector::put_cursor_on_worst(Nanos from, Nanos to) {
  const auto place = cursor_place();
  if (!place) return;
  std::uint64_t worst = 0;
  for (std::size_t i = 0; i < columns_.size(); ++i) {
    const Nanos start = from_ + span_ * static_cast<Nanos>(i);
    if (start < from || start >= to || columns_[i].read != ReadState::all) continue;
    const auto troubles = troubles_at(columns_[i].slice, *place);
    if (troubles <= worst) continue;
    worst = troubles;
    cursor_column_ = i;
  }
}

}  // namespace hopbench
