#include "chain/intake.h"

#include <algorithm>

namespace hopbench {

void Intake::take(std::span<const HeardChar> chars, std::vector<Piece>& pieces) {
  pieces.clear();
  found_.clear();
  fresh_.clear();
  cuts_.clear();
  const std::uint32_t first = position_;
  const auto is_here = [&](std::uint32_t position) { return position - first < chars.size(); };
  std::size_t seen = 0;
  for (const HeardChar& each : chars) {
    HeardChar character = each;
    character.tag = position_++;
    decoder_.push(character, fresh_);
    for (; seen < fresh_.size(); ++seen) {
      const Finding& finding = fresh_[seen];
      // The pause before this read was the end of what was half read.
      if (open_ && finding.last_tag + 1 == first) {
        found_.push_back({finding, pieces_++});
        open_ = false;
      }
      if (is_here(finding.first_tag)) cuts_.push_back(finding.first_tag - first);
      if (is_here(finding.last_tag + 1)) cuts_.push_back(finding.last_tag + 1 - first);
    }
  }
  cuts_.push_back(0);
  cuts_.push_back(chars.size());
  std::sort(cuts_.begin(), cuts_.end());
  cuts_.erase(std::unique(cuts_.begin(), cuts_.end()), cuts_.end());
  const auto is_told = [&](std::size_t place) {
    const std::uint32_t position = first + static_cast<std::uint32_t>(place);
    return std::any_of(fresh_.begin(), fresh_.end(), [&](const Finding& finding) {
      return position - finding.first_tag <= finding.last_tag - finding.first_tag;
    });
  };
  piece_of_.assign(chars.size(), 0);
  for (std::size_t i = 0; i + 1 < cuts_.size(); ++i) {
    Piece piece;
    piece.from = cuts_[i];
    piece.to = cuts_[i + 1];
    piece.goes_on = i == 0 && open_;
    piece.over = i + 2 < cuts_.size() || is_told(piece.to - 1) || decoder_.idle();
    std::fill(piece_of_.begin() + static_cast<std::ptrdiff_t>(piece.from),
              piece_of_.begin() + static_cast<std::ptrdiff_t>(piece.to), pieces_);
    open_ = !piece.over;
    if (piece.over) ++pieces_;
    pieces.push_back(piece);
  }
  for (const Finding& finding : fresh_) {
    if (is_here(finding.last_tag)) found_.push_back({finding, piece_of_[finding.last_tag - first]});
  }
}

bool Intake::wait(Nanos now) {
  found_.clear();
  fresh_.clear();
  decoder_.silent_until(now, fresh_);
  for (Finding& finding : fresh_) found_.push_back({finding, pieces_});
  if (!fresh_.empty() && decoder_.idle() && open_) {
    open_ = false;
    ++pieces_;
  }
  return !fresh_.empty();
}

}  // namespace hopbench
