#include "study/pack_track.h"

#include <algorithm>
#include <bit>

#include "scenario/boards.h"

namespace hopbench {
namespace {

// No run is silent for as long as this; a made-up capture may say so, and would keep the pack going for hours.
constexpr Nanos longest_way = 100 * 86'400 * second;

}  // namespace

PackTrack::PackTrack(const ChainDescription& chain, std::uint64_t seed)
    : battery_(chain.pack.battery.present),
      moves_(false),
      pack_(chain.pack, boards_of(chain), Luck(seed), {chain.start.at, chain.start.charged}),
      bleeding_(chain.nodes.size(), 0),
      nobody_starts_(chain.nodes.size(), false),
      at_(chain.start.at) {
  moves_ = pack_.moves();
  for (const NodeSpec& node : chain.nodes) {
    const KindSpec& kind = chain.kinds[node.kind];
    levels_.emplace_back(kind.levels, Luck(seed), name_hash(node.name));
    cells_.push_back(kind.cells);
  }
}

void PackTrack::state(const State& state) {
  go_to(state.at);
  if (state.nodes.size() != bleeding_.size()) return lose("its states are of another chain than its scenario");
  for (std::size_t i = 0; i < bleeding_.size(); ++i) {
    const std::uint32_t flags = state.nodes[i].flags;
    bleeding_[i] = flags >> 16U;
    if (std::popcount(bleeding_[i]) != static_cast<int>(flags >> 8U & 0xffU))
      return lose("it was written by an older hopbench, which did not record which cells were bled");
    if (bleeding_[i] >> cells_[i] != 0) return lose("it tells of bleeds that the scenario does not have");
  }
}

void PackTrack::go_to(Nanos at) {
  if (at <= at_ || !lost_.empty()) return;
  if (at - at_ > longest_way) return lose("nothing is recorded for a hundred days");
  at_ = at;
  while (moves_ && pack_.now() + Pack::step <= at) pack_.advance(bleeding_, nobody_starts_);
}

std::optional<std::int64_t> PackTrack::cell_uv(std::size_t node, std::uint32_t cell) const {
  if (!lost_.empty() || node >= cells_.size() || cell >= cells_[node]) return std::nullopt;
  return battery_ ? pack_.cell_uv(node, cell, at_) : levels_[node].microvolts(cell, at_);
}

std::optional<std::int64_t> PackTrack::charge_ppm(std::size_t node, std::uint32_t cell) const {
  if (!lost_.empty() || !battery_ || node >= cells_.size() || cell >= cells_[node]) return std::nullopt;
  return pack_.charge_ppm(node, cell);
}

}  // namespace hopbench
