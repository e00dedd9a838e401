// The inspector's mind: which keys do what, and which picture is shown. Knows no terminal; paints nothing.
#pragma once

#include <memory>
#include <optional>
#include <string>
#include <vector>

#include "bus/protocol.h"
#include "picture/picture.h"
#include "view/figures.h"
#include "view/notes.h"
#include "view/screen.h"
#include "view/weave.h"

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
  character
};
struct Press {
  Key key = Key::character;
  char32_t character = 0;
};

/// A file to be written for the user.
struct Writing {
  std::string path;
  std::string text;
  bool append = false;
};

class Inspector {
 public:
  /// `protocol`: null if the bus is not known. Both must outlive it. `live`: the picture goes along with a capture that
  /// grows.
  Inspector(Picture& picture, const Protocol* protocol, std::vector<Note> notes, bool live);

  /// Size of the screen from now on.
  void resize(int width, int height);
  void press(Press press);
  /// The picture has grown.
  void grown();
  [[nodiscard]] Screen compose();

  [[nodiscard]] bool wants_to_quit() const { return quit_; }
  [[nodiscard]] bool live() const { return live_; }
  /// What the user asked to have written since the last call.
  std::vector<Writing> writings();
  /// Said in the last line until the next key.
  void say(std::string message) { message_ = std::move(message); }

 private:
  enum class Page : std::uint8_t { weave, journey, figures, help };
  enum class Ask : std::uint8_t { nothing, filter, exchange, note, write };

  void press_prompt(Press press);
  void press_weave(Press press);
  void press_journey(Press press);
  void press_figures(Press press);
  void answer(const std::string& text);
  void prompt(Ask ask);

  [[nodiscard]] WeaveLayout layout() const;
  [[nodiscard]] Nanos to() const;
  [[nodiscard]] Nanos cursor_time() const;
  void go_live();
  void show_from(Nanos from);
  void zoom(bool in);
  void move_rows(std::int64_t rows);
  void move_links(std::int64_t links);
  void keep_cursor_in_sight();
  void next_failure(bool backwards);
  void point_at(const FoundExchange& found);
  void open_journey();
  void begin_journey();
  void whole();
  void refresh();
  Figure figure();
  std::string state_text() const;
  Writing selection(const std::string& path);

  Picture& picture_;
  const Protocol* protocol_;
  std::vector<Note> notes_;
  bool live_;
  bool quit_ = false;
  bool sized_ = false;
  int width_ = 80;
  int height_ = 24;
  Page page_ = Page::weave;
  Page before_help_ = Page::weave;
  Ask ask_ = Ask::nothing;
  std::u32string typed_;
  std::string message_;
  std::vector<Writing> writings_;

  Nanos from_ = 0;
  Nanos span_ = second;
  std::size_t first_link_ = 0;
  std::size_t cursor_link_ = 0;
  std::size_t cursor_row_ = 0;
  bool stale_ = true;  // rows_ and stretch_ are not those of the window
  std::vector<RowSlice> rows_;
  RunPart stretch_;

  std::optional<FoundExchange> found_;
  std::optional<std::size_t> attempt_;
  std::size_t scroll_ = 0;
  std::size_t details_ = 0;

  Subject subject_ = Subject::hop;
  std::size_t subject_index_ = 0;
  std::optional<Figure> aside_;
};

}  // namespace hopbench
