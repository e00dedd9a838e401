// What is asked for in the last line.
#include <fmt/format.h>

#include <algorithm>
#include <charconv>

#include "view/inspector.h"
#include "view/moments.h"
#include "view/number_text.h"

namespace hopbench {

void Inspector::prompt(Ask ask) {
  ask_ = ask;
  typed_.clear();
}

std::string Inspector::prompt_text() const {
  std::string what;
  switch (ask_) {
    case Ask::filter:
      what = "show only (hop 5, node a7, ...; empty: all): ";
      break;
    case Ask::exchange:
      what = "exchange number: ";
      break;
    case Ask::moment:
      what = "go to (2d 13:00, 13:00:05, 90min): ";
      break;
    case Ask::find:
      what = "find hop or node: ";
      break;
    case Ask::note:
      what = "note: ";
      break;
    case Ask::write:
      what = "write to file (.json or text): ";
      break;
    case Ask::nothing:
      break;
  }
  // The end of what is typed is what counts.
  const auto room = static_cast<std::size_t>(std::max(1, width_)) - std::min<std::size_t>(what.size() + 2, 60);
  auto typed = typed_;
  if (typed.size() > room) typed = U'~' + typed.substr(typed.size() - room + 1);
  return what + utf8(typed) + "_";
}

void Inspector::press_prompt(Press press) {
  switch (press.key) {
    case Key::escape:
      ask_ = Ask::nothing;
      break;
    case Key::backspace:
      if (!typed_.empty()) typed_.pop_back();
      break;
    case Key::enter:
      message_.clear();
      answer(utf8(typed_));
      ask_ = Ask::nothing;
      break;
    case Key::character:
      if (press.character >= 0x20 && press.character != 0x7f && typed_.size() < 500) typed_ += press.character;
      break;
    default:
      break;
  }
}

void Inspector::answer(const std::string& text) {
  switch (ask_) {
    case Ask::filter:
      return answer_filter(text);
    case Ask::exchange:
      return answer_exchange(text);
    case Ask::moment:
      return answer_moment(text);
    case Ask::find:
      return answer_find(text);
    case Ask::note:
      return answer_note(text);
    case Ask::write:
      if (!text.empty()) writings_.push_back(selection(text));
      return;
    case Ask::nothing:
      return;
  }
}

void Inspector::answer_filter(const std::string& text) {
  std::string why;
  auto filter = Filter::parse(text, picture_.run(), why);
  if (!filter) {
    say(why);
    return;
  }
  picture_.show(std::move(*filter));
  found_.reset();
  figure_.reset();
  aside_.reset();
  stale_columns_ = stale_rows_ = true;
}

void Inspector::answer_exchange(const std::string& text) {
  std::uint64_t number = 0;
  const auto [end, error] = std::from_chars(text.data(), text.data() + text.size(), number);
  if (error != std::errc() || end != text.data() + text.size()) {
    say("an exchange number is wanted, such as 42924");
    return;
  }
  auto found = picture_.numbered(number);
  if (!found) {
    say(fmt::format("exchange {} is not recorded one by one, or there is none", number));
    return;
  }
  found_ = std::move(found);
  point_at(*found_);
  begin_journey();
  if (page_ == Page::map) say(fmt::format("exchange {}; Enter: journey", number));
}

void Inspector::answer_moment(const std::string& text) {
  if (text.empty()) return;
  const auto at = parse_moment(text, cursor_time());
  if (!at) {
    say("a time is wanted, such as 2d 13:00, 13:00:05 or 90min");
    return;
  }
  found_.reset();
  go_to(*at);
  if (*at < picture_.from() || *at > picture_.until()) {
    say("the capture is from " + stretch_text(picture_.from(), picture_.until(), second));
  }
}

void Inspector::answer_find(const std::string& text) {
  if (text.empty()) return;
  const auto& run = picture_.run();
  const auto& stations = picture_.slices().stations();
  found_.reset();
  std::string wanted = text;
  for (const char* word : {"hop ", "into ", "in ", "to ", "node "}) {
    if (wanted.starts_with(word)) wanted = wanted.substr(std::string_view(word).size());
  }
  const auto hop_to = [&](const std::string& name) {
    for (std::uint16_t link = 0; link < stations.links(); ++link) {
      if (run.links[link].to == name) return go_to_row({MapPlace::Kind::hop, link});
    }
  };
  for (std::uint16_t link = 0; link < stations.links(); ++link) {
    const auto number = std::to_string(run.links[link].hop) + (run.links[link].homeward ? "<" : "");
    if (number == wanted) return go_to_row({MapPlace::Kind::hop, link});
  }
  if (std::find(run.nodes.begin(), run.nodes.end(), wanted) != run.nodes.end()) return hop_to(wanted);
  std::vector<std::string> alike;
  for (const auto& name : run.nodes) {
    if (name.find(wanted) != std::string::npos) alike.push_back(name);
  }
  if (alike.empty()) {
    say(fmt::format("no hop or node is called {}", wanted));
    return;
  }
  hop_to(alike.front());
  if (alike.size() > 1) say(fmt::format("{} of {} nodes with {}", alike.front(), alike.size(), wanted));
}

void Inspector::answer_note(const std::string& text) {
  if (text.empty()) return;
  const bool on_found =
      found_ && found_->record.fixed.start >= cursor_time() && found_->record.fixed.start < cursor_time() + span_;
  const Note note{on_found ? found_->record.fixed.start : cursor_time(), text};
  notes_.push_back(note);
  writings_.push_back({notes_path(picture_.path()), note_line(note), true});
}

}  // namespace hopbench
