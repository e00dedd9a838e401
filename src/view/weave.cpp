#include "view/weave.h"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "seen/reality.h"
#include "view/number_text.h"

namespace hopbench {
namespace {

constexpr int label_width = 11;
constexpr int margin_width = 17;
constexpr int widest_column = 8;

struct Mark {
  std::uint16_t bit;
  char letter;
  Ink ink;
  const char* words;
};

/// Worst first.
constexpr Mark marks[] = {
    {mark_not_passed_on, 'X', Ink::dead, "not passed on"},
    {mark_of(Symptom::nothing), 'N', Ink::dead, "nothing heard"},
    {mark_of(Symptom::overrun), 'O', Ink::timing, "overrun"},
    {mark_of(Symptom::no_room), 'R', Ink::timing, "no room"},
    {mark_of(Symptom::too_short), 'S', Ink::dead, "too short"},
    {mark_of(Symptom::too_long), 'L', Ink::dead, "too long"},
    {mark_of(Symptom::framing), 'F', Ink::wire, "framing error"},
    {mark_of(Symptom::parity), 'P', Ink::wire, "parity error"},
    {mark_of(Symptom::check), 'C', Ink::wire, "check failed"},
    {mark_unknown, '?', Ink::dead, "unknown symptom"},
};

struct OutcomeMark {
  std::size_t place;  // place_of() the outcome
  char letter;
  Ink ink;
};
constexpr OutcomeMark outcome_marks[] = {
    {place_of(Outcome::lost), 'n', Ink::dead},      {outcome_count, '?', Ink::dead},
    {place_of(Outcome::wrong), 'w', Ink::dead},     {place_of(Outcome::mismatched), 'm', Ink::dead},
    {place_of(Outcome::stale), 's', Ink::timing},   {place_of(Outcome::late), 'l', Ink::timing},
    {place_of(Outcome::garbled), 'g', Ink::wire},   {place_of(Outcome::truncated), 't', Ink::timing},
    {place_of(Outcome::refused), 'r', Ink::timing}, {place_of(Outcome::bad_ask), 'b', Ink::dim},
};

char small(char letter) { return letter >= 'A' && letter <= 'Z' ? static_cast<char>(letter - 'A' + 'a') : letter; }

/// A number with room for `places`; one that needs more says so, instead of running into its neighbour.
std::string narrow(std::string text, std::size_t places) {
  return text.size() <= places ? std::move(text) : std::string(places, '*');
}

int x_of(const WeaveLayout& layout, std::size_t shown) { return label_width + layout.column * static_cast<int>(shown); }

/// The node at a link's far end; none: the controller.
std::optional<std::size_t> node_after(const RunInfo& run, std::size_t link) {
  const auto found = std::find(run.nodes.begin(), run.nodes.end(), run.links[link].to);
  if (found == run.nodes.end()) return std::nullopt;
  return static_cast<std::size_t>(found - run.nodes.begin());
}

void put_value(Screen& screen, const WeaveLayout& layout, std::size_t shown, int y, const std::string& text, Ink ink) {
  screen.put_right(x_of(layout, shown) + layout.column - 1, y, text, ink);
}

void put_strip(Screen& screen, const WeaveScene& scene, const WeaveLayout& layout, int y) {
  const auto links = scene.run->links.size();
  const int width = screen.width() - label_width - 2;
  screen.put(0, y, "chain", Ink::dim);
  screen.put(label_width - 1, y, U'▕', Ink::dim);
  for (int x = 0; x < width; ++x) {
    const auto low = static_cast<std::size_t>(x) * links / static_cast<std::size_t>(width);
    const auto high = std::max(low + 1, static_cast<std::size_t>(x + 1) * links / static_cast<std::size_t>(width));
    std::uint64_t trouble = 0;
    bool unseen = true;
    bool shown = false;
    for (std::size_t i = low; i < std::min(high, links); ++i) {
      trouble += scene.sum.links[i].bad + std::uint64_t{scene.sum.links[i].never_came};
      unseen = unseen && scene.run->links[i].vantage == Vantage::unseen;
      shown = shown || (i >= scene.first_link && i < scene.first_link + layout.hops);
    }
    const char32_t calm = shown ? U'━' : U'·';
    const Ink ink = shown ? Ink::strong : Ink::dim;
    if (trouble > 0) {
      screen.put(label_width + x, y, U'▇', Ink::dead);
    } else if (unseen) {
      screen.put(label_width + x, y, U'░', Ink::unseen);
    } else {
      screen.put(label_width + x, y, calm, ink);
    }
  }
  screen.put(label_width + width, y, U'▏', Ink::dim);
}

void put_glyphs(Screen& screen, const WeaveScene& scene, const WeaveLayout& layout, int y) {
  const auto& run = *scene.run;
  screen.put(label_width - 2, y, scene.first_link == 0 ? U'◇' : U'·', Ink::strong);
  screen.put(label_width - 1, y, U'─', Ink::dim);
  for (std::size_t i = 0; i < layout.hops && scene.first_link + i < run.links.size(); ++i) {
    const auto link = scene.first_link + i;
    const int x = x_of(layout, i);
    const bool unseen = run.links[link].vantage == Vantage::unseen;
    for (int j = 0; j < layout.column; ++j) screen.put(x + j, y, unseen ? U'░' : U'─', unseen ? Ink::unseen : Ink::dim);
    const auto node = node_after(run, link);
    if (!node) {
      screen.put(x + layout.column - 2, y, U'◇', Ink::strong);
      continue;
    }
    const bool multi = *node < run.cells.size() && run.cells[*node] > 1;
    const std::string count = multi ? std::to_string(run.cells[*node]) : "";
    screen.put(x + layout.column - 2 - static_cast<int>(count.size()), y, multi ? U'▣' : U'○', Ink::strong);
    screen.put(x + layout.column - 1 - static_cast<int>(count.size()), y, count, Ink::plain);
  }
}

struct BandRow {
  const char* label;
  std::string (*value)(const WeaveScene&, std::size_t link);
  bool conditions;
};

const LinkMeasures* measures_of(const WeaveScene& scene, std::size_t link) {
  const auto& links = scene.stretch->measures.links;
  return link < links.size() ? &links[link] : nullptr;
}

const NodeState* state_of(const WeaveScene& scene, std::size_t link) {
  const auto node = node_after(*scene.run, link);
  return node && *node < scene.stretch->nodes.size() ? &scene.stretch->nodes[*node] : nullptr;
}

const BandRow band_rows[] = {
    {"loss %",
     [](const WeaveScene& scene, std::size_t link) {
       const auto& cell = scene.sum.links[link];
       return tiny_share(cell.bad, std::max(cell.frames, cell.bad));
     },
     false},
    {"check bad",
     [](const WeaveScene& scene, std::size_t link) {
       const auto checks = scene.sum.links[link].checks;
       return checks > 999 ? fmt::format("{}k", std::min(checks / 1000, 999U)) : std::to_string(checks);
     },
     false},
    {"half in ms",
     [](const WeaveScene& scene, std::size_t link) {
       const auto* measures = measures_of(scene, link);
       return measures == nullptr ? std::string("-") : tiny_ms(measures->transit.percentile(500'000));
     },
     false},
    {"99 % in ms",
     [](const WeaveScene& scene, std::size_t link) {
       const auto* measures = measures_of(scene, link);
       return measures == nullptr ? std::string("-") : tiny_ms(measures->transit.percentile(990'000));
     },
     false},
    {"balancing",
     [](const WeaveScene& scene, std::size_t link) {
       const auto* state = state_of(scene, link);
       return state == nullptr           ? std::string(node_after(*scene.run, link) ? "?" : "")
              : (state->flags & 1U) != 0 ? std::string("off")
                                         : std::to_string((state->flags >> 8U) & 0xffU);
     },
     true},
    {"board °C",
     [](const WeaveScene& scene, std::size_t link) {
       const auto* state = state_of(scene, link);
       return state == nullptr ? std::string(node_after(*scene.run, link) ? "?" : "")
                               : fmt::format("{:.0f}", std::round(state->board_mc / 1000.0));
     },
     true},
};

void put_band(Screen& screen, const WeaveScene& scene, const WeaveLayout& layout) {
  const auto& run = *scene.run;
  int y = layout.band_top;
  if (layout.strip) put_strip(screen, scene, layout, y++);
  put_glyphs(screen, scene, layout, y++);
  if (layout.names) {
    for (std::size_t i = 0; i < layout.hops && scene.first_link + i < run.links.size(); ++i) {
      const auto& to = run.links[scene.first_link + i].to;
      const auto room = static_cast<std::size_t>(layout.column - 1);
      const bool controller = !node_after(run, scene.first_link + i);
      put_value(screen, layout, i, y, controller ? "" : fitted(to, std::min(room, code_points(to).size())), Ink::dim);
    }
    ++y;
  }
  for (const auto& row : band_rows) {
    if (row.conditions && !layout.conditions) continue;
    screen.put(0, y, row.label, Ink::dim);
    for (std::size_t i = 0; i < layout.hops && scene.first_link + i < run.links.size(); ++i) {
      const auto link = scene.first_link + i;
      const bool unseen = !row.conditions && run.links[link].vantage == Vantage::unseen;
      const bool trouble = &row == band_rows && scene.sum.links[link].bad > 0;
      put_value(screen, layout, i, y, unseen ? "?" : row.value(scene, link),
                unseen    ? Ink::unseen
                : trouble ? Ink::dead
                          : Ink::plain);
    }
    ++y;
  }
}

void put_row(Screen& screen, const WeaveScene& scene, const WeaveLayout& layout, std::size_t index) {
  const auto& run = *scene.run;
  const auto& row = scene.rows[index];
  const int y = layout.weave_top + 1 + static_cast<int>(index);
  const Nanos start = scene.from + scene.span * static_cast<Nanos>(index);
  const bool noted = std::any_of(scene.notes.begin(), scene.notes.end(),
                                 [&](Nanos at) { return at >= start && at < start + scene.span; });
  screen.put_right(label_width - 1, y, row_time(start, scene.span), Ink::dim);
  if (noted) screen.put(label_width - 1, y, U'▶', Ink::strong);
  const bool after_end = start > scene.until;
  for (std::size_t i = 0; i < layout.hops && scene.first_link + i < run.links.size(); ++i) {
    const auto link = scene.first_link + i;
    const auto cell = after_end ? ScreenCell{} : weave_cell(row.slice.links[link], run.links[link], row);
    const int x = x_of(layout, i) + layout.column - 2;
    screen.put(x, y, cell.glyph, cell.ink);
    if (index == scene.cursor_row && link == scene.cursor_link) screen.reverse(x - 1, y, 3);
  }
  const int margin = screen.width() - margin_width;
  if (after_end) return;
  if (!row.read) {
    screen.put(margin, y, "not read yet", Ink::unseen);
    return;
  }
  const auto outcome = outcome_cell(row.slice.outcomes);
  screen.put(margin, y, outcome.glyph, outcome.ink);
  if (row.slice.known) {
    screen.put_right(margin + 6, y, narrow(std::to_string(row.slice.cells_balancing), 4), Ink::plain);
    screen.put_right(margin + 12, y, narrow(fmt::format("{:+.1f}", row.slice.charge_ma / 1000.0), 6), Ink::plain);
    screen.put_right(margin + 16, y, narrow(fmt::format("{:.0f}", row.slice.board_mc / 1000.0), 4), Ink::plain);
  } else {
    screen.put_right(margin + 6, y, "?", Ink::unseen);
  }
  // What of the row is not all of what happened.
  const char32_t missing = (row.slice.missing & missing_gap) != 0       ? U'▒'
                           : (row.slice.missing & missing_dropped) != 0 ? U'!'
                           : (row.slice.missing & missing_tallied) != 0 ? U'+'
                           : (row.slice.missing & missing_thinned) != 0 ? U'n'
                                                                        : U' ';
  screen.put(margin + 1, y, missing, Ink::unseen);
}

/// What was real comes first, so that it is never what gives way to a narrow screen.
std::string head_text(const WeaveScene& scene, std::size_t room) {
  const auto& run = *scene.run;
  const auto reality = reality_of(run);
  const auto named = fmt::format("{} seed {}  {}", run.scenario, run.seed, scene.capture);
  const auto whole = fmt::format("{}: {}", in_passing(reality), named);
  return fitted(code_points(whole).size() <= room ? whole : fmt::format("{}: {}", in_short(reality), named), room);
}

}  // namespace

WeaveLayout weave_layout(const RunInfo& run, int width, int height) {
  WeaveLayout layout;
  layout.fits = width >= least_width && height >= least_height;
  if (!layout.fits) return layout;
  const int room = width - label_width - margin_width;
  const auto links = std::max<std::size_t>(1, run.links.size());
  layout.column = std::clamp(room / static_cast<int>(std::min<std::size_t>(links, 1000)), 4, widest_column);
  layout.hops = std::min(links, static_cast<std::size_t>(room / layout.column));
  layout.strip = layout.hops < links;
  layout.names = height >= 18;
  layout.conditions = height >= 20;
  layout.legend = height >= 22;
  const int band = 5 + (layout.strip ? 1 : 0) + (layout.names ? 1 : 0) + (layout.conditions ? 2 : 0);
  layout.weave_top = layout.band_top + band;
  layout.rows = static_cast<std::size_t>(std::max(1, height - layout.weave_top - 1 - (layout.legend ? 1 : 0) - 1));
  return layout;
}

std::string tiny_share(std::uint64_t hits, std::uint64_t trials) {
  if (trials == 0) return "-";
  if (hits == 0) return "0";
  if (hits >= trials) return "all";
  const double percent = 100 * static_cast<double>(hits) / static_cast<double>(trials);
  if (percent < 0.05) return "<.1";
  if (percent < 9.95) return fmt::format("{:.1f}", percent);
  return fmt::format("{:.0f}", std::min(percent, 99.0));
}

std::string tiny_ms(std::optional<Nanos> span) {
  if (!span) return "-";
  const double ms = static_cast<double>(*span) / 1e6;
  if (ms < 9.95) return fmt::format("{:.1f}", ms);
  if (ms < 999.5) return fmt::format("{:.0f}", ms);
  return fmt::format("{:.0f}s", std::min(ms / 1000, 99.0));
}

std::string row_time(Nanos at, Nanos span) {
  if (at < 0) return "-" + row_time(-std::max(at, -never), span);
  const Nanos day = 86'400 * second;
  const Nanos days = at >= 0 ? at / day : 0;
  const Nanos seconds = at / second % 86'400;
  const std::string hours = fmt::format("{:02}:{:02}", seconds / 3600, seconds / 60 % 60);
  if (span < second) return fmt::format("{}:{:02}.{:03}", hours.substr(3), seconds % 60, at / millisecond % 1000);
  // Seconds where rows are shorter than a minute: the day stands above.
  if (days > 0 && span >= 60 * second) return fmt::format("{}d {}", days, hours);
  return fmt::format("{}:{:02}", hours, seconds % 60);
}

std::string whole_time(Nanos at, Nanos span) {
  if (at < 0) return "-" + whole_time(-std::max(at, -never), span);
  return span < second ? fmt::format("{}.{:03}", instant_text(at), at / millisecond % 1000) : instant_text(at);
}

std::string stretch_text(Nanos from, Nanos to, Nanos span) {
  const Nanos day = 86'400 * second;
  const bool same_day = from / day == to / day;
  return fmt::format("{} to {}", whole_time(from, span), whole_time(same_day ? to % day : to, span));
}

ScreenCell weave_cell(const LinkCell& cell, const LinkInfo& link, const RowSlice& row) {
  if (!row.read) return {U'░', Ink::unseen, false};
  if (link.vantage == Vantage::unseen) return {U'╎', Ink::unseen, false};
  if (!is_known(link.vantage)) return {U'?', Ink::unseen, false};
  for (const auto& mark : marks) {
    if ((cell.marks & mark.bit) == 0) continue;
    const auto trouble = cell.bad + std::uint64_t{cell.never_came};
    const bool few = trouble * 10 < std::max(cell.frames + std::uint64_t{cell.never_came}, trouble);
    return {static_cast<char32_t>(few ? small(mark.letter) : mark.letter), mark.ink, false};
  }
  if ((row.slice.missing & missing_hole) != 0 && cell.frames == 0) return {U'▒', Ink::unseen, false};
  return {cell.frames > 0 ? U'·' : U' ', Ink::dim, false};
}

std::string missing_words(std::uint8_t missing) {
  std::string words;
  const auto add = [&](std::uint8_t bit, const char* text) {
    if ((missing & bit) != 0) words += (words.empty() ? "" : ", ") + std::string(text);
  };
  add(missing_gap, "gap");
  add(missing_dropped, "records missing");
  add(missing_tallied, "sums");
  add(missing_thinned, "one in n kept");
  return words;
}

std::string mark_words(std::uint16_t seen) {
  std::string words;
  for (const auto& mark : marks) {
    if ((seen & mark.bit) != 0) words += (words.empty() ? "" : ", ") + std::string(mark.words);
  }
  return words;
}

ScreenCell outcome_cell(std::uint16_t outcomes) {
  for (const auto& mark : outcome_marks) {
    if ((outcomes & (1U << mark.place)) != 0) {
      return {static_cast<char32_t>(mark.letter), mark.ink, false};
    }
  }
  return {(outcomes & 1U) != 0 ? U'·' : U' ', Ink::dim, false};
}

Screen weave_screen(const WeaveScene& scene, int width, int height) {
  Screen screen(width, height);
  const auto layout = weave_layout(*scene.run, width, height);
  if (!layout.fits) {
    screen.put(0, 0, fmt::format("{} x {} places are needed", least_width, least_height));
    return screen;
  }
  const auto& run = *scene.run;
  screen.put(0, 0, head_text(scene, static_cast<std::size_t>(std::max(10, width - 34))), Ink::heading);
  screen.put_right(width, 0, fmt::format("{}, rows of {}", scene.state, long_span(scene.span)), Ink::strong);
  const Nanos to = std::min(scene.until, scene.from + scene.span * static_cast<Nanos>(scene.rows.size()));
  std::string totals = fmt::format("{}: {}, {} of {} failed", stretch_text(scene.from, to, scene.span),
                                   counted(scene.sum.exchanges, "exchange"), grouped(scene.sum.failed_tries),
                                   counted(scene.sum.tries, "try", "tries"));
  if (scene.sum.tries > 0 && scene.sum.failed_tries > 0)
    totals += scene.sum.failed_tries == scene.sum.tries
                  ? ""
                  : fmt::format(" ({} %)", tiny_share(scene.sum.failed_tries, scene.sum.tries));
  const std::string filter =
      scene.filter.empty() ? "" : fitted("only " + scene.filter, static_cast<std::size_t>(width / 3));
  screen.put(0, 1,
             fitted(totals, static_cast<std::size_t>(width) - (filter.empty() ? 0 : code_points(filter).size() + 2)));
  screen.put_right(width, 1, filter, Ink::strong);
  put_band(screen, scene, layout);
  // The weave's heading: hops by number.
  screen.put(0, layout.weave_top, "hop", Ink::dim);
  for (std::size_t i = 0; i < layout.hops && scene.first_link + i < run.links.size(); ++i) {
    const auto& link = run.links[scene.first_link + i];
    put_value(screen, layout, i, layout.weave_top, std::to_string(link.hop) + (link.homeward ? "<" : ""), Ink::dim);
  }
  const int margin = width - margin_width;
  screen.put_right(margin + 6, layout.weave_top, "bal", Ink::dim);
  screen.put_right(margin + 12, layout.weave_top, "A", Ink::dim);
  screen.put_right(margin + 16, layout.weave_top, "°C", Ink::dim);
  for (std::size_t i = 0; i < std::min(scene.rows.size(), layout.rows); ++i) put_row(screen, scene, layout, i);
  if (layout.legend) {
    screen.put(0, height - 2,
               width >= 131
                   ? "X not passed on  N nothing heard  O overrun  R no room  S short  L long  F framing  P parity  C "
                     "check failed  (small: under a tenth)"
                   : "X stopped N none O overrun R room S short L long F framing P parity C check",
               Ink::dim);
  }
  screen.put(0, height - 1,
             scene.message.empty() ? "? for help" : fitted(scene.message, static_cast<std::size_t>(width)),
             scene.message.empty() ? Ink::dim : Ink::strong);
  return screen;
}

}  // namespace hopbench
