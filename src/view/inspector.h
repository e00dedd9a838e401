// The inspector's mind: which keys do what, and which picture is shown. Knows no terminal; paints nothing.
#pragma once

#include <memory>
#include <optional>
#include <string>
#include <vector>

#include "bus/protocol.h"
#include "picture/picture.h"
#include "view/figures.h"
#include "view/journey.h"
#include "view/map.h"
#include "view/notes.h"
#include "view/screen.h"

namespace hopbench {

enum class Key : std::uint8_t {
  left,
  right,
  up,
  down,
  page_up,
  page_down,
  home,
  end,
  enter,
  escape,
  tab,
  backspace,
  character,
  click
};
struct Press {
  Key key = Key::character;
  char32_t character = 0;
  int x = 0;  // of a click
  int y = 0;
};

/// A file to be written for the user.
struct Writing {
  std::string path;
  std::string text;
  bool append = false;
};

class Inspector {
 public:
  /// `protocol`: null if the bus is not known. Both must outlive it. `follow`: the picture goes along with a capture
  /// that grows; else all of it is shown.
  Inspector(Picture& picture, const Protocol* protocol, std::vector<Note> notes, bool follow);

  /// Size of the screen from now on.
  void resize(int width, int height);
  void press(Press press);
  /// The picture has grown.
  void grown();
  [[nodiscard]] Screen compose();

  [[nodiscard]] bool wants_to_quit() const { return quit_; }
  /// The end of the capture is in sight and stays there.
  [[nodiscard]] bool live() const { return live_; }
  /// What is added to the capture is to be read.
  [[nodiscard]] bool follows() const { return follow_; }
  /// What the user asked to have written since the last call.
  std::vector<Writing> writings();
  /// Said in the last line until the next key.
  void say(std::string message) { message_ = std::move(message); }

 private:
  enum class Page : std::uint8_t { map, journey, figures, help };
  enum class Ask : std::uint8_t { nothing, filter, exchange, moment, find, note, write };

  void press_prompt(Press press);
  void press_map(Press press);
  void press_map_letter(char32_t letter);
  void press_journey(Press press);
  void press_figures(Press press);
  void click(Press press);
  void prompt(Ask ask);
  [[nodiscard]] std::string prompt_text() const;
  void answer(const std::string& text);
  void answer_filter(const std::string& text);
  void answer_exchange(const std::string& text);
  void answer_moment(const std::string& text);
  void answer_find(const std::string& text);
  void answer_note(const std::string& text);

  [[nodiscard]] std::size_t columns() const;
  [[nodiscard]] MapLayout layout() const;
  [[nodiscard]] Nanos to() const { return from_ + span_ * static_cast<Nanos>(columns()); }
  [[nodiscard]] Nanos cursor_time() const { return from_ + span_ * static_cast<Nanos>(cursor_column_); }
  [[nodiscard]] const MapRow* cursor_row() const;
  /// The hop or station under the cursor, if anything failed there.
  [[nodiscard]] std::optional<MapPlace> cursor_place() const;
  void choose_first_span();
  void show_all();
  void show_from(Nanos from);
  void go_live();
  void pause();
  void zoom(bool in);
  void move_columns(std::int64_t columns);
  void move_rows(std::int64_t rows);
  void go_to(Nanos at);
  void go_to_row(MapPlace place);
  void keep_rows_in_sight();
  void unfold_here();
  /// On the worst row and its worst column, until somebody has moved.
  void put_cursor_on_worst();
  void next_failure(bool backwards);
  void neighbour(bool backwards);
  void point_at(const FoundExchange& found);
  void open_journey();
  void begin_journey();

  void refresh();
  void refresh_rows();
  MapScene map_scene(std::string last);
  FiguresScene figures_scene(std::string last);
  JourneyScene journey_scene(std::string last);
  /// The days on which the same hours as the cursor's are told of; none of a capture of one day.
  struct DayRange {
    std::int64_t first = 0;
    std::int64_t count = 0;
  };
  [[nodiscard]] DayRange days_told() const;
  [[nodiscard]] std::vector<std::string> other_days() const;
  [[nodiscard]] std::string state_text() const;
  [[nodiscard]] std::string read_text() const;
  [[nodiscard]] std::string check_word() const;
  Writing selection(const std::string& path);

  Picture& picture_;
  const Protocol* protocol_;
  std::vector<Note> notes_;
  bool follow_;
  bool live_;
  bool quit_ = false;
  bool sized_ = false;
  int width_ = 80;
  int height_ = 24;
  Page page_ = Page::map;
  Page before_help_ = Page::map;
  Ask ask_ = Ask::nothing;
  std::u32string typed_;
  std::string message_;
  std::vector<Writing> writings_;

  Nanos from_ = 0;
  Nanos span_ = second;
  std::vector<TimeColumn> columns_;
  bool stale_columns_ = true;
  RunPart whole_;
  RunPart sight_;  // of what is in sight, if the figures are to be of that
  RowWishes wishes_;
  bool figures_in_sight_ = false;
  MapShows shows_ = MapShows::lost;
  std::vector<MapRow> rows_;
  bool stale_rows_ = true;
  bool moved_ = false;  // somebody has moved the cursor
  std::size_t first_row_ = 0;
  std::size_t cursor_row_ = 0;
  std::size_t cursor_column_ = 0;
  std::uint64_t paused_at_ = 0;  // exchanges, and failed tries, when the picture was stopped
  std::uint64_t paused_failed_ = 0;

  std::optional<FoundExchange> found_;
  ConditionsThen then_;  // of found_
  std::optional<std::size_t> attempt_;
  std::size_t scroll_ = 0;
  std::size_t details_ = 0;

  Timed timed_;
  std::optional<Figure> aside_;
  std::optional<Figure> figure_;  // as long as nothing else is asked for
  std::vector<Histogram> over_time_;
};

}  // namespace hopbench
