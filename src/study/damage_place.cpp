#include "study/damage_place.h"

#include <fmt/format.h>

#include <array>
#include <boost/math/distributions/binomial.hpp>
#include <cmath>
#include <map>

#include "study/words.h"

namespace hopbench {
namespace {

constexpr double level = 1e-4;
constexpr double least_share = 0.5;
constexpr double nearly_all = 0.9;
constexpr double least_known = 12;  // frames

struct Hit {
  std::uint32_t at = 0;
  std::uint32_t chars = 0;
  std::uint8_t bits = 0;
  bool alone = false;  // something good came before it
};

/// Chance that of these runs at least so many begin at one place by chance, if each place of a frame is as likely.
double chance_of(const std::map<std::uint32_t, double>& runs, double trials, double law) {
  double most = 0;
  for (const auto& [place, count] : runs) most = std::max(most, count);
  if (trials < 1 || most < 1) return 1;
  const boost::math::binomial_distribution<double> binomial(trials, std::min(1.0, law));
  return std::min(1.0, boost::math::cdf(boost::math::complement(binomial, most - 1)) / law);
}

std::uint32_t place_of(const Hit& hit, bool from_end) { return from_end ? hit.chars - hit.at + 1 : hit.at; }

std::optional<DamagePlace> same_place(const std::vector<Hit>& hits, bool from_end) {
  std::map<std::uint32_t, std::uint64_t> count;
  std::map<std::uint32_t, double> runs;
  double trials = 0;
  double law = 0;
  for (const Hit& hit : hits) {
    ++count[place_of(hit, from_end)];
    if (!hit.alone) continue;
    ++runs[place_of(hit, from_end)];
    ++trials;
    law += 1.0 / hit.chars;
  }
  DamagePlace found;
  for (const auto& [place, number] : count) {
    if (number > found.in) {
      found.in = number;
      found.at = place;
    }
  }
  found.of = hits.size();
  found.from_end = from_end;
  if (trials < 1) return std::nullopt;
  found.p = chance_of(runs, trials, law / trials);
  if (static_cast<double>(found.in) < least_share * static_cast<double>(found.of) || found.p >= level)
    return std::nullopt;
  return found;
}

/// The bit that nearly all of these have, if each has one.
void add_bit(const std::vector<Hit>& hits, DamagePlace& found) {
  std::array<std::uint64_t, 8> bits{};
  std::uint64_t all = 0;
  for (const Hit& hit : hits) {
    if (found.at != 0 && place_of(hit, found.from_end) != found.at) continue;
    ++all;
    for (unsigned bit = 0; bit < 8; ++bit) bits[bit] += hit.bits == 1U << bit ? 1 : 0;
  }
  for (unsigned bit = 0; bit < 8; ++bit) {
    if (static_cast<double>(bits[bit]) < nearly_all * static_cast<double>(all)) continue;
    found.bit = bit;
    found.bit_in = bits[bit];
  }
}

std::optional<DamagePlace> same_bit(const std::vector<Hit>& hits) {
  DamagePlace found;
  found.of = found.in = hits.size();
  add_bit(hits, found);
  double trials = 0;
  std::map<std::uint32_t, double> runs;
  for (const Hit& hit : hits) {
    if (!hit.alone) continue;
    ++trials;
    ++runs[hit.bits];
  }
  found.p = chance_of(runs, trials, 1.0 / 8);
  if (!found.bit || found.p >= level) return std::nullopt;
  return found;
}

}  // namespace

DamageStarts damage_starts_of(const CaseSample& sample) {
  DamageStarts starts;
  for (std::size_t i = 0; i < sample.specimens().size(); ++i) {
    const Specimen& one = *sample.specimens()[i];
    if (!sample.failed(i) || one.damaged_at == 0) continue;
    ++starts.known;
    if (one.damaged_at == 1) ++starts.at_first;
  }
  return starts;
}

std::optional<DamagePlace> damage_place_of(const CaseSample& sample) {
  std::vector<Hit> hits;
  bool one_length = true;
  for (std::size_t i = 0; i < sample.specimens().size(); ++i) {
    const Specimen& one = *sample.specimens()[i];
    if (!sample.failed(i) || one.damaged_at == 0 || one.damaged_at > one.chars) continue;
    hits.push_back({one.damaged_at, one.chars, one.damaged_bits, sample.begins_run(i)});
    one_length = one_length && one.chars == hits.front().chars;
  }
  if (static_cast<double>(hits.size()) < least_known) return std::nullopt;
  auto found = same_place(hits, false);
  if (!one_length) {
    const auto back = same_place(hits, true);
    if (back && (!found || back->in > found->in)) found = back;
  }
  if (!found) return same_bit(hits);
  add_bit(hits, *found);
  return found;
}

std::string sentence_of(const DamagePlace& place, bool scaled) {
  const std::string sure = fmt::format(" ({}).", place.p < 0.0001 ? "p below 0.0001" : "p " + words::chance(place.p));
  const std::string about = scaled ? " of those looked at" : "";
  if (place.at == 0) {
    return fmt::format("Damage turns over bit {} of a byte, and no other bit of it, in {} of {}{}{}", *place.bit,
                       words::count(place.bit_in), words::count(place.of), about, sure);
  }
  std::string text = fmt::format("Damage begins at {} of the frame in {} of {}{}",
                                 !place.from_end ? fmt::format("byte {}", place.at)
                                 : place.at == 1 ? std::string("the last byte")
                                                 : fmt::format("byte {} from the end", place.at),
                                 words::count(place.in), words::count(place.of), about);
  if (place.bit) text += fmt::format(", and turns over bit {} of it in {}", *place.bit, words::count(place.bit_in));
  return text + sure;
}

}  // namespace hopbench
