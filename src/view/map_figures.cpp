#include "view/map_figures.h"

#include <fmt/format.h>

#include <algorithm>

#include "view/number_text.h"

namespace hopbench {
namespace {

/// `width` with the space before it.
struct FigureColumn {
  const char* group;  // stands once above the first of its columns
  const char* head;
  int width;
  int from_screen;  // width of the screen
  bool of_hop;      // a station has none
  std::string (*text)(const MapRow& row, std::size_t places);
};

constexpr int wide = 110;
constexpr int widest = 160;

const FigureColumn figures[] = {
    {"", "frames", 12, widest, false,
     [](const MapRow& row, std::size_t places) { return short_count(row.chances, places); }},
    {"", "lost", 7, 0, false, [](const MapRow& row, std::size_t places) { return short_count(row.troubles, places); }},
    {"", "lost %", 7, 0, false, [](const MapRow& row, std::size_t) { return short_share(row.troubles, row.chances); }},
    {"errors", "CRC", 6, 0, true,
     [](const MapRow& row, std::size_t places) { return short_count(row.checks, places); }},
    {"", "framing", 8, wide, true,
     [](const MapRow& row, std::size_t places) { return short_count(row.framing, places); }},
    {"", "silence", 8, wide, true,
     [](const MapRow& row, std::size_t places) { return short_count(row.nothing, places); }},
    {"wire ms", "median", 8, wide, true, [](const MapRow& row, std::size_t) { return short_ms(row.wire_median); }},
    {"", "99 %", 6, wide, true, [](const MapRow& row, std::size_t) { return short_ms(row.wire_99); }},
    {"station ms", "median", 8, wide, false, [](const MapRow& row, std::size_t) { return short_ms(row.stay_median); }},
    {"", "99 %", 6, wide, false, [](const MapRow& row, std::size_t) { return short_ms(row.stay_99); }},
    {"round trip", "median", 8, wide, false, [](const MapRow& row, std::size_t) { return short_ms(row.trip_median); }},
    {"", "99 %", 6, wide, false, [](const MapRow& row, std::size_t) { return short_ms(row.trip_99); }},
    {"99 % in ms", "wire", 5, 0, true, [](const MapRow& row, std::size_t) { return short_ms(row.wire_99); }},
    {"", "stay", 5, 0, false, [](const MapRow& row, std::size_t) { return short_ms(row.stay_99); }},
    {"", "trip", 5, 0, false, [](const MapRow& row, std::size_t) { return short_ms(row.trip_99); }},
};

bool is_narrow_only(const FigureColumn& figure) { return &figure >= std::end(figures) - 3; }

bool shown(const FigureColumn& figure, int screen_width) {
  return is_narrow_only(figure) ? screen_width < wide : screen_width >= figure.from_screen;
}

}  // namespace

std::string short_count(std::uint64_t count, std::size_t places) {
  auto text = grouped(count);
  if (text.size() <= places) return text;
  for (const char* unit : {"k", "M", "G", "T", "P", "E"}) {
    count /= 1000;
    text = grouped(count) + unit;
    if (text.size() <= places) return text;
  }
  return std::string(places, '*');
}

std::string short_share(std::uint64_t hits, std::uint64_t trials) {
  if (trials == 0) return hits == 0 ? "-" : "all";
  if (hits == 0) return "0";
  const auto text = percent(std::min(1.0, static_cast<double>(hits) / static_cast<double>(trials)));
  return text.size() <= 6 ? text : text.starts_with('9') ? text.substr(0, 6) : "<0.001";
}

std::string short_ms(std::optional<Nanos> span) {
  if (!span) return "-";
  const double ms = static_cast<double>(*span) / 1e6;
  if (ms < 0.05) return *span == 0 ? "0" : "<0.1";
  if (ms < 9.95) return fmt::format("{:.1f}", ms);
  if (ms < 999.5) return fmt::format("{:.0f}", ms);
  return ms < 999'500 ? fmt::format("{:.0f}s", ms / 1000) : ">16m";
}

int figures_width(int screen_width) {
  int width = 0;
  for (const auto& figure : figures) width += shown(figure, screen_width) ? figure.width : 0;
  return width;
}

void put_figure_heads(Screen& screen, const MapScene& scene, int left, int y) {
  const int width = screen.width();
  int x = left;
  for (const auto& figure : figures) {
    if (!shown(figure, width)) continue;
    x += figure.width;
    const std::string head = figure.head;
    const std::string check = scene.check == "checksum" ? "sum" : scene.check;
    screen.put_right(x, y, head == "CRC" ? check : head, Ink::dim);
    if (figure.group[0] == '\0') continue;
    const int group = x - figure.width + 1;
    // Errors have one column only where there is little room.
    if (head == "CRC" && width < wide) {
      screen.put_right(x, y - 1, "errors", Ink::dim);
    } else {
      screen.put(group + (head == "CRC" ? 2 : figure.width == 8 ? 1 : 0), y - 1, figure.group, Ink::dim);
    }
  }
}

void put_figures(Screen& screen, const MapRow& row, int left, int y) {
  const int width = screen.width();
  const bool of_station = row.place.kind != MapPlace::Kind::hop;
  int x = left;
  bool said = false;
  int last_of_hop = left;
  for (const auto& figure : figures) {
    if (!shown(figure, width)) continue;
    x += figure.width;
    if (of_station && figure.of_hop) {
      said = true;
      last_of_hop = x;
      continue;
    }
    const bool trouble = figure.head == std::string_view("lost") && row.troubles > 0;
    const bool unseen = row.unseen && !(of_station || figure.group[0] == 's');
    const auto text = unseen ? std::string("?") : figure.text(row, static_cast<std::size_t>(figure.width - 1));
    screen.put_right(x, y, text, unseen ? Ink::unseen : trouble ? Ink::dead : Ink::plain);
  }
  if (said) screen.put_right(last_of_hop, y, word_of(row.mostly), Ink::timing);
}

}  // namespace hopbench
