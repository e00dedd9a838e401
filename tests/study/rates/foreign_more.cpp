// Faults that no scenario can say, of other kinds than in foreign_kinds.cpp.
#include <fmt/format.h>

#include <algorithm>
#include <cstdlib>
#include <map>
#include <memory>
#include <optional>

#include "foreign_kinds.h"

namespace hopbench::rates {
namespace {

/// A value of which so many per cent lie below; 0 if there are none.
template <typename T>
T quantile(std::vector<T> values, std::size_t percent) {
  if (values.empty()) return T{};
  std::sort(values.begin(), values.end());
  return values[std::min(values.size() - 1, values.size() * percent / 100)];
}

bool has_pair(std::span<const std::uint8_t> bytes, std::uint8_t first, std::uint8_t then) {
  for (std::size_t i = 0; i + 2 < bytes.size(); ++i) {
    if (bytes[i] == first && bytes[i + 2] == then) return true;
  }
  return false;
}

/// Some frames of one plan entry have the pair, and others do not: else it is the entry that matters, and nobody can
/// tell.
bool is_of_values(const std::vector<Passed>& passed, std::uint8_t first, std::uint8_t then) {
  struct Count {
    std::size_t with = 0;
    std::size_t all = 0;
  };
  std::map<std::pair<std::uint32_t, bool>, Count> kinds;
  for (const Passed& each : passed) {
    Count& count = kinds[{each.entry, each.answering}];
    ++count.all;
    if (has_pair(each.content, first, then)) ++count.with;
  }
  std::size_t with = 0;
  std::size_t mixed = 0;
  for (const auto& [kind, count] : kinds) {
    with += count.with;
    if (10 * count.with < 8 * count.all) mixed += count.with;
  }
  return 10 * mixed >= 9 * with;
}

ForeignFault two_apart(const Site& site) {
  // Two bytes that stand so in some of the frames, not in most.
  std::uint8_t first = 0;
  std::uint8_t then = 0;
  for (int tries = 0; tries < 200 && !site.passed.empty(); ++tries) {
    const auto& bytes = site.passed[site.dice.up_to(site.passed.size() - 1)].content;
    if (bytes.size() < 16) continue;
    const std::size_t at = payload_at + site.dice.up_to(bytes.size() - payload_at - 5);
    first = bytes[at];
    then = bytes[at + 2];
    const auto with = std::count_if(site.passed.begin(), site.passed.end(),
                                    [&](const Passed& each) { return has_pair(each.content, first, then); });
    const double share = static_cast<double>(with) / static_cast<double>(site.passed.size());
    if (share > 0.01 && share < 0.2 && is_of_values(site.passed, first, then)) break;
  }
  return {"two bytes apart",
          fmt::format("frames in which 0x{:02X} stands two bytes before 0x{:02X} are damaged on the hop into {}", first,
                      then, site.end()),
          {{fmt::format("0x{:02X} and, 2 bytes on, 0x{:02X}", first, then)}},
          Symptom::check,
          [link = site.link, first, then](const FrameOnHop& frame) {
            return frame.row.link == link && has_pair(frame.content, first, then);
          }};
}

ForeignFault same_board(const Site& site) {
  return {
      "same board again",
      fmt::format("six in ten replies are lost on the hop into {} if the same board was asked just before", site.end()),
      {{"the same node", "topic conditions",
        "plan entry boards"}},  // conditions come right after readings of the same board
      Symptom::nothing,
      [link = site.link](const FrameOnHop& frame) {
        return frame.row.link == link && frame.row.answering && frame.node_before == frame.exchange.node &&
               drawn(frame, 60);
      }};
}

ForeignFault one_place(const Site& site) {
  const auto at = static_cast<std::uint16_t>(2 + site.dice.up_to(site.habits.shortest_answer - 4));
  const auto bits = static_cast<std::uint8_t>(1U << site.dice.up_to(7));
  return {"one place of the frame",
          fmt::format("one in fifty frames has byte {} damaged on the hop into {}", at, site.end()),
          {{fmt::format("byte {} of the frame", at)}},
          Symptom::check,
          [link = site.link, at](const FrameOnHop& frame) {
            return frame.row.link == link && frame.row.chars > at && drawn(frame, 2);
          },
          [at, bits](const FrameOnHop&) {
            return RowDamage{0, at, bits};
          }};
}

constexpr std::uint8_t readings = 2;  // its topic

/// Values of the cells in an answer with readings.
std::vector<int> cells_in(std::span<const std::uint8_t> bytes) {
  std::vector<int> cells;
  if (bytes.size() < payload_at + 6 || bytes[payload_at - 1] != readings) return cells;
  for (std::size_t i = payload_at + 4; i + 3 < bytes.size(); i += 2) cells.push_back(bytes[i] << 8 | bytes[i + 1]);
  return cells;
}

ForeignFault jump(const Site& site) {
  std::map<std::uint32_t, int> before;
  std::vector<int> changes;
  for (const Passed& each : site.passed) {
    const auto cells = each.answering ? cells_in(each.content) : std::vector<int>{};
    if (cells.empty()) continue;
    const auto found = before.find(each.entry);
    if (found != before.end()) changes.push_back(std::abs(cells.front() - found->second));
    before[each.entry] = cells.front();
  }
  const int most = quantile(changes, 90);
  auto last = std::make_shared<std::map<std::uint32_t, int>>();
  return {"jump of a value",
          fmt::format("answers whose first cell has changed by more than {} are damaged on the hop into {}", most,
                      site.end()),
          {{"changed by"}},
          Symptom::check,
          [link = site.link, most, last](const FrameOnHop& frame) {
            if (frame.number == 0) last->clear();  // another run
            if (frame.row.link != link || !frame.row.answering) return false;
            const auto cells = cells_in(frame.content);
            if (cells.empty()) return false;
            const auto found = last->find(frame.exchange.entry);
            const bool far = found != last->end() && std::abs(cells.front() - found->second) > most;
            (*last)[frame.exchange.entry] = cells.front();
            return far;
          }};
}

ForeignFault one_length(const Site& site) {
  const std::uint16_t chars =
      site.passed.empty() ? std::uint16_t{0} : site.passed[site.dice.up_to(site.passed.size() - 1)].chars;
  return {"one length",
          fmt::format("four in ten frames of {} characters are damaged on the hop into {}", chars, site.end()),
          {{fmt::format("of {} characters", chars), "longer than", "at most", "topic", "equests"}},
          Symptom::check,
          [link = site.link, chars](const FrameOnHop& frame) {
            return frame.row.link == link && frame.row.chars == chars && drawn(frame, 40);
          }};
}

ForeignFault after_pause(const Site& site) {
  const auto& silences = site.habits.silences[site.link];
  const Nanos pause = silences.empty() ? 0 : quantile(silences, 80);
  return {"after a pause",
          fmt::format("six in ten frames that come more than {} us after the one before are lost on the hop into {}",
                      pause / microsecond, site.end()),
          {{"after a silence of more", "of plan entry"}},  // a plan has its pauses before certain entries
          Symptom::nothing,
          [link = site.link, pause](const FrameOnHop& frame) {
            return frame.row.link == link && frame.since_last > pause && drawn(frame, 60);
          }};
}

ForeignFault after_long(const Site& site) {
  std::vector<std::uint16_t> lengths;
  for (const Passed& each : site.passed) lengths.push_back(each.chars);
  const auto chars = quantile(lengths, 75);
  return {"after a long frame",
          fmt::format("three in ten frames that follow one of {} characters or more are lost on the hop into {}", chars,
                      site.end()),
          {{"right after a frame", "right after an exchange"}},
          Symptom::nothing,
          [link = site.link, chars](const FrameOnHop& frame) {
            return frame.row.link == link && chars > 0 && frame.chars_before >= chars && drawn(frame, 30);
          }};
}

ForeignFault time_of_day(const Site& site) {
  const auto hour = static_cast<Nanos>(1 + site.dice.up_to(20));
  return {"time of day",
          fmt::format("from {}:00 to {}:00 of each day one in four frames is damaged on the hop into {}", hour,
                      hour + 2, site.end()),
          {{"24 h", "1 d", "1.0 d", "hour", "24.0 h", "day"}},
          Symptom::check,
          [link = site.link, hour](const FrameOnHop& frame) {
            const Nanos of_day = frame.row.start / (60 * minute) % 24;
            return frame.row.link == link && of_day >= hour && of_day < hour + 2 && drawn(frame, 25);
          }};
}

ForeignFault high_cell(const Site& site) {
  std::vector<int> highest;
  for (const Passed& each : site.passed) {
    const auto cells = each.answering ? cells_in(each.content) : std::vector<int>{};
    if (cells.size() > 1) highest.push_back(*std::max_element(cells.begin(), cells.end()));
  }
  const int limit = highest.empty() ? 0xffff : quantile(highest, 70);
  return {"a high cell",
          fmt::format("answers in which any of several cells is above {} are damaged on the hop into {}", limit,
                      site.end()),
          {{"highest"}},
          Symptom::check,
          [link = site.link, limit](const FrameOnHop& frame) {
            if (frame.row.link != link || !frame.row.answering) return false;
            const auto cells = cells_in(frame.content);
            return cells.size() > 1 && *std::max_element(cells.begin(), cells.end()) > limit;
          }};
}

}  // namespace

std::vector<MakeForeign> more_foreign() {
  return {two_apart, same_board, one_place, jump, one_length, after_pause, after_long, time_of_day, high_cell};
}

bool takes_days(std::size_t kind) {
  const auto& plain = plain_foreign();
  constexpr std::size_t day = 7;  // in more_foreign()
  return kind == 3 || kind == 9 || kind == plain.size() + day;
}

}  // namespace hopbench::rates
