#include "foreign_kinds.h"

#include <fmt/format.h>

#include <algorithm>

namespace hopbench::rates {
namespace {

ForeignFault byte_value(const Site& site) {
  const auto value = site.dice.of<std::uint8_t>({0x11, 0x13, 0x1A, 0x7E});
  return {"byte value",
          fmt::format("frames with the byte {:#04x} are damaged on the hop into {}", value, site.end()),
          {{fmt::format("0x{:02X}", value)}},
          Symptom::check,
          [link = site.link, value](const FrameOnHop& frame) {
            return frame.row.link == link &&
                   std::find(frame.content.begin(), frame.content.end(), value) != frame.content.end();
          }};
}

ForeignFault number_bit(const Site& site) {
  const auto bit = 3 + site.dice.up_to(4);
  return {"bit position",
          fmt::format("one in three frames with bit {} of the exchange number is damaged on the hop into {}", bit,
                      site.end()),
          {{fmt::format("bit {} ", bit)}, {"exchange", "number"}},
          Symptom::check,
          [link = site.link, bit](const FrameOnHop& frame) {
            return frame.row.link == link && ((frame.content[exchange_at + 1] >> bit) & 1U) != 0 && drawn(frame, 33);
          }};
}

ForeignFault every_nth(const Site& site) {
  const std::uint64_t n = std::uint64_t{1} << (4 + site.dice.up_to(3));
  return {
      "every 2^k-th frame",
      fmt::format("every {}th frame on the hop into {} is lost", n, site.end()),
      {{fmt::format("once in {} ", n), fmt::format("once in {}:", n), fmt::format("every {} ", n),
        fmt::format("every {}th", n)}},
      Symptom::nothing,
      [link = site.link, n](const FrameOnHop& frame) { return frame.row.link == link && frame.number % n == n - 1; }};
}

ForeignFault every_so_often(const Site& site) {
  const Nanos period = 2'982 * second;
  const Nanos first = site.dice.between(60, 2900) * second;
  const Nanos lasts = std::max<Nanos>(2 * second, 3 * static_cast<Nanos>(site.habits.exchange));
  return {"every 49.7 min",
          fmt::format("nothing passes the hop into {} for {} s every 49.7 min", site.end(), lasts / second),
          {{"49.7 min"}},
          Symptom::nothing,
          [link = site.link, period, first, lasts](const FrameOnHop& frame) {
            return frame.row.link == link && frame.row.start >= first && (frame.row.start - first) % period < lasts;
          }};
}

ForeignFault long_answers(const Site& site) {
  const std::uint16_t chars = static_cast<std::uint16_t>((site.habits.longest_chars + site.habits.shortest_answer) / 2);
  return {"long answers",
          fmt::format("answers longer than {} characters are cut on the hop into {}", chars, site.end()),
          {{"longer than"}},
          Symptom::too_short,
          [link = site.link, chars](const FrameOnHop& frame) {
            return frame.row.link == link && frame.row.answering && frame.row.chars > chars;
          }};
}

ForeignFault field_bit(const Site& site) {
  const auto bit = 3 + site.dice.up_to(2);
  return {"field bit",
          fmt::format("answers whose first cell has bit {} of its voltage set are damaged on the hop into {}", bit,
                      site.end()),
          {{"bit"}, {"cell"}},
          Symptom::check,
          [link = site.link, bit](const FrameOnHop& frame) {
            constexpr std::size_t low = payload_at + 5;
            constexpr std::uint8_t readings = 2;
            return frame.row.link == link && frame.row.answering && frame.content.size() > low + 2 &&
                   frame.content[payload_at - 1] == readings && ((frame.content[low] >> bit) & 1U) != 0;
          }};
}

ForeignFault after_topic(const Site& site) {
  return {
      "after another topic",
      fmt::format("every other of the readings that come next after conditions is lost on the hop into {}", site.end()),
      {{"after an exchange with topic conditions"}},
      Symptom::nothing,
      [link = site.link](const FrameOnHop& frame) {
        return frame.row.link == link && frame.topic_before == "conditions" && frame.topic == "readings" &&
               drawn(frame, 50);
      }};
}

ForeignFault spills(const Site& site) {
  const auto& silences = site.habits.silences[site.link];
  const Nanos close = silences.empty() ? 0 : silences[silences.size() / 4];
  return {"close together",
          fmt::format("a frame that comes within {} us of the one before may be lost on the hop into {}",
                      close / microsecond, site.end()),
          {{"within"}, {"of the one before"}},
          Symptom::nothing,
          [link = site.link, close](const FrameOnHop& frame) {
            return frame.row.link == link && frame.since_last >= 0 && frame.since_last < close && drawn(frame, 30);
          }};
}

/// Noise would hit replies as well.
ForeignFault from_onset(const Site& site) {
  const Nanos onset = site.run / 10 * site.dice.between(4, 7);
  return {"onset",
          fmt::format("from {} min on one request in twenty is damaged on the hop into {}", onset / minute, site.end()),
          {{"equest"}, {"since ", "began", "onset", " from "}},
          Symptom::check,
          [link = site.link, onset](const FrameOnHop& frame) {
            return frame.row.link == link && !frame.row.answering && frame.row.start >= onset && drawn(frame, 5);
          }};
}

ForeignFault on_the_hour(const Site& site) {
  const Nanos lasts = std::max<Nanos>(3 * second, 4 * static_cast<Nanos>(site.habits.exchange));
  return {"on the hour",
          fmt::format("nothing passes the hop into {} for {} s on every hour", site.end(), lasts / second),
          {{"60 min", "60.0 min", " 1 h", "1.0 h", "1.00 h", "hour"}},
          Symptom::nothing,
          [link = site.link, lasts](const FrameOnHop& frame) {
            return frame.row.link == link && frame.row.start % (60 * minute) < lasts;
          }};
}

}  // namespace

bool drawn(const FrameOnHop& frame, std::uint64_t percent) {
  return Dice("foreign strike", 1000 * frame.exchange.number + frame.row.link).up_to(99) < percent;
}

std::vector<MakeForeign> plain_foreign() {
  return {byte_value, number_bit,  every_nth, every_so_often, long_answers,
          field_bit,  after_topic, spills,    from_onset,     on_the_hour};
}

}  // namespace hopbench::rates
