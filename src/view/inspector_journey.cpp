// Failures and exchanges that are come to, and their journeys.
#include <fmt/format.h>

#include <algorithm>

#include "view/inspector.h"
#include "view/map_words.h"
#include "view/moments.h"
#include "view/number_text.h"

namespace hopbench {

void Inspector::next_failure(bool backwards) {
  refresh();
  const auto place = cursor_place();
  const Nanos column = cursor_time();
  const Nanos here = found_ ? found_->record.fixed.start : backwards ? column : column - 1;
  auto found = picture_.next_failure(here, backwards, place);
  const auto unread = picture_.caught_up() ? "" : " (" + read_text() + ")";
  const auto where = place ? fmt::format(" {} {}", place->kind == MapPlace::Kind::hop ? "on" : "in",
                                         row_words(*cursor_row(), picture_.run()))
                           : std::string();
  if (!found) {
    say(fmt::format("no failure {} this{}{}", backwards ? "before" : "after", where, unread));
    return;
  }
  found_ = std::move(found);
  point_at(*found_);
  begin_journey();
  const auto& fixed = found_->record.fixed;
  if (page_ != Page::map) return;
  say(fmt::format("exchange {} at {}: {}, {}; Enter: journey{}", fixed.number, whole_time(fixed.start, millisecond),
                  name_of(fixed.outcome), counted(found_->record.attempts.size(), "try", "tries"), unread));
}

void Inspector::point_at(const FoundExchange& found) {
  const auto obs = found.seen();
  const auto place = cursor_place();
  const auto& stations = picture_.slices().stations();
  go_to(obs.start);
  if (place && stations.trouble_at(obs, *place)) return;
  for (const auto& row : obs.rows) {
    if (row.damaged_here() && row.link < stations.links()) return go_to_row({MapPlace::Kind::hop, row.link});
  }
  stations.each_trouble(obs, [&](StationTrouble trouble, std::uint16_t station, Nanos) {
    go_to_row({kind_of(trouble), station});
  });
}

void Inspector::open_journey() {
  const Nanos start = cursor_time();
  // What a failure key came to is meant, as long as the cursor is on it.
  bool same = false;
  if (found_) {
    const auto obs = found_->seen();
    same = obs.start < start + span_ && obs.decided >= start;
  }
  if (!same) {
    const auto place = cursor_place();
    found_.reset();
    // In a long column the first failure there is found by its slice.
    const bool any =
        place && cursor_column_ < columns_.size() && troubles_at(columns_[cursor_column_].slice, *place) > 0;
    if (any) found_ = picture_.next_failure(start - 1, false, place);
    if (!found_ || found_->record.fixed.start >= start + span_) found_ = picture_.at(start, start + span_, place);
  }
  if (!found_) {
    say("no exchange here is recorded one by one");
    return;
  }
  page_ = Page::journey;
  begin_journey();
}

/// With the first hop on which something went wrong in sight, or the station that held it.
void Inspector::begin_journey() {
  attempt_.reset();
  scroll_ = details_ = 0;
  then_ = picture_.conditions(found_->record.fixed.start);
  const auto obs = found_->seen();
  const auto& stations = picture_.slices().stations();
  std::optional<std::size_t> where;
  for (const auto& row : obs.rows) {
    if (row.damaged_here() && !where) where = row.link;
  }
  stations.each_trouble(obs, [&](StationTrouble trouble, std::uint16_t station, Nanos) {
    for (std::size_t link = 0; link < stations.links() && !where; ++link) {
      if (kind_of(trouble) == MapPlace::Kind::passing && stations.from(link) == station) where = link;
    }
  });
  const auto drawn = journey_rows(width_, height_);
  const auto links = picture_.run().links.size();
  if (where && *where >= drawn) scroll_ = std::min<std::size_t>(*where - drawn / 2, links - std::min(links, drawn));
}

void Inspector::neighbour(bool backwards) {
  auto found = picture_.neighbour(*found_, backwards);
  if (!found) {
    say(backwards ? "no exchange is recorded before this one" : "no exchange is recorded after this one");
    return;
  }
  found_ = std::move(found);
  go_to(found_->record.fixed.start);
  begin_journey();
}

void Inspector::press_journey(Press press) {
  const auto tries = found_ ? found_->record.attempts.size() : 0;
  const auto links = picture_.run().links.size();
  const auto c = press.key == Key::character ? press.character : U' ';
  if (c == U'h') press.key = Key::left;
  if (c == U'j') press.key = Key::down;
  if (c == U'k') press.key = Key::up;
  if (c == U'l') press.key = Key::right;
  switch (press.key) {
    case Key::up:
      if (scroll_ > 0) --scroll_;
      break;
    case Key::down:
      if (scroll_ + 1 < links) ++scroll_;
      break;
    case Key::left:
      if (attempt_ && *attempt_ == 0) {
        attempt_.reset();
      } else if (attempt_) {
        --*attempt_;
      }
      break;
    case Key::right:
      if (!attempt_ && tries > 1) {
        attempt_ = 0;
      } else if (attempt_ && *attempt_ + 1 < tries) {
        ++*attempt_;
      }
      break;
    case Key::page_up:
      details_ -= std::min<std::size_t>(details_, 8);
      break;
    case Key::page_down: {
      const auto lines = journey_details(journey_scene("")).size();
      details_ = std::min<std::size_t>(details_ + 8, lines - std::min<std::size_t>(lines, 4));
      break;
    }
    case Key::home:
      scroll_ = 0;
      break;
    case Key::end:
      scroll_ = links - std::min(links, journey_rows(width_, height_));
      break;
    case Key::escape:
    case Key::enter:
      page_ = Page::map;
      break;
    default:
      if (c == U'[' || c == U']') neighbour(c == U'[');
      if (c == U'g') prompt(Ask::exchange);
      if (c == U'w') prompt(Ask::write);
      break;
  }
}

}  // namespace hopbench
