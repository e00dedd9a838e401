#include "study/evidence.h"

#include <algorithm>
#include <cmath>

namespace hopbench {

std::string_view name_of(Ending ending) {
  constexpr std::array<std::string_view, ending_count> names{
      "damaged",      "cut_short", "nothing",   "overrun",   "no_room", "not_passed_on",
      "not_answered", "changed",   "late",      "ignored",   "refused", "mismatched",
      "stale",        "wrong",     "no_answer", "truncated", "bad_ask", "collided"};
  return names[static_cast<std::size_t>(ending)];
}

std::uint8_t Moment::bin(Condition condition) const {
  switch (condition) {
    case Condition::balancing:
      return balancing;
    case Condition::charge:
      return charge;
    case Condition::temperature:
      return temperature;
    case Condition::supply:
      return supply;
    case Condition::hour:
      return hour;
    case Condition::gap:
    case Condition::length:
    case Condition::distance:
    case Condition::payload:
      break;
  }
  return unknown_bin;
}

std::size_t phase_of(Nanos start, Nanos end, Nanos period) {
  const Nanos middle = start + (end - start) / 2;
  const Nanos within = (middle % period + period) % period;
  return static_cast<std::size_t>(within * static_cast<Nanos>(phase_count) / period);
}

void Silences::add(Nanos span) {
  if (seen++ % one_in != 0) return;
  if (sample.size() >= most) {
    for (std::size_t i = 0; 2 * i < sample.size(); ++i) sample[i] = sample[2 * i];
    sample.resize((sample.size() + 1) / 2);
    one_in *= 2;
  }
  sample.push_back(span);
}

std::uint64_t LinkEvidence::bad() const {
  std::uint64_t sum = 0;
  for (std::size_t i = 1; i < symptoms.size(); ++i) sum += symptoms[i];
  return sum;
}

void CharLength::add(const HopRow& row) {
  ++frames;
  const bool damaged = row.symptom != Symptom::none;
  if (damaged) ++bad;
  const auto took = static_cast<double>(row.end) - static_cast<double>(row.start);
  const bool whole = !damaged || row.symptom == Symptom::framing || row.symptom == Symptom::check;
  if (row.chars == 0 || took <= 0 || !whole) return;
  ++measured;
  chars += row.chars;
  chars_squared += static_cast<double>(row.chars) * row.chars;
  time += took;
  time_chars += took * row.chars;
}

bool in_one_silence(const Evidence& evidence) {
  const auto& links = evidence.run.links;
  return evidence.sight == Sight::controller_only &&
         std::none_of(links.begin(), links.end(), [](const LinkInfo& link) { return link.homeward; });
}

void Spans::add(Nanos span) {
  ++count;
  const auto value = static_cast<double>(span);
  sum += value;
  squares += value * value;
  longest = std::max(longest, span);
}

double Spans::deviation() const {
  if (count < 2) return 0;
  const double n = static_cast<double>(count);
  return std::sqrt(std::max(0.0, (squares - sum * sum / n) / (n - 1)));
}

}  // namespace hopbench
