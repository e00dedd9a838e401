#include "view/figures.h"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "judge/limits.h"
#include "view/map.h"
#include "view/map_figures.h"
#include "view/moments.h"
#include "view/number_text.h"

namespace hopbench {
namespace {

constexpr int cells_left = 44;
constexpr int bar_left = 24;
constexpr int bar_width = 19;

std::string rate_text(const FailCounts& counts) {
  const auto share = share_of(std::min(counts.failed, counts.all), counts.all);
  if (!share) return "-";
  return fmt::format("{} of {}, {} %", grouped(counts.failed), grouped(counts.all), percent(share->value));
}

/// Values in each bin; those beyond either end are in the first or the last.
std::vector<std::uint64_t> in_bins(const Histogram& times, const std::vector<Nanos>& ends) {
  std::vector<std::uint64_t> counts(ends.size() - 1, 0);
  times.each_bucket([&](Nanos low, Nanos high, std::uint64_t count) {
    const Nanos middle = low + (high - low) / 2;
    const auto above = std::upper_bound(ends.begin(), ends.end(), middle) - ends.begin();
    const auto place = std::clamp<std::ptrdiff_t>(above - 1, 0, std::ssize(counts) - 1);
    counts[static_cast<std::size_t>(place)] += count;
  });
  return counts;
}

/// By the square root, so that a few in a hundred can be told from none.
int share_level(std::uint64_t count, std::uint64_t all) {
  if (count == 0 || all == 0) return 0;
  const double root = std::sqrt(static_cast<double>(count) / static_cast<double>(all));
  return std::clamp(static_cast<int>(std::ceil(most_level * root)), 1, most_level);
}

void put_bar(Screen& screen, int x, int y, std::uint64_t count, std::uint64_t largest, char32_t glyph, Ink ink) {
  if (count == 0 || largest == 0) return;
  const double share = static_cast<double>(count) / static_cast<double>(largest);
  const int size = std::max(1, static_cast<int>(share * bar_width + 0.5));
  for (int i = 0; i < size; ++i) screen.put(x + i, y, glyph, ink);
}

std::uint64_t largest_of(const std::vector<std::uint64_t>& counts) {
  return counts.empty() ? 0 : *std::max_element(counts.begin(), counts.end());
}

/// Bars of what was put aside, where over time would stand.
void put_aside(Screen& screen, const Figure& aside, const std::vector<Nanos>& ends, int top) {
  const auto counts = in_bins(aside.times, ends);
  const auto all = std::max<std::uint64_t>(1, aside.times.count());
  for (std::size_t i = 0; i < counts.size(); ++i) {
    const int y = top + static_cast<int>(i);
    screen.put_right(cells_left + 8, y, short_share(counts[i], all) + " %", Ink::timing);
    put_bar(screen, cells_left + 10, y, counts[i], largest_of(counts), U'▒', Ink::timing);
  }
}

void put_over_time(Screen& screen, const FiguresScene& scene, const std::vector<Nanos>& ends, int top) {
  for (std::size_t column = 0; column < scene.over_time.size(); ++column) {
    const auto& times = scene.over_time[column];
    if (times.count() == 0) continue;
    const auto counts = in_bins(times, ends);
    for (std::size_t i = 0; i < counts.size(); ++i) {
      const int level = share_level(counts[i], times.count());
      screen.put(cells_left + static_cast<int>(column), top + static_cast<int>(i), level_glyph(level),
                 level == 0 ? Ink::dim : Ink::plain);
    }
  }
}

void put_times(Screen& screen, const FiguresScene& scene, int top, int rows) {
  const auto& one = scene.one.times;
  if (one.count() == 0) {
    screen.put(2, top, "no times were seen in this stretch", Ink::dim);
    return;
  }
  Nanos low = *one.least();
  Nanos high = *one.most();
  if (scene.aside != nullptr && scene.aside->times.count() > 0) {
    low = std::min(low, *scene.aside->times.least());
    high = std::max(high, *scene.aside->times.most());
  }
  const auto ends = bin_ends(low, high, static_cast<std::size_t>(rows));
  const auto counts = in_bins(one, ends);
  for (std::size_t i = 0; i < counts.size(); ++i) {
    const int y = top + static_cast<int>(i);
    screen.put_right(13, y, fmt::format("{}-{} ms", short_ms(ends[i]), short_ms(ends[i + 1])), Ink::dim);
    screen.put_right(22, y, short_share(counts[i], one.count()) + " %");
    put_bar(screen, bar_left, y, counts[i], largest_of(counts), U'█', Ink::strong);
  }
  if (scene.aside != nullptr) {
    put_aside(screen, *scene.aside, ends, top);
  } else {
    put_over_time(screen, scene, ends, top);
  }
}

void put_figure_line(Screen& screen, const Figure& figure, int y, Ink ink) {
  const auto at = [&](std::uint32_t ppm) { return short_ms(figure.times.percentile(ppm)); };
  screen.put(0, y,
             fmt::format("  ms: median {}, 90 % {}, 99 % {}, longest {}; failed {}", at(500'000), at(900'000),
                         at(990'000), short_ms(figure.times.most()), rate_text(figure.counts)),
             ink);
}

using ByBin = std::array<FailCounts, bin_count> Figure::*;

/// Bins in which there was anything. Where they are more than `most`, those without failures give way, lowest first.
std::vector<std::size_t> bins_shown(const Figure& figure, const Figure* aside, ByBin by, std::size_t most) {
  std::vector<std::size_t> bins;
  for (std::size_t i = 0; i < bin_count; ++i) {
    const bool other = aside != nullptr && aside->has_conditions && (aside->*by)[i].all > 0;
    if ((figure.*by)[i].all > 0 || other) bins.push_back(i);
  }
  while (bins.size() > most) {
    const auto calm =
        std::find_if(bins.begin(), bins.end(), [&](std::size_t i) { return (figure.*by)[i].failed == 0; });
    bins.erase(calm == bins.end() ? bins.begin() : calm);
  }
  return bins;
}

void put_conditions(Screen& screen, const Figure& figure, const Figure* aside, Condition condition, ByBin by, int x,
                    int top, int bottom) {
  screen.put(x, top, condition == Condition::balancing ? "failed by cells balancing" : "failed by warmest board",
             Ink::dim);
  const int lines = aside != nullptr && aside->has_conditions ? 2 : 1;
  int y = top + 1;
  for (const auto i : bins_shown(figure, aside, by, static_cast<std::size_t>(std::max(0, bottom - y) / lines))) {
    const auto& counts = (figure.*by)[i];
    screen.put(x, y, fitted(bin_text(condition, i), 16));
    screen.put(x + 17, y++, fitted(rate_text(counts), 23), counts.failed > 0 ? Ink::strong : Ink::plain);
    if (lines == 1) continue;
    screen.put(x + 2, y, "put aside", Ink::timing);
    screen.put(x + 17, y++, fitted(rate_text((aside->*by)[i]), 23), Ink::timing);
  }
}

/// Lines that the tables take, with their heading.
int table_lines(const FiguresScene& scene) {
  if (!scene.one.has_conditions) return 0;
  const auto bins = std::max(bins_shown(scene.one, scene.aside, &Figure::by_balancing, bin_count).size(),
                             bins_shown(scene.one, scene.aside, &Figure::by_board, bin_count).size());
  return 1 + static_cast<int>(bins) * (scene.aside != nullptr ? 2 : 1);
}

}  // namespace

std::vector<Nanos> bin_ends(Nanos low, Nanos high, std::size_t most) {
  const double least = std::log10(static_cast<double>(std::max<Nanos>(1000, low)));
  const double largest = std::log10(static_cast<double>(std::max<Nanos>(1001, high)));
  int parts = 5;
  const auto bins = [&](int of_decade) {
    return static_cast<std::size_t>(std::floor(largest * of_decade) - std::floor(least * of_decade)) + 1;
  };
  while (parts < 80 && bins(2 * parts) <= std::max<std::size_t>(2, most)) parts *= 2;
  while (parts > 1 && bins(parts) > std::max<std::size_t>(2, most)) --parts;
  std::vector<Nanos> ends;
  for (int i = static_cast<int>(std::floor(least * parts)); i <= static_cast<int>(std::floor(largest * parts)) + 1;
       ++i) {
    // Rounded to three digits, as the standard's numbers are.
    const double exact = std::pow(10.0, static_cast<double>(i) / parts);
    const double digit = std::pow(10.0, std::floor(std::log10(exact)) - 2);
    const auto end = static_cast<Nanos>(std::round(exact / digit) * digit);
    if (ends.empty() || end > ends.back()) ends.push_back(end);
  }
  if (ends.size() < 2) ends = {low, high + 1};
  return ends;
}

Figure figure_of(Picture& picture, Timed what, const RunPart& stretch, Nanos from, Nanos to) {
  Figure figure;
  const auto& run = picture.run();
  const auto& measures = stretch.measures;
  if (const auto* times = times_of(stretch, what)) figure.times = *times;
  const auto count = [&](const ExchangeMeasures& some) {
    figure.counts = {some.tries, some.tries - std::min(some.tries, some[Outcome::answered])};
  };
  const auto index = what.index;
  switch (what.subject) {
    case Subject::hop:
      if (index < run.links.size()) {
        const auto& link = run.links[index];
        figure.name = fmt::format("hop {}{}", link.hop, link.homeward ? "<" : "");
        figure.title = fmt::format("{} ({} -> {}): time on the wire", figure.name, link.from, link.to);
      }
      if (index < measures.links.size()) {
        const auto& link = measures.links[index];
        figure.counts = {link.frames_in, link.frames_in - std::min(link.frames_in, link.frames_out)};
      }
      break;
    case Subject::stay:
      if (index < run.nodes.size()) {
        figure.name = "in " + run.nodes[index];
        figure.title = figure.name + ": time inside the station, frames that it passes on";
      }
      break;
    case Subject::node:
      if (index < run.nodes.size()) {
        figure.name = "node " + run.nodes[index];
        figure.title = figure.name + ": round trips";
      }
      if (index < measures.nodes.size()) count(measures.nodes[index]);
      break;
    case Subject::topic:
      if (index < measures.topics.size()) {
        figure.name = "topic " + measures.topics[index];
        figure.title = figure.name + ": round trips";
      }
      if (index < measures.by_topic.size()) count(measures.by_topic[index]);
      break;
  }
  figure.title += ", " + stretch_text(from, to, second);
  figure.has_conditions = what.subject == Subject::hop || what.subject == Subject::node;
  if (!figure.has_conditions) return figure;
  const auto add = [&](const Slice& slice) {
    if (!slice.known) return;
    FailCounts here;
    if (what.subject == Subject::hop && index < slice.links.size()) {
      here = {slice.links[index].frames(), slice.links[index].bad()};
    } else if (what.subject == Subject::node && index < slice.tried.stations.size()) {
      here = {slice.tried.stations[index].tries, slice.tried.stations[index].failed};
    }
    for (auto* counts : {&figure.by_balancing[balancing_bin(slice.cells_balancing)],
                         &figure.by_board[temperature_bin(slice.board_mc)]}) {
      counts->all += here.all;
      counts->failed += here.failed;
    }
  };
  constexpr std::size_t few = 64;
  const auto& slices = picture.slices();
  Nanos span = slices.slice_span();
  if (to - from >= span * static_cast<Nanos>(few)) {
    slices.each(from, to, add);
  } else {
    span = column_for(from, to, few);
    for (const auto& column : picture.columns(slot_of(from, span) * span, span, few)) add(column.slice);
  }
  figure.conditions_are = fmt::format("conditions: the highest in each {}", round_span_text(span));
  return figure;
}

std::size_t figures_columns(int width) { return static_cast<std::size_t>(std::max(1, width - cells_left)); }

Screen figures_screen(const FiguresScene& scene, int width, int height) {
  Screen screen(width, height);
  if (width < least_width || height < least_height) {
    screen.put(0, 0, fmt::format("{} x {} places are needed", least_width, least_height));
    return screen;
  }
  const auto room = static_cast<std::size_t>(width);
  screen.put(0, 0, fitted(scene.one.title, room), Ink::heading);
  put_figure_line(screen, scene.one, 1, Ink::plain);
  if (scene.aside != nullptr) {
    screen.put(0, 2, fitted("put aside: " + scene.aside->title, room), Ink::timing);
    put_figure_line(screen, *scene.aside, 3, Ink::timing);
  }
  const int top = scene.aside != nullptr ? 6 : 4;
  const int bottom = height - 2;
  constexpr int least_rows = 7;
  const int table = std::min(table_lines(scene), bottom - top - least_rows - 1);
  const int rows = bottom - top - table - 1;
  screen.put(bar_left - 9, top - 1, "share", Ink::dim);
  const auto over = scene.aside != nullptr ? fitted(scene.aside->name, 30)
                                           : fmt::format("over time; 1 column = {}", round_span_text(scene.span));
  screen.put(cells_left, top - 1, over, Ink::dim);
  put_times(screen, scene, top, rows);
  if (scene.one.has_conditions) {
    const int y = top + rows + 1;
    put_conditions(screen, scene.one, scene.aside, Condition::balancing, &Figure::by_balancing, 0, y, bottom);
    put_conditions(screen, scene.one, scene.aside, Condition::temperature, &Figure::by_board, 40, y, bottom);
  }
  screen.put(0, height - 2, "share of a column: ▁ to 2 %  ▂ 6  ▃ 14  ▄ 25  ▅ 39  ▆ 56  ▇ 77  █ more", Ink::dim);
  if (width >= 130) screen.put_right(width, height - 2, scene.one.conditions_are, Ink::dim);
  const std::string keys = "Tab hop, station, node, topic  left right which  = put aside  Esc back  ? keys";
  screen.put(0, height - 1, fitted(scene.message.empty() ? keys : scene.message, room),
             scene.message.empty() ? Ink::dim : Ink::strong);
  return screen;
}

}  // namespace hopbench
