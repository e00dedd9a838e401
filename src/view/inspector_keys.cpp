// What each key does.
#include <algorithm>

#include "view/inspector.h"

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
