#include "view/painter.h"

#define NCURSES_NOMACROS 1
#include <curses.h>
#include <langinfo.h>
#include <term.h>
#include <unistd.h>
#include <clocale>
#include <cstdio>
#include <cwchar>
#include <string_view>
#undef lines
#undef columns
#undef tab

namespace hopbench {

struct Painter::Terminal {
  SCREEN* screen = nullptr;
  bool ascii = false;
  bool colour = false;
  bool resized = false;
};

namespace {

/// Colours that people who see red and green alike can tell apart; letters say the same.
constexpr short pair_wire = 1;
constexpr short pair_timing = 2;
constexpr short pair_dead = 3;
constexpr short pair_heading = 4;

attr_t attributes(Ink ink, bool colour, short& pair) {
  pair = 0;
  switch (ink) {
    case Ink::plain:
      return A_NORMAL;
    case Ink::dim:
    case Ink::unseen:
      return A_DIM;
    case Ink::strong:
      return A_BOLD;
    case Ink::heading:
      pair = colour ? pair_heading : short{0};
      return A_BOLD;
    case Ink::wire:
      pair = colour ? pair_wire : short{0};
      return colour ? A_NORMAL : A_BOLD;
    case Ink::timing:
      pair = colour ? pair_timing : short{0};
      return colour ? A_NORMAL : A_UNDERLINE;
    case Ink::dead:
      pair = colour ? pair_dead : short{0};
      return A_BOLD;
  }
  return A_NORMAL;
}

/// A click with the first button; the wheel as keys.
std::optional<Press> press_of_mouse() {
  MEVENT event;
  if (::getmouse(&event) != OK) return std::nullopt;
  if ((event.bstate & (BUTTON1_PRESSED | BUTTON1_CLICKED)) != 0) return Press{Key::click, 0, event.x, event.y};
  if ((event.bstate & BUTTON4_PRESSED) != 0) return Press{Key::up, 0};
  if ((event.bstate & BUTTON5_PRESSED) != 0) return Press{Key::down, 0};
  return std::nullopt;
}

std::optional<Press> press_of(int kind, wint_t key) {
  if (kind == KEY_CODE_YES) {
    switch (key) {
      case KEY_LEFT:
        return Press{Key::left, 0};
      case KEY_RIGHT:
        return Press{Key::right, 0};
      case KEY_UP:
        return Press{Key::up, 0};
      case KEY_DOWN:
        return Press{Key::down, 0};
      case KEY_PPAGE:
        return Press{Key::page_up, 0};
      case KEY_NPAGE:
        return Press{Key::page_down, 0};
      case KEY_HOME:
        return Press{Key::home, 0};
      case KEY_END:
        return Press{Key::end, 0};
      case KEY_ENTER:
        return Press{Key::enter, 0};
      case KEY_MOUSE:
        return press_of_mouse();
      case KEY_BACKSPACE:
        return Press{Key::backspace, 0};
      default:
        return std::nullopt;
    }
  }
  switch (key) {
    case L'\n':
    case L'\r':
      return Press{Key::enter, 0};
    case L'\t':
      return Press{Key::tab, 0};
    case 0x1b:
      return Press{Key::escape, 0};
    case 0x08:
    case 0x7f:
      return Press{Key::backspace, 0};
    default:
      return Press{Key::character, static_cast<char32_t>(key)};
  }
}

}  // namespace

std::unique_ptr<Painter> Painter::open(const Wishes& wishes, std::string& why) {
  if (::isatty(STDIN_FILENO) != 1 || ::isatty(STDOUT_FILENO) != 1) {
    why = "a terminal is needed";
    return nullptr;
  }
  std::setlocale(LC_CTYPE, "");
  int error = 0;
  if (::setupterm(nullptr, STDOUT_FILENO, &error) != OK || ::tigetstr("cup") == nullptr ||
      ::tigetstr("cup") == reinterpret_cast<char*>(-1)) {  // NOLINT(performance-no-int-to-ptr): its own way to say no
    why = "this terminal cannot place text (TERM)";
    return nullptr;
  }
  auto terminal = std::make_unique<Terminal>();
  terminal->screen = ::newterm(nullptr, stdout, stdin);
  if (terminal->screen == nullptr) {
    why = "this terminal cannot be used (TERM)";
    return nullptr;
  }
  std::unique_ptr<Painter> painter(new Painter());
  painter->terminal_ = std::move(terminal);
  ::cbreak();
  ::noecho();
  ::nonl();
  ::keypad(::stdscr, TRUE);
  ::set_escdelay(25);
  ::curs_set(0);
  ::mousemask(BUTTON1_PRESSED | BUTTON1_CLICKED | BUTTON4_PRESSED | BUTTON5_PRESSED, nullptr);
  ::mouseinterval(0);
  painter->terminal_->ascii = wishes.ascii || std::string_view(::nl_langinfo(CODESET)) != "UTF-8";
  painter->terminal_->colour = wishes.colour && ::has_colors() && ::start_color() == OK;
  if (painter->terminal_->colour) {
    ::use_default_colors();
    ::init_pair(pair_wire, COLOR_YELLOW, -1);
    ::init_pair(pair_timing, COLOR_CYAN, -1);
    ::init_pair(pair_dead, COLOR_MAGENTA, -1);
    ::init_pair(pair_heading, COLOR_BLUE, -1);
  }
  return painter;
}

Painter::~Painter() {
  if (!terminal_) return;
  ::endwin();
  ::delscreen(terminal_->screen);
}

int Painter::width() const { return ::getmaxx(::stdscr); }
int Painter::height() const { return ::getmaxy(::stdscr); }

bool Painter::resized() { return std::exchange(terminal_->resized, false); }

std::optional<Press> Painter::key(int wait_ms) {
  ::wtimeout(::stdscr, wait_ms);
  wint_t key = 0;
  const int kind = ::wget_wch(::stdscr, &key);
  if (kind == ERR) return std::nullopt;
  if (kind == KEY_CODE_YES && key == KEY_RESIZE) {
    terminal_->resized = true;
    return std::nullopt;
  }
  return press_of(kind, key);
}

void Painter::paint(const Screen& screen) {
  ::werase(::stdscr);
  const int rows = std::min(screen.height(), height());
  const int columns = std::min(screen.width(), width());
  for (int y = 0; y < rows; ++y) {
    for (int x = 0; x < columns; ++x) {
      const auto& shown = screen.at(x, y);
      short pair = 0;
      attr_t attribute = attributes(shown.ink, terminal_->colour, pair);
      if (shown.reversed) attribute |= A_REVERSE;
      wchar_t text[2] = {static_cast<wchar_t>(shown.glyph), 0};
      // What takes more or less than one place would move all that comes after it.
      if (terminal_->ascii) {
        text[0] = static_cast<wchar_t>(to_ascii(shown.glyph));
      } else if (::wcwidth(text[0]) != 1) {
        text[0] = L'?';
      }
      cchar_t cell;
      if (::setcchar(&cell, text, attribute, pair, nullptr) == OK) ::mvwadd_wch(::stdscr, y, x, &cell);
    }
  }
  ::wrefresh(::stdscr);
}

}  // namespace hopbench
