#include "view/figures.h"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "judge/limits.h"
#include "view/number_text.h"
#include "view/weave.h"

namespace hopbench {
namespace {

constexpr int label_width = 8;
constexpr double decades = 4;  // from all of them down to one in ten thousand

/// Share of values above, at the right edge of each of so many steps of equal ratio from low to high.
std::vector<double> above(const Histogram& times, double low, double high, int steps) {
  std::vector<double> shares(static_cast<std::size_t>(steps), 0);
  const auto count = static_cast<double>(times.count());
  if (count <= 0) return shares;
  times.each_bucket([&](Nanos from, Nanos to, std::uint64_t number) {
    const double middle = std::max(1.0, static_cast<double>(from) + static_cast<double>(to - from) / 2);
    const double place = std::log(middle / low) / std::log(high / low) * steps;
    const int until = std::clamp(static_cast<int>(place), 0, steps);
    for (int i = 0; i < until; ++i) shares[static_cast<std::size_t>(i)] += static_cast<double>(number) / count;
  });
  return shares;
}

void draw_curve(Screen& screen, const Histogram& times, double low, double high, int top, int rows, char32_t glyph,
                Ink ink) {
  const int width = screen.width() - label_width - 1;
  const auto shares = above(times, low, high, width);
  for (int x = 0; x < width; ++x) {
    const double share = shares[static_cast<std::size_t>(x)];
    if (share <= 0) continue;
    const double down = -std::log10(std::min(1.0, share)) / decades * rows;
    if (down > rows) continue;
    screen.put(label_width + x, top + std::min(rows - 1, static_cast<int>(down)), glyph, ink);
  }
}

std::string per_cent(const TryCounts& rate) {
  const auto share = share_of(std::min(rate.failed, rate.tries), rate.tries);
  if (!share) return "-";
  return fmt::format("{} % ({} to {})", percent(share->value), percent(share->low), percent(share->high));
}

}  // namespace

Figure figure_of(const RunInfo& run, const RunPart& stretch, Subject subject, std::size_t index, Nanos from, Nanos to) {
  Figure figure;
  const auto& measures = stretch.measures;
  const auto failed_of = [&](const ExchangeMeasures& part) {
    figure.times = part.round_trip;
    figure.tries = part.tries;
    figure.failed = part.tries - std::min(part.tries, part[Outcome::answered]);
  };
  switch (subject) {
    case Subject::hop:
      if (index < run.links.size()) {
        const auto& link = run.links[index];
        figure.name = fmt::format("hop {}{}", link.hop, link.homeward ? "<" : "");
        figure.title = fmt::format("{} ({} -> {})", figure.name, link.from, link.to);
      }
      if (index < measures.links.size()) {
        const auto& link = measures.links[index];
        figure.times = link.transit;
        figure.tries = link.frames_in;
        figure.failed = link.frames_in - std::min(link.frames_in, link.frames_out);
      }
      break;
    case Subject::node:
      if (index < run.nodes.size()) figure.name = figure.title = "node " + run.nodes[index];
      if (index < measures.nodes.size()) failed_of(measures.nodes[index]);
      break;
    case Subject::topic:
      if (index < measures.topics.size()) figure.name = figure.title = "topic " + measures.topics[index];
      if (index < measures.by_topic.size()) failed_of(measures.by_topic[index]);
      break;
  }
  figure.title += ", " + stretch_text(from, to, second);
  figure.by_balancing = stretch.by_balancing;
  return figure;
}

Screen figures_screen(const Figure& one, const Figure* other, const std::string& message, int width, int height) {
  Screen screen(width, height);
  if (width < least_width || height < least_height) {
    screen.put(0, 0, fmt::format("{} x {} places are needed", least_width, least_height));
    return screen;
  }
  screen.put(0, 0, "●", Ink::strong);
  screen.put(2, 0, fitted(one.title, static_cast<std::size_t>(width - 3)), Ink::heading);
  if (other != nullptr) {
    screen.put(0, 1, "○", Ink::timing);
    screen.put(2, 1, fitted(other->title, static_cast<std::size_t>(width - 3)), Ink::timing);
  }
  std::size_t bins = 0;
  for (std::size_t i = 0; i < bin_count; ++i) {
    const bool any = one.by_balancing[i].tries > 0 || (other != nullptr && other->by_balancing[i].tries > 0);
    bins += any ? 1U : 0U;
  }
  const int table = 4 + static_cast<int>(std::min<std::size_t>(bins, 8)) + 1;
  const int rows = std::max(3, height - 3 - table - 3);
  const int top = 3;
  double low = 0;
  double high = 0;
  for (const Figure* each : {&one, other}) {
    if (each == nullptr || each->times.count() == 0) continue;
    const double least = static_cast<double>(std::max<Nanos>(1000, *each->times.least()));
    const double most = static_cast<double>(std::max<Nanos>(1001, *each->times.most()));
    low = low == 0 ? least : std::min(low, least);
    high = std::max(high, most);
  }
  screen.put(0, 2, "share that took longer", Ink::dim);
  static constexpr const char* levels[] = {"all", "1 in 10", "1 in 100", "1 in 1e3", "1 in 1e4"};
  for (int i = 0; i < 4; ++i) {
    const int y = top + i * rows / 4;
    screen.put(0, y, levels[i], Ink::dim);
    for (int x = label_width + 1; x < width; x += 4) screen.put(x, y, U'·', Ink::dim);
  }
  if (high > 0) {
    low *= 0.98;
    high *= 1.02;
    if (other != nullptr) draw_curve(screen, other->times, low, high, top, rows, U'○', Ink::timing);
    draw_curve(screen, one.times, low, high, top, rows, U'●', Ink::strong);
    screen.put(label_width, top + rows, short_span(static_cast<Nanos>(low)), Ink::dim);
    screen.put_right((label_width + width) / 2, top + rows, short_span(static_cast<Nanos>(std::sqrt(low * high))),
                     Ink::dim);
    screen.put_right(width, top + rows, short_span(static_cast<Nanos>(high)), Ink::dim);
  } else {
    screen.put(label_width + 2, top + rows / 2, "no times were seen", Ink::dim);
  }
  int y = top + rows + 1;
  screen.put(
      0, y++,
      fmt::format("{:<15}{:>10}{:>10}{:>10}{:>10}  {}", "", "half in", "90 % in", "99 % in", "longest", "failed"),
      Ink::dim);
  for (const Figure* each : {&one, other}) {
    if (each == nullptr) continue;
    const auto at = [&](std::uint32_t ppm) { return short_span(each->times.percentile(ppm)); };
    const auto mark = each == &one ? U'●' : U'○';
    screen.put(0, y, mark, each == &one ? Ink::strong : Ink::timing);
    screen.put(2, y, fitted(each->name, 13));
    screen.put(15, y++,
               fmt::format("{:>10}{:>10}{:>10}{:>10}  {}", at(500'000), at(900'000), at(990'000),
                           short_span(each->times.most()), per_cent({each->tries, each->failed})));
  }
  if (bins > 0 && y < height - 2) {
    screen.put(0, y++, "tries that failed, by cells balancing in the whole chain (95 % limits)", Ink::dim);
    for (std::size_t i = 0; i < bin_count && y < height - 1; ++i) {
      const auto& rate = one.by_balancing[i];
      if (rate.tries == 0 && (other == nullptr || other->by_balancing[i].tries == 0)) continue;
      screen.put(2, y, fmt::format("{:<16} {:<32}", bin_text(Condition::balancing, i), per_cent(rate)));
      if (other != nullptr) screen.put(52, y, per_cent(other->by_balancing[i]), Ink::timing);
      ++y;
    }
  }
  screen.put(0, height - 1,
             message.empty() ? "Tab hop/node/topic  left/right which one  = put aside to compare  Esc back"
                             : fitted(message, static_cast<std::size_t>(width)),
             message.empty() ? Ink::dim : Ink::strong);
  return screen;
}

}  // namespace hopbench
