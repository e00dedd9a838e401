#include "view/inspector.h"

#include <fmt/format.h>

#include <algorithm>

#include "view/help.h"
#include "view/journey.h"
#include "view/number_text.h"
#include "view/selection_json.h"

namespace hopbench {
namespace {

constexpr Nanos finest = millisecond;
constexpr Nanos coarsest = 64 * 86'400 * second;
constexpr std::size_t exchanges_a_row = 4;  // at first

}  // namespace

Inspector::Inspector(Picture& picture, const Protocol* protocol, std::vector<Note> notes, bool live)
    : picture_(picture), protocol_(protocol), notes_(std::move(notes)), live_(live) {
  // About four exchanges a row, by how many the last minute had.
  const Nanos until = picture_.until();
  const auto last = picture_.part(until - 60 * second, until + 1);
  const auto asked = std::max<std::uint64_t>(1, last.measures.all.asked);
  const Nanos gap = 60 * second / static_cast<Nanos>(asked);
  while (span_ > finest && span_ > gap * static_cast<Nanos>(exchanges_a_row)) span_ /= 2;
  if (span_ < second) {
    span_ = finest;
    while (span_ < gap * static_cast<Nanos>(exchanges_a_row)) span_ *= 2;
  }
  while (span_ < coarsest && span_ < gap) span_ *= 2;
  go_live();
}

WeaveLayout Inspector::layout() const { return weave_layout(picture_.run(), width_, height_); }

Nanos Inspector::to() const { return from_ + span_ * static_cast<Nanos>(std::max<std::size_t>(1, layout().rows)); }

Nanos Inspector::cursor_time() const { return from_ + span_ * static_cast<Nanos>(cursor_row_); }

void Inspector::resize(int width, int height) {
  width_ = width;
  height_ = height;
  const auto rows = std::max<std::size_t>(1, layout().rows);
  if (live_ || !sized_) go_live();
  if (!sized_) cursor_row_ = rows - 1;
  sized_ = true;
  if (cursor_row_ >= rows) cursor_row_ = rows - 1;
  keep_cursor_in_sight();
  stale_ = true;
}

void Inspector::show_from(Nanos from) {
  from = slot_of(std::clamp(from, picture_.from() - coarsest, picture_.until() + span_), span_) * span_;
  if (from != from_) stale_ = true;
  from_ = from;
}

void Inspector::go_live() {
  const auto rows = static_cast<Nanos>(std::max<std::size_t>(1, layout().rows));
  const auto before = from_;
  from_ = (slot_of(picture_.until(), span_) + 1 - rows) * span_;
  if (before != from_) stale_ = true;
}

void Inspector::grown() {
  const Nanos before = from_;
  if (live_) go_live();
  const auto read = picture_.read_until();
  if (live_ || before != from_ || !read || *read >= from_) stale_ = true;
}

void Inspector::keep_cursor_in_sight() {
  const auto shown = std::max<std::size_t>(1, layout().hops);
  const auto links = picture_.run().links.size();
  if (links == 0) return;
  cursor_link_ = std::min(cursor_link_, links - 1);
  if (cursor_link_ < first_link_) first_link_ = cursor_link_;
  if (cursor_link_ >= first_link_ + shown) first_link_ = cursor_link_ + 1 - shown;
  first_link_ = std::min(first_link_, links - std::min(links, shown));
}

void Inspector::move_rows(std::int64_t rows) {
  const auto count = static_cast<std::int64_t>(std::max<std::size_t>(1, layout().rows));
  std::int64_t row = static_cast<std::int64_t>(cursor_row_) + rows;
  if (row < 0 || row >= count) {
    live_ = false;
    const std::int64_t beyond = row < 0 ? row : row - (count - 1);
    const Nanos wanted = from_ + span_ * beyond;
    // Not past either end.
    const Nanos first = slot_of(picture_.from(), span_) * span_;
    const Nanos last = std::max(first, (slot_of(picture_.until(), span_) + 1 - count) * span_);
    show_from(std::clamp(wanted, std::min(first, last), last));
    row = std::clamp<std::int64_t>(row, 0, count - 1);
  }
  cursor_row_ = static_cast<std::size_t>(row);
}

void Inspector::move_links(std::int64_t links) {
  const auto last = static_cast<std::int64_t>(picture_.run().links.size()) - 1;
  if (last < 0) return;
  cursor_link_ =
      static_cast<std::size_t>(std::clamp<std::int64_t>(static_cast<std::int64_t>(cursor_link_) + links, 0, last));
  keep_cursor_in_sight();
}

void Inspector::zoom(bool in) {
  if (in ? span_ <= finest : span_ >= coarsest) return;
  const Nanos at = cursor_time();
  span_ = in ? span_ / 2 : span_ * 2;
  stale_ = true;
  if (live_) {
    go_live();
    return;
  }
  // What the cursor is on stays where it is.
  show_from(at - span_ * static_cast<Nanos>(cursor_row_));
}

void Inspector::whole() {
  live_ = false;
  const auto rows = static_cast<Nanos>(std::max<std::size_t>(1, layout().rows));
  span_ = finest;
  while (span_ < coarsest && slot_of(picture_.until(), span_) - slot_of(picture_.from(), span_) >= rows) span_ *= 2;
  from_ = slot_of(picture_.from(), span_) * span_;
  cursor_row_ = 0;
  stale_ = true;
}

void Inspector::point_at(const FoundExchange& found) {
  live_ = false;
  const auto obs = found.seen();
  Nanos when = obs.start;
  for (const auto& row : obs.rows) {
    if (!row.damaged_here()) continue;
    when = row.start;
    cursor_link_ = row.link;
    break;
  }
  keep_cursor_in_sight();
  const auto rows = static_cast<std::int64_t>(std::max<std::size_t>(1, layout().rows));
  const std::int64_t row = slot_of(when, span_) - slot_of(from_, span_);
  if (row < 0 || row >= rows) {
    show_from(slot_of(when, span_) * span_ - span_ * (rows / 2));
  }
  cursor_row_ =
      static_cast<std::size_t>(std::clamp<std::int64_t>(slot_of(when, span_) - slot_of(from_, span_), 0, rows - 1));
}

void Inspector::next_failure(bool backwards) {
  const Nanos here = found_ ? found_->record.fixed.start : backwards ? cursor_time() : cursor_time() - 1;
  auto found = picture_.next_failure(here, backwards);
  if (!found) {
    const bool all = picture_.caught_up();
    say(fmt::format("no failure {}{}", backwards ? "before" : "after", all ? "" : ", as far as it is read"));
    return;
  }
  found_ = std::move(found);
  point_at(*found_);
  begin_journey();
  const auto& fixed = found_->record.fixed;
  if (page_ == Page::weave) {
    std::string name(name_of(fixed.outcome));
    say(fmt::format("exchange {} at {}: {}, {}; Enter shows its journey", fixed.number,
                    whole_time(fixed.start, millisecond), name,
                    counted(found_->record.attempts.size(), "try", "tries")));
  }
}

void Inspector::open_journey() {
  const auto& run = picture_.run();
  const auto link =
      cursor_link_ < run.links.size() ? std::optional(static_cast<std::uint16_t>(cursor_link_)) : std::nullopt;
  const Nanos start = cursor_time();
  // What a failure key came to is meant, as long as the cursor is on it.
  bool same = false;
  if (found_) {
    const auto obs = found_->seen();
    same = obs.start < start + span_ && obs.decided >= start;
  }
  if (!same) found_ = picture_.at(start, start + span_, link);
  if (!found_) found_ = picture_.at(start, start + span_, std::nullopt);
  if (!found_) {
    say("no exchange here");
    return;
  }
  page_ = Page::journey;
  begin_journey();
}

/// With the first hop on which something went wrong in sight.
void Inspector::begin_journey() {
  attempt_.reset();
  scroll_ = details_ = 0;
  const auto obs = found_->seen();
  const auto drawn = journey_rows(width_, height_);
  for (const auto& row : obs.rows) {
    if (!row.damaged_here()) continue;
    const auto links = picture_.run().links.size();
    if (row.link >= drawn) scroll_ = std::min<std::size_t>(row.link - drawn / 2, links - std::min(links, drawn));
    return;
  }
}

/// What is shown, as text or as JSON.
Writing Inspector::selection(const std::string& path) {
  const bool as_json = path.ends_with(".json");
  if (page_ == Page::journey && found_) {
    const JourneyScene scene{&picture_.run(), protocol_, &*found_, attempt_, 0, 0, ""};
    if (as_json) return {path, journey_json(scene), false};
    std::string text;
    for (const auto& line : journey_details(scene)) text += line + "\n";
    return {path, text, false};
  }
  if (!as_json) return {path, compose().text(false), false};
  refresh();
  return {path, weave_json(picture_, from_, span_, rows_), false};
}

std::vector<Writing> Inspector::writings() { return std::exchange(writings_, {}); }

void Inspector::refresh() {
  if (!stale_) return;
  const auto count = std::max<std::size_t>(1, layout().rows);
  rows_ = picture_.rows(from_, span_, count);
  stretch_ = picture_.part(from_, to());
  stale_ = false;
}

Figure Inspector::figure() {
  refresh();
  return figure_of(picture_.run(), stretch_, subject_, subject_index_, from_, std::min(to(), picture_.until()));
}

std::string Inspector::state_text() const {
  std::string text = live_ ? "live" : "held";
  if (!picture_.caught_up()) {
    const auto read = picture_.read_until().value_or(picture_.from());
    const double all = static_cast<double>(picture_.until() - picture_.from());
    const double share = all <= 0 ? 1 : static_cast<double>(read - picture_.from()) / all;
    text += fmt::format(", {:.0f} % read", 100 * std::clamp(share, 0.0, 1.0));
  } else if (picture_.ended() && !picture_.damage().in_the_middle()) {
    text += ", complete";
  }
  if (picture_.damage().in_the_middle()) text += ", damaged";
  return text;
}

Screen Inspector::compose() {
  std::string last = message_;
  if (ask_ != Ask::nothing) {
    const char* what = ask_ == Ask::filter     ? "show only (empty: all): "
                       : ask_ == Ask::exchange ? "exchange number: "
                       : ask_ == Ask::note     ? "note: "
                                               : "write to file (.json or text): ";
    last = what + utf8(typed_) + "_";
  }
  if (page_ == Page::help) {
    return help_screen(width_, height_);
  }
  if (page_ == Page::journey && found_) {
    JourneyScene scene{&picture_.run(), protocol_, &*found_, attempt_, scroll_, details_, last};
    return journey_screen(scene, width_, height_);
  }
  if (page_ == Page::figures) {
    const auto one = figure();
    return figures_screen(one, aside_ ? &*aside_ : nullptr, last, width_, height_);
  }
  refresh();
  WeaveScene scene;
  scene.run = &picture_.run();
  scene.from = from_;
  scene.span = span_;
  scene.rows = rows_;
  scene.stretch = &stretch_;
  scene.sum.links.resize(picture_.run().links.size());
  for (const auto& row : rows_) scene.sum.add(row.slice);
  scene.until = picture_.until();
  scene.capture = picture_.path().substr(picture_.path().rfind('/') + 1);
  scene.state = state_text();
  scene.filter = picture_.slices().filter().text(picture_.run());
  for (const auto& note : notes_) {
    scene.notes.push_back(note.at);
    if (last.empty() && note.at >= cursor_time() && note.at < cursor_time() + span_) last = "note: " + note.text;
  }
  scene.message = last;
  scene.first_link = first_link_;
  scene.cursor_link = cursor_link_;
  scene.cursor_row = cursor_row_;
  return weave_screen(scene, width_, height_);
}

}  // namespace hopbench
