// What each key does.
#include <fmt/format.h>

#include <algorithm>
#include <charconv>

#include "view/inspector.h"
#include "view/journey.h"
#include "view/number_text.h"

namespace hopbench {

void Inspector::prompt(Ask ask) {
  ask_ = ask;
  typed_.clear();
}

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
    if (page_ == Page::weave) quit_ = true;
    page_ = Page::weave;
    return;
  }
  if (c == U'n' || c == U'N') {
    if (page_ != Page::figures) next_failure(c == U'N');
    return;
  }
  switch (page_) {
    case Page::weave:
      press_weave(press);
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

void Inspector::press_weave(Press press) {
  const auto page = static_cast<std::int64_t>(std::max<std::size_t>(1, layout().rows));
  const auto before = std::pair(cursor_link_, cursor_time());
  switch (press.key) {
    case Key::left:
      move_links(-1);
      break;
    case Key::right:
      move_links(1);
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
      live_ = false;
      show_from(picture_.from());
      cursor_row_ = 0;
      break;
    case Key::end:
      go_live();
      cursor_row_ = static_cast<std::size_t>(page - 1);
      break;
    case Key::enter:
      open_journey();
      return;
    case Key::character:
      switch (press.character) {
        case U'h':
          return press_weave({Key::left, 0});
        case U'l':
          return press_weave({Key::right, 0});
        case U'k':
          return press_weave({Key::up, 0});
        case U'j':
          return press_weave({Key::down, 0});
        case U'+':
        case U'=':
          zoom(true);
          break;
        case U'-':
          zoom(false);
          break;
        case U' ':
          live_ = !live_;
          if (live_) go_live();
          break;
        case U'o':
          whole();
          break;
        case U'v':
          page_ = Page::figures;
          subject_ = Subject::hop;
          subject_index_ = cursor_link_;
          break;
        case U'f':
          prompt(Ask::filter);
          break;
        case U'g':
          prompt(Ask::exchange);
          break;
        case U'm':
          prompt(Ask::note);
          break;
        case U'w':
          prompt(Ask::write);
          break;
        default:
          break;
      }
      break;
    default:
      break;
  }
  if (before != std::pair(cursor_link_, cursor_time())) found_.reset();
}

void Inspector::press_journey(Press press) {
  const auto tries = found_ ? found_->record.attempts.size() : 0;
  switch (press.key) {
    case Key::up:
      if (scroll_ > 0) --scroll_;
      break;
    case Key::down:
      if (scroll_ + 1 < picture_.run().links.size()) ++scroll_;
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
    case Key::page_down:
      details_ = std::min<std::size_t>(details_ + 8, 200);
      break;
    case Key::escape:
    case Key::enter:
      page_ = Page::weave;
      break;
    case Key::character:
      if (press.character == U'w') prompt(Ask::write);
      break;
    default:
      break;
  }
}

void Inspector::press_figures(Press press) {
  const auto& run = picture_.run();
  const auto count = subject_ == Subject::hop    ? run.links.size()
                     : subject_ == Subject::node ? run.nodes.size()
                                                 : picture_.slices().topics().size();
  switch (press.key) {
    case Key::left:
      if (subject_index_ > 0) --subject_index_;
      break;
    case Key::right:
      if (subject_index_ + 1 < count) ++subject_index_;
      break;
    case Key::tab:
      subject_ = subject_ == Subject::hop ? Subject::node : subject_ == Subject::node ? Subject::topic : Subject::hop;
      subject_index_ = subject_ == Subject::hop ? cursor_link_ : 0;
      break;
    case Key::escape:
    case Key::enter:
      page_ = Page::weave;
      break;
    case Key::character:
      if (press.character == U'=') {
        aside_ = figure();
        say("put aside: choose another one, or go back and choose another stretch of time");
      }
      if (press.character == U'0') aside_.reset();
      break;
    default:
      break;
  }
}

void Inspector::press_prompt(Press press) {
  switch (press.key) {
    case Key::escape:
      ask_ = Ask::nothing;
      break;
    case Key::backspace:
      if (!typed_.empty()) typed_.pop_back();
      break;
    case Key::enter: {
      const std::string text = utf8(typed_);
      answer(text);
      ask_ = Ask::nothing;
      break;
    }
    case Key::character:
      if (press.character >= 0x20 && press.character != 0x7f && typed_.size() < 500) typed_ += press.character;
      break;
    default:
      break;
  }
}

void Inspector::answer(const std::string& text) {
  message_.clear();
  switch (ask_) {
    case Ask::filter: {
      std::string why;
      auto filter = Filter::parse(text, picture_.run(), why);
      if (!filter) {
        say(why);
        return;
      }
      picture_.show(std::move(*filter));
      found_.reset();
      stale_ = true;
      break;
    }
    case Ask::exchange: {
      std::uint64_t number = 0;
      const auto [end, error] = std::from_chars(text.data(), text.data() + text.size(), number);
      if (error != std::errc() || end != text.data() + text.size()) {
        say("a number is wanted");
        return;
      }
      auto found = picture_.numbered(number);
      if (!found) {
        say(fmt::format("exchange {} is not recorded one by one, or there is none", number));
        return;
      }
      found_ = std::move(found);
      point_at(*found_);
      say(fmt::format("exchange {}; Enter shows its journey", number));
      break;
    }
    case Ask::note: {
      if (text.empty()) return;
      const bool on_found =
          found_ && found_->record.fixed.start >= cursor_time() && found_->record.fixed.start < cursor_time() + span_;
      const Note note{on_found ? found_->record.fixed.start : cursor_time(), text};
      notes_.push_back(note);
      writings_.push_back({notes_path(picture_.path()), note_line(note), true});
      break;
    }
    case Ask::write:
      if (!text.empty()) writings_.push_back(selection(text));
      break;
    case Ask::nothing:
      break;
  }
}

}  // namespace hopbench
