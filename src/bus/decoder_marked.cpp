// Frames between markers. Without an end marker the next start or a pause ends a frame.
#include <algorithm>

#include "bus/decoder.h"
#include "bus/stuffing.h"

namespace hopbench {

bool Decoder::ends_with(const std::vector<std::uint8_t>& marker) const {
  return !marker.empty() && bytes_.size() >= marker.size() &&
         std::equal(marker.rbegin(), marker.rend(), bytes_.rbegin());
}

void Decoder::take_marked(const HeardChar& character, std::vector<Finding>& findings) {
  const FramingSpec& framing = protocol_->description().framing;
  hold(character);
  const std::size_t size = held_.size();
  const auto& awaited = framing.start.empty() ? framing.end : framing.start;
  // Of what is too long the last few may be the beginning of the marker. Where only an end marker tells of a frame, one
  // character is kept in any case: what comes next is no frame by itself.
  const std::size_t kept = std::max<std::size_t>(awaited.size() - 1, framing.start.empty() ? 1 : 0);
  if (!inside_) {
    if (ends_with(awaited)) {
      const std::size_t before = framing.start.empty() ? size : size - framing.start.size();
      if (before != 0) report(0, before, Damage::malformed, character.end, findings);
      drop(before);
      inside_ = true;
    } else if (size >= limit_ + awaited.size()) {
      const std::size_t surely = size - kept;
      report(0, surely, Damage::malformed, character.end, findings);
      drop(surely);
    }
    return;
  }
  const std::size_t body = framing.start.size();
  if (size >= body + framing.end.size() && ends_with(framing.end)) {
    close_marked(size - framing.end.size(), size, character.end, findings);
    inside_ = framing.start.empty();
    return;
  }
  const bool start_ends_it = framing.hex_text || framing.end.empty();
  if (start_ends_it && size >= body + framing.start.size() && ends_with(framing.start)) {
    const std::size_t before = size - framing.start.size();
    if (framing.end.empty()) {
      close_marked(before, before, character.end, findings);
    } else {
      report(0, before, Damage::too_short, character.end, findings);
      drop(before);
    }
    return;
  }
  if (size > body + limit_ + framing.end.size()) {
    const std::size_t surely = size - kept;
    report(0, surely, Damage::too_long, character.end, findings);
    drop(surely);
    inside_ = false;
  }
}

/// Content and frame between two places of what is held.
Damage Decoder::read_body(std::size_t from, std::size_t to, Content& content, Frame& frame) const {
  const auto body = bytes(from, to);
  if (!protocol_->description().framing.hex_text) {
    content.assign(body);
  } else if (!from_hex_text(body, content)) {
    return Damage::malformed;
  }
  return protocol_->parse(content.view(), frame);
}

/// Ends the frame whose body goes up to `body_end` and whose characters go up to `end`; forgets them.
void Decoder::close_marked(std::size_t body_end, std::size_t end, Nanos known_at, std::vector<Finding>& findings) {
  const auto& start = protocol_->description().framing.start;
  Content content;
  Frame frame;
  Damage damage = read_body(start.size(), body_end, content, frame);
  std::size_t from = 0;
  if (damage != Damage::none && !start.empty()) {
    // The end of the frame before may be what was damaged: is there a start from which all is well?
    for (std::size_t at = 1; at + start.size() <= body_end; ++at) {
      if (!std::equal(start.begin(), start.end(), bytes_.begin() + static_cast<std::ptrdiff_t>(at))) continue;
      Content later;
      Frame later_frame;
      if (read_body(at + start.size(), body_end, later, later_frame) != Damage::none) continue;
      report(0, at, Damage::too_long, known_at, findings);
      from = at;
      damage = Damage::none;
      content = later;
      frame = later_frame;
      break;
    }
  }
  Finding& finding = report(from, end, damage, known_at, findings);
  finding.content = content;
  finding.frame = frame;
  drop(end);
}

}  // namespace hopbench
