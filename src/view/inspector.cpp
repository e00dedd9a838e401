#include "view/inspector.h"

#include <fmt/format.h>

#include <algorithm>
#include <boost/json/array.hpp>
#include <boost/json/object.hpp>
#include <charconv>
#include <sstream>

#include "view/journey.h"
#include "view/json_text.h"
#include "view/number_text.h"

namespace hopbench {
namespace {

constexpr Nanos finest = millisecond;
constexpr Nanos coarsest = 64 * 86'400 * second;
constexpr std::size_t exchanges_a_row = 4;  // at first

const char* const help_lines[] = {
    "The chain is drawn across, hop by hop, from the controller and back to it; time runs down.",
    "A letter is the worst that was seen of frames on that hop in that row of time:",
    "  X heard well by a station that put nothing on the next hop    N not one character heard",
    "  O overrun   R longer than a buffer   S ended early   L went on too long",
    "  F framing error   P parity error   C check failed   (small letter: under a tenth of the frames)",
    "A streak down is a bad hop; a band across is a bad moment. Beside it: the worst outcome in the row",
    "(n no answer, l late, g garbled, m mismatched, r refused, s stale, w wrong), and what of it is not known",
    "(+ sums only, n one in n kept, ! records left out), the most cells balancing, charge current, board.",
    "",
    "arrows or h j k l  move         + -  shorter or longer rows     page up, page down, Home, End  go far",
    "space  go along with the end, or hold still        o  the whole capture     v  figures     q  quit",
    "n N  next, previous failure     Enter  journey of the exchange at the cursor    g  exchange by number",
    "f  show only some: hop 5, node a7, topic readings, outcome late, symptom check, failed; together too",
    "m  mark this spot with a note (kept beside the capture)     w  write what is shown to a file (.json or text)",
};

std::string in_utf8(const std::u32string& text) {
  std::string out;
  for (const char32_t glyph : text) out += utf8(glyph);
  return out;
}

}  // namespace

std::string notes_path(const std::string& capture) { return capture + ".notes"; }

std::string note_line(const Note& note) { return fmt::format("{}\t{}\n", note.at, harmless(note.text)); }

std::vector<Note> read_notes(const std::string& text) {
  std::vector<Note> notes;
  std::istringstream lines(text);
  for (std::string line; notes.size() < 100'000 && std::getline(lines, line);) {
    Note note;
    const auto [end, error] = std::from_chars(line.data(), line.data() + line.size(), note.at);
    if (error != std::errc() || end == line.data() + line.size() || *end != '\t') continue;
    note.text = line.substr(static_cast<std::size_t>(end - line.data()) + 1);
    notes.push_back(std::move(note));
  }
  return notes;
}

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
  cursor_row_ = static_cast<std::size_t>(
      std::clamp<std::int64_t>(slot_of(picture_.until(), span_) - slot_of(from_, span_), 0, rows - 1));
  stale_ = true;
}

void Inspector::point_at(const Found& found) {
  live_ = false;
  const auto obs = found.seen();
  Nanos when = obs.start;
  for (const auto& row : obs.rows) {
    if (row.symptom == Symptom::none || row.inherited) continue;
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
    say(fmt::format("exchange {} at {}: {}, {} tries; Enter shows its journey", fixed.number,
                    row_time(fixed.start, millisecond), name, found_->record.attempts.size()));
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
    if (row.symptom == Symptom::none || row.inherited) continue;
    const auto links = picture_.run().links.size();
    if (row.link >= drawn) scroll_ = std::min<std::size_t>(row.link - drawn / 2, links - std::min(links, drawn));
    return;
  }
}

void Inspector::prompt(Ask ask, std::string text) {
  ask_ = ask;
  typed_ = code_points(text);
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
          move_links(-1);
          break;
        case U'l':
          move_links(1);
          break;
        case U'k':
          move_rows(-1);
          break;
        case U'j':
          move_rows(1);
          break;
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
          prompt(Ask::filter, picture_.slices().filter().text(picture_.run()));
          break;
        case U'g':
          prompt(Ask::exchange, "");
          break;
        case U'm':
          prompt(Ask::note, "");
          break;
        case U'w':
          prompt(Ask::write, "");
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
      if (press.character == U'w') prompt(Ask::write, "");
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
      const std::string text = in_utf8(typed_);
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
      const Note note{cursor_time(), text};
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

Writing Inspector::selection(const std::string& path) {
  const bool as_json = path.ends_with(".json");
  if (page_ == Page::journey && found_) {
    JourneyScene scene{&picture_.run(), protocol_, &*found_, attempt_, 0, 0, ""};
    std::string text;
    boost::json::array lines;
    for (const auto& line : journey_details(scene)) {
      text += line + "\n";
      lines.emplace_back(line);
    }
    if (!as_json) return {path, text, false};
    boost::json::object document;
    document["schema"] = "hopbench.journey/1";
    document["exchange"] = found_->record.fixed.number;
    document["lines"] = std::move(lines);
    boost::json::array rows;
    for (const auto& row : found_->record.rows) {
      boost::json::object object;
      object["hop"] = row.link < picture_.run().links.size() ? picture_.run().links[row.link].hop : 0;
      object["try"] = row.attempt + 1;
      object["answering"] = row.answering;
      object["start_ns"] = row.start;
      object["end_ns"] = row.end;
      object["symptom"] = name_of(row.symptom);
      object["came_damaged"] = row.inherited;
      rows.push_back(std::move(object));
    }
    document["frames"] = std::move(rows);
    return {path, json_text(document), false};
  }
  if (!as_json) return {path, compose().text(false), false};
  refresh();
  boost::json::object document;
  document["schema"] = "hopbench.weave/1";
  document["scenario"] = picture_.run().scenario;
  document["filter"] = picture_.slices().filter().text(picture_.run());
  boost::json::array rows;
  for (std::size_t i = 0; i < rows_.size(); ++i) {
    const auto& slice = rows_[i].slice;
    boost::json::object object;
    object["from_ns"] = from_ + span_ * static_cast<Nanos>(i);
    object["read"] = rows_[i].read;
    object["exchanges"] = slice.exchanges;
    object["tries"] = slice.tries;
    object["failed"] = slice.failed_tries;
    boost::json::array links;
    for (const auto& cell : slice.links) {
      boost::json::object link;
      link["frames"] = cell.frames;
      link["bad"] = cell.bad;
      link["seen"] = mark_words(cell.marks);
      links.push_back(std::move(link));
    }
    object["hops"] = std::move(links);
    rows.push_back(std::move(object));
  }
  document["rows_of_ns"] = span_;
  document["rows"] = std::move(rows);
  return {path, json_text(document), false};
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
  return figure_of(picture_.run(), stretch_, subject_, subject_index_, from_, to());
}

std::string Inspector::state_text() const {
  std::string text = live_ ? "live" : "held";
  if (!picture_.caught_up()) {
    const auto read = picture_.read_until().value_or(picture_.from());
    const double all = static_cast<double>(picture_.until() - picture_.from());
    const double share = all <= 0 ? 1 : static_cast<double>(read - picture_.from()) / all;
    text += fmt::format(", {:.0f} % read", 100 * std::clamp(share, 0.0, 1.0));
  } else if (picture_.ended()) {
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
    last = what + in_utf8(typed_) + "_";
  }
  if (page_ == Page::help) {
    Screen screen(width_, height_);
    screen.put(0, 0, "How to read this, and its keys", Ink::heading);
    int y = 2;
    for (const char* line : help_lines) {
      // Long lines go on below.
      std::string rest = line;
      while (true) {
        const auto room = static_cast<std::size_t>(width_);
        std::size_t cut = rest.size() <= room ? rest.size() : rest.rfind(' ', room);
        if (cut == std::string::npos || cut == 0) cut = std::min(room, rest.size());
        screen.put(0, y++, rest.substr(0, cut));
        if (cut >= rest.size()) break;
        rest = "    " + rest.substr(cut + 1);
      }
    }
    screen.put(0, height_ - 1, "any key goes back", Ink::dim);
    return screen;
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
  scene.stretch = stretch_;
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
