#include "chain/intake.h"

#include <algorithm>

namespace hopbench {
namespace {

// A decoder holds no more than a few frames, and each of its bytes may be a piece.
constexpr std::size_t most_begun = 4096;

}  // namespace

bool Intake::is_told(std::uint32_t position) const {
  return std::any_of(fresh_.begin(), fresh_.end(), [&](const Finding& finding) {
    return position - finding.first_tag <= finding.last_tag - finding.first_tag;
  });
}

std::uint64_t Intake::piece_at(std::uint32_t position) const {
  std::uint64_t number = begun_.front().number;
  for (const Begun& each : begun_) {
    if (position - each.position >= 0x80000000U) break;  // positions wrap
    number = each.number;
  }
  return number;
}

void Intake::place_findings() {
  for (const Finding& finding : fresh_) {
    found_.push_back({finding, piece_at(finding.first_tag), piece_at(finding.last_tag)});
  }
  if (decoder_.idle() && begun_.size() > 1) begun_.erase(begun_.begin(), begun_.end() - 1);
  while (begun_.size() > most_begun) begun_.pop_front();
}

void Intake::cut_at_findings(std::uint32_t first, std::size_t count) {
  for (const Finding& finding : fresh_) {
    if (finding.first_tag - first < count) cuts_.push_back(finding.first_tag - first);
    if (finding.last_tag + 1 - first < count) cuts_.push_back(finding.last_tag + 1 - first);
  }
}

/// Where a frame claims more bytes than came, those that came may be frames of their own.
/// Returns whether one of them ends where the read does.
bool Intake::cut_undecided(std::span<const HeardChar> chars, std::uint32_t first) {
  if (protocol_->description().framing.kind != FramingKind::sized) return false;
  bool ends_whole = false;
  std::vector<std::uint8_t> bytes;
  for (const HeardChar& each : chars) bytes.push_back(each.byte);
  Frame unused;
  for (std::size_t at = 0; at < bytes.size();) {
    const auto rest = std::span<const std::uint8_t>(bytes).subspan(at);
    const auto length = is_told(first + static_cast<std::uint32_t>(at)) ? std::nullopt : protocol_->sized_length(rest);
    const bool whole = length && *length > 0 && *length <= rest.size();
    if (!whole || protocol_->parse(rest.first(*length), unused) != Damage::none) {
      ++at;
      continue;
    }
    cuts_.push_back(at);
    if (at == 0) open_ = false;
    at += *length;
    cuts_.push_back(at);
    ends_whole = at == bytes.size();
  }
  return ends_whole;
}

void Intake::take(std::span<const HeardChar> chars, std::vector<Piece>& pieces) {
  pieces.clear();
  found_.clear();
  fresh_.clear();
  const std::uint32_t first = position_;
  for (const HeardChar& each : chars) {
    HeardChar character = each;
    character.tag = position_++;
    const std::size_t seen = fresh_.size();
    decoder_.push(character, fresh_);
    // The pause before this read was the end of what was half read.
    for (std::size_t i = seen; i < fresh_.size(); ++i) open_ = open_ && fresh_[i].last_tag + 1 != first;
  }
  cuts_.assign({0, chars.size()});
  cut_at_findings(first, chars.size());
  const bool ends_whole = !decoder_.idle() && cut_undecided(chars, first);
  std::sort(cuts_.begin(), cuts_.end());
  cuts_.erase(std::unique(cuts_.begin(), cuts_.end()), cuts_.end());
  for (std::size_t i = 0; i + 1 < cuts_.size(); ++i) {
    Piece piece;
    piece.from = cuts_[i];
    piece.to = cuts_[i + 1];
    piece.goes_on = i == 0 && open_;
    if (!piece.goes_on) begun_.push_back({first + static_cast<std::uint32_t>(piece.from), pieces_++});
    piece.number = pieces_ - 1;
    piece.over = i + 2 < cuts_.size() || ends_whole || decoder_.idle() ||
                 is_told(first + static_cast<std::uint32_t>(piece.to - 1));
    open_ = !piece.over;
    pieces.push_back(piece);
  }
  place_findings();
}

std::vector<Intake::Found> Intake::if_that_is_all() const {
  std::vector<Found> found;
  if (decoder_.wants_wake() == never || begun_.empty()) return found;
  Decoder ahead = decoder_;
  std::vector<Finding> findings;
  ahead.silent_until(ahead.wants_wake(), findings);
  for (const Finding& finding : findings) {
    found.push_back({finding, piece_at(finding.first_tag), piece_at(finding.last_tag)});
  }
  return found;
}

bool Intake::wait(Nanos now) {
  found_.clear();
  fresh_.clear();
  decoder_.silent_until(now, fresh_);
  if (decoder_.idle()) open_ = false;
  if (!fresh_.empty()) place_findings();
  return !fresh_.empty();
}

}  // namespace hopbench
