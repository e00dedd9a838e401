#include "bus_test_tools.h"

#include <algorithm>
#include <cstdlib>
#include <sstream>

namespace hopbench::testing {
namespace {

// Properties are tried on the same cases in every run. RC_PARAMS in the environment tries others.
[[maybe_unused]] const int same_cases = ::setenv("RC_PARAMS", "seed=20190411", 0);

}  // namespace

Bytes hex(const std::string& text) {
  std::istringstream words(text);
  Bytes bytes;
  for (std::string word; words >> word;) bytes.push_back(static_cast<std::uint8_t>(std::stoul(word, nullptr, 16)));
  return bytes;
}

Bytes run_of(std::uint8_t first, std::uint8_t last) {
  Bytes bytes;
  for (unsigned value = first; value <= last; ++value) bytes.push_back(static_cast<std::uint8_t>(value));
  return bytes;
}

Bytes content_of(const Protocol& protocol, const Frame& frame) {
  Content content;
  protocol.encode(frame, content);
  return {content.view().begin(), content.view().end()};
}

Bytes wire_of(const Protocol& protocol, const Frame& frame) {
  WireBytes wire;
  protocol.wrap(content_of(protocol, frame), wire);
  return {wire.view().begin(), wire.view().end()};
}

Line& Line::send(std::span<const std::uint8_t> bytes, std::uint32_t tag) {
  const std::uint64_t half_bits = protocol_.line().char_half_bits();
  for (std::size_t i = 0; i < bytes.size(); ++i) {
    HeardChar character;
    character.byte = bytes[i];
    character.start = at_ + span_of_bits(i * half_bits, period_ / 2);
    character.end = at_ + span_of_bits((i + 1) * half_bits, period_ / 2);
    character.tag = tag;
    chars_.push_back(character);
  }
  at_ += span_of_bits(bytes.size() * half_bits, period_ / 2);
  return *this;
}

Line& Line::long_pause() {
  const Nanos abandon = protocol_.abandon_silence(period_);
  return pause(
      std::max({abandon == never ? 0 : abandon, protocol_.end_silence(period_), protocol_.least_gap(period_)}) +
      10 * char_time());
}

std::vector<Finding> findings_of(const Protocol& protocol, std::span<const HeardChar> chars) {
  Decoder decoder(protocol, period_of_baud(protocol.line().baud));
  std::vector<Finding> findings;
  for (const HeardChar& character : chars) decoder.push(character, findings);
  if (!chars.empty()) decoder.silent_until(chars.back().end + 1000 * second, findings);
  return findings;
}

std::vector<Finding> findings_told_often(const Protocol& protocol, std::span<const HeardChar> chars) {
  Decoder decoder(protocol, period_of_baud(protocol.line().baud));
  std::vector<Finding> findings;
  for (const HeardChar& character : chars) {
    for (const Nanos at : {decoder.wants_wake() - 1, decoder.wants_wake(),
                           (decoder.wants_wake() / 2 + character.start / 2), character.start - 1}) {
      if (at < character.start) decoder.silent_until(at, findings);
    }
    decoder.push(character, findings);
    decoder.silent_until(character.end, findings);
  }
  if (!chars.empty()) {
    while (decoder.wants_wake() != never) decoder.silent_until(decoder.wants_wake(), findings);
  }
  return findings;
}

bool same(const Finding& a, const Finding& b) {
  const bool judged = a.damage == Damage::none || a.damage == Damage::check;
  return a.damage == b.damage && a.framing_error == b.framing_error && a.parity_error == b.parity_error &&
         a.overrun == b.overrun && a.abandoned == b.abandoned && a.first_edge == b.first_edge && a.end == b.end &&
         a.known_at == b.known_at && a.first_tag == b.first_tag && a.last_tag == b.last_tag && a.chars == b.chars &&
         a.content == b.content && (!judged || a.frame == b.frame);
}

bool same(const std::vector<Finding>& a, const std::vector<Finding>& b) {
  return a.size() == b.size() &&
         std::equal(a.begin(), a.end(), b.begin(), [](const Finding& x, const Finding& y) { return same(x, y); });
}

std::string shown(const std::vector<Finding>& findings) {
  static const char* names[] = {"none", "check", "too_short", "too_long", "malformed"};
  std::ostringstream out;
  for (const Finding& finding : findings) {
    out << names[static_cast<int>(finding.damage)] << " chars " << finding.chars << " tags " << finding.first_tag
        << ".." << finding.last_tag << " edge " << finding.first_edge << " end " << finding.end << " known "
        << finding.known_at << (finding.abandoned ? " abandoned" : "") << "\n";
  }
  return out.str();
}

std::vector<Frame> good_frames(const std::vector<Finding>& findings) {
  std::vector<Frame> frames;
  for (const Finding& finding : findings) {
    if (finding.damage == Damage::none) frames.push_back(finding.frame);
  }
  return frames;
}

std::optional<std::int64_t> Source::quantity(std::string_view name, std::uint32_t index) {
  for (const auto& [known, values] : quantities) {
    if (known == name && index < values.size()) return values[index];
  }
  return std::nullopt;
}

std::optional<std::uint64_t> Source::argument_in(std::string_view field, std::uint32_t repetition) {
  for (const auto& [known, values] : arguments) {
    if (known == field && !values.empty()) return values[std::min<std::size_t>(repetition, values.size() - 1)];
  }
  return std::nullopt;
}

}  // namespace hopbench::testing
