#include "study/pace.h"

#include <algorithm>
#include <array>
#include <vector>

namespace hopbench {
namespace {

/// Time of one character, ns; none if too little was heard. Where frames of several lengths were heard, what does not
/// depend on their length (delays) falls out.
std::optional<double> char_time(double frames, double chars, double chars_squared, double time, double time_chars) {
  if (frames < 10 || chars <= 0) return std::nullopt;
  const double spread = chars_squared - chars * chars / frames;
  if (spread > 0.5 * frames) return (time_chars - time * chars / frames) / spread;
  return time / chars;
}

std::optional<double> char_time(const CharLength& one) {
  return char_time(static_cast<double>(one.measured), one.chars, one.chars_squared, one.time, one.time_chars);
}

std::optional<double> char_time(const std::array<CharLength, bin_count>& by_heat) {
  CharLength sum;
  for (const auto& one : by_heat) {
    sum.measured += one.measured;
    sum.chars += one.chars;
    sum.chars_squared += one.chars_squared;
    sum.time += one.time;
    sum.time_chars += one.time_chars;
  }
  return char_time(sum);
}

/// What is known of a station's characters: of its own answers, or of all that it puts on its link.
const std::array<CharLength, bin_count>* chars_of(const Evidence& evidence, const std::string& station) {
  const auto& nodes = evidence.run.nodes;
  const auto place = static_cast<std::size_t>(std::find(nodes.begin(), nodes.end(), station) - nodes.begin());
  if (place < evidence.own_chars.size() && char_time(evidence.own_chars[place])) return &evidence.own_chars[place];
  for (std::size_t i = 0; i < evidence.links.size(); ++i) {
    const auto& by_heat = evidence.links[i].by_sender_heat;
    if (evidence.run.links[i].from == station && evidence.links[i].edges == 0 && char_time(by_heat)) return &by_heat;
  }
  return nullptr;
}

std::optional<double> middle(std::vector<double> values) {
  if (values.empty()) return std::nullopt;
  const auto half = values.begin() + static_cast<std::ptrdiff_t>(values.size() / 2);
  std::nth_element(values.begin(), half, values.end());
  return *half;
}

/// `heat`: which of an incident's boards is the station's.
std::optional<Pace> pace_of(const Evidence& evidence, const Case& which, const std::string& station, double usual,
                            std::uint8_t Incident::*heat) {
  const auto* by_heat = chars_of(evidence, station);
  if (by_heat == nullptr || usual <= 0) return std::nullopt;
  Pace pace;
  pace.station = station;
  pace.off = *char_time(*by_heat) / usual - 1;
  std::array<std::uint64_t, bin_count> died{};
  std::uint64_t known = 0;
  double off = 0;
  double weight = 0;
  for (const auto i : which.incidents) {
    const auto bin = evidence.incidents[i].*heat;
    if (bin >= bin_count) continue;
    ++died[bin];
    ++known;
  }
  for (std::size_t bin = 0; bin < bin_count; ++bin) {
    const auto here = char_time((*by_heat)[bin]);
    if (!here || died[bin] == 0) continue;
    off += static_cast<double>(died[bin]) * (*here / usual - 1);
    weight += static_cast<double>(died[bin]);
  }
  pace.off_when_bad = weight > 0 ? off / weight : pace.off;
  std::size_t lowest = 0;
  while (lowest < bin_count && (*by_heat)[lowest].frames == 0) ++lowest;
  std::uint64_t above = known;
  for (std::size_t bin = 0; bin < bin_count && known > 0; ++bin) {
    if (10 * (above - died[bin]) < 9 * known) {
      if (bin > lowest) pace.from = temperature_from(bin);
      break;
    }
    above -= died[bin];
  }
  return pace;
}

}  // namespace

std::pair<std::optional<Pace>, std::optional<Pace>> paces_at(const Evidence& evidence, const Case& which,
                                                             std::uint16_t link) {
  std::vector<double> times;
  for (const auto& node : evidence.run.nodes) {
    if (const auto* by_heat = chars_of(evidence, node)) times.push_back(*char_time(*by_heat));
  }
  if (const auto* by_heat = chars_of(evidence, evidence.run.controller)) times.push_back(*char_time(*by_heat));
  const auto usual = middle(times);
  if (!usual || link >= evidence.run.links.size()) return {};
  const auto& ends = evidence.run.links[link];
  return {pace_of(evidence, which, ends.from, *usual, &Incident::sender_heat),
          pace_of(evidence, which, ends.to, *usual, &Incident::receiver_heat)};
}

}  // namespace hopbench
