// What each key does.
#include <fmt/format.h>

#include <algorithm>

#include "view/inspector.h"
#include "view/moments.h"
#include "view/number_text.h"

namespace hopbench {

void Inspector::press(Press press) {
  if (ask_ != Ask::nothing) {
    press_prompt(press);
    return;
  }
  message_.clear();
  const char32_t c = press.key == Key::character ? press.character : 0;
  if (page_ == Page::help) {
    page_ = before_help_;
    return;
  }
  if (c == U'?') {
    before_help_ = page_;
    page_ = Page::help;
    return;
  }
  if (c == U'q') {
    if (page_ == Page::map) quit_ = true;
    page_ = Page::map;
    return;
  }
  if ((c == U'n' || c == U'N') && page_ != Page::figures) {
    next_failure(c == U'N');
    return;
  }
  switch (page_) {
    case Page::map:
      press_map(press);
      break;
    case Page::journey:
      press_journey(press);
      break;
    case Page::figures:
      press_figures(press);
      break;
    case Page::help:
      break;
  }
}

void Inspector::press_map(Press press) {
  refresh();
  const auto before = std::pair(cursor_row_, cursor_time());
  const auto page = static_cast<std::int64_t>(std::max<std::size_t>(1, layout().rows));
  switch (press.key) {
    case Key::left:
      move_columns(-1);
      break;
    case Key::right:
      move_columns(1);
      break;
    case Key::up:
      move_rows(-1);
      break;
    case Key::down:
      move_rows(1);
      break;
    case Key::page_up:
      move_rows(-page);
      break;
    case Key::page_down:
      move_rows(page);
      break;
    case Key::home:
      go_to(picture_.from());
      found_.reset();
      break;
    case Key::end:
      go_to(picture_.until() - 1);
      found_.reset();
      break;
    case Key::enter:
      if (cursor_row() != nullptr && cursor_row()->is_fold()) {
        unfold_here();
      } else {
        open_journey();
        return;
      }
      break;
    case Key::click:
      click(press);
      return;
    case Key::character:
      press_map_letter(press.character);
      break;
    default:
      break;
  }
  if (before != std::pair(cursor_row_, cursor_time())) found_.reset();
}

void Inspector::press_map_letter(char32_t letter) {
  const auto screen = static_cast<std::int64_t>(columns());
  switch (letter) {
    case U'h':
      return move_columns(-1);
    case U'l':
      return move_columns(1);
    case U'k':
      return move_rows(-1);
    case U'j':
      return move_rows(1);
    case U'H':
      return move_columns(-screen);
    case U'L':
      return move_columns(screen);
    case U'd':
      return go_to(cursor_time() - one_day);
    case U'D':
      return go_to(cursor_time() + one_day);
    case U'+':
    case U'=':
      return zoom(true);
    case U'-':
      return zoom(false);
    case U'o':
      pause();
      return show_all();
    case U' ':
      if (live_) {
        pause();
      } else if (picture_.ended()) {
        go_to(picture_.until() - 1);
        say("the capture is complete: no more will come");
      } else {
        follow_ = true;
        go_live();
      }
      return;
    case U's':
      wishes_.sort = next_of(wishes_.sort);
      stale_rows_ = true;
      refresh_rows();
      cursor_row_ = first_row_ = 0;
      say(name_of(wishes_.sort));
      return;
    case U'z':
      wishes_.fold = !wishes_.fold || !wishes_.open.empty();
      wishes_.open.clear();
      stale_rows_ = true;
      say(wishes_.fold ? "hops without loss are folded" : "every hop has a row");
      return;
    case U'i':
      figures_in_sight_ = !figures_in_sight_;
      stale_rows_ = true;
      say(figures_in_sight_ ? "figures of the time in sight" : "figures of the whole capture");
      return;
    case U'1':
    case U'2':
      shows_ = letter == U'1' ? MapShows::lost : MapShows::checks;
      return;
    case U'v': {
      page_ = Page::figures;
      figure_.reset();
      const auto* row = cursor_row();
      timed_ = {Subject::hop, 0};
      if (row != nullptr) timed_.index = row->place.index;
      if (row != nullptr && row->place.kind != MapPlace::Kind::hop) {
        timed_.subject = row->place.kind == MapPlace::Kind::passing ? Subject::stay : Subject::node;
      }
      return;
    }
    case U'f':
      return prompt(Ask::filter);
    case U'g':
      return prompt(Ask::exchange);
    case U't':
      return prompt(Ask::moment);
    case U'/':
      return prompt(Ask::find);
    case U'm':
      return prompt(Ask::note);
    case U'w':
      return prompt(Ask::write);
    default:
      return;
  }
}

void Inspector::click(Press press) {
  const auto spot = spot_at(layout(), first_row_, rows_.size(), press.x, press.y);
  if (!spot) return;
  const bool again = spot->row == cursor_row_ && (!spot->column || *spot->column == cursor_column_);
  if (again) {
    press_map({Key::enter, 0});
    return;
  }
  pause();
  cursor_row_ = spot->row;
  if (spot->column) cursor_column_ = std::min(*spot->column, columns() - 1);
  found_.reset();
}

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

/// With the first hop on which something went wrong in sight.
void Inspector::begin_journey() {
  attempt_.reset();
  scroll_ = details_ = 0;
  then_ = picture_.conditions(found_->record.fixed.start);
  const auto obs = found_->seen();
  const auto drawn = journey_rows(width_, height_);
  const auto links = picture_.run().links.size();
  for (const auto& row : obs.rows) {
    if (!row.damaged_here()) continue;
    if (row.link >= drawn) scroll_ = std::min<std::size_t>(row.link - drawn / 2, links - std::min(links, drawn));
    return;
  }
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

void Inspector::press_figures(Press press) {
  const auto& run = picture_.run();
  const auto count = timed_.subject == Subject::hop     ? run.links.size()
                     : timed_.subject == Subject::topic ? picture_.slices().topics().size()
                                                        : run.nodes.size();
  const auto c = press.key == Key::character ? press.character : U' ';
  const auto before = std::pair(timed_.subject, timed_.index);
  if (c == U'h') press.key = Key::left;
  if (c == U'l') press.key = Key::right;
  switch (press.key) {
    case Key::left:
      if (timed_.index > 0) --timed_.index;
      break;
    case Key::right:
      if (timed_.index + 1 < count) ++timed_.index;
      break;
    case Key::tab: {
      // A hop, the station at its end, round trips with that.
      const auto& stations = picture_.slices().stations();
      const bool of_hop = timed_.subject == Subject::hop && timed_.index < stations.links();
      if (of_hop)
        timed_.index = std::min<std::size_t>(stations.to(timed_.index), run.nodes.empty() ? 0 : run.nodes.size() - 1);
      if (timed_.subject == Subject::node || timed_.subject == Subject::topic) timed_.index = 0;
      timed_.subject =
          timed_.subject == Subject::topic ? Subject::hop : static_cast<Subject>(static_cast<int>(timed_.subject) + 1);
      break;
    }
    case Key::escape:
    case Key::enter:
      page_ = Page::map;
      break;
    default:
      if (c == U'=') {
        (void)figures_scene("");
        aside_ = figure_;
        say("put aside: choose another one, or go back and choose another stretch of time; 0 forgets it");
      }
      if (c == U'0') aside_.reset();
      if (c == U'w') prompt(Ask::write);
      break;
  }
  if (before != std::pair(timed_.subject, timed_.index)) figure_.reset();
}

}  // namespace hopbench
