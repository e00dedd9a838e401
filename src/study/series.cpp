#include "study/series.h"

#include <algorithm>
#include <bit>

#include "measure/measures.h"
#include "scenario/quantity.h"
#include "study/own_answer.h"

namespace hopbench {
namespace {

// Rows without a record that are written one by one. A made-up capture may jump as far as it likes.
constexpr Nanos most_silent_rows = 100'000;

constexpr Nanos least_time = -(Nanos{1} << 61U);
constexpr Nanos most_time = Nanos{1} << 61U;

}  // namespace

/// Takes down what an answer tells of one node.
class Series::Reader final : public Protocol::RegisterWriter {
 public:
  Reader(SeriesRow& row, std::size_t node, std::span<SeriesCell> cells)
      : row_(&row), node_(&row.nodes[node]), cells_(cells) {}

  void write(std::string_view name, std::uint32_t index, std::int64_t value) override {
    const auto quantity = quantity_named(name);
    if (!quantity) return;
    switch (*quantity) {
      case Quantity::cell_mv:
        if (index < cells_.size() && value < most_mv && value > -most_mv) cells_[index].told_uv = value * 1000;
        return;
      case Quantity::cell_uv:
        if (index < cells_.size()) cells_[index].told_uv = value;
        return;
      case Quantity::bleed_mask:
        if (index == 0) node_->told_bled = std::popcount(static_cast<std::uint64_t>(value));
        return;
      case Quantity::board_temp_mc:
        if (index == 0) node_->told_board_mc = value;
        return;
      case Quantity::supply_mv:
        if (index == 0) node_->told_supply_mv = value;
        return;
      case Quantity::string_current_ma:
        if (index == 0) row_->told_ma = value;
        return;
      default:
        return;
    }
  }

 private:
  static constexpr std::int64_t most_mv = std::int64_t{1} << 50U;
  SeriesRow* row_;
  SeriesNode* node_;
  std::span<SeriesCell> cells_;
};

void Series::begin(const RunInfo& run) {
  first_cell_.assign(1, 0);
  for (const std::uint32_t cells : run.cells) first_cell_.push_back(first_cell_.back() + std::min(cells, most_cells));
  was_.assign(run.nodes.size(), std::nullopt);
  row_ = {};
  row_.nodes.resize(run.nodes.size());
  row_.cells.resize(first_cell_.back());
  begun_ = false;
}

void Series::begin_row(Nanos from) {
  row_.from = from;
  row_.exchanges = row_.not_answered = 0;
  row_.told_ma.reset();
  std::fill(row_.nodes.begin(), row_.nodes.end(), SeriesNode{});
  std::fill(row_.cells.begin(), row_.cells.end(), SeriesCell{});
}

void Series::finish_row(Nanos to) {
  row_.to = to;
  row_.was_ma = was_ma_;
  for (std::size_t i = 0; i < row_.nodes.size(); ++i) row_.nodes[i].was = was_[i];
  if (track_ != nullptr) {
    track_->go_to(to - 1);
    for (std::size_t node = 0; node < row_.nodes.size() && node + 1 < first_cell_.size(); ++node) {
      for (std::size_t i = first_cell_[node]; i < first_cell_[node + 1]; ++i) {
        const auto cell = static_cast<std::uint32_t>(i - first_cell_[node]);
        row_.cells[i].was_uv = track_->cell_uv(node, cell);
        row_.cells[i].was_charge_ppm = track_->charge_ppm(node, cell);
      }
    }
  }
  goes_on_ = goes_on_ && write_(row_);
}

/// Something is told of `at`: the rows before are whole.
void Series::reach(Nanos at) {
  at = std::clamp(at, least_time, most_time);
  const Nanos since = (at % step_ + step_) % step_;
  if (!begun_) {
    begun_ = true;
    begin_row(at - since);
    return;
  }
  if (at - row_.from < step_) return;
  if ((at - row_.from) / step_ > most_silent_rows) {
    finish_row(row_.from + step_);
    if (track_ != nullptr) track_->lose("nothing is recorded for a hundred thousand rows");
    begin_row(at - since);
    return;
  }
  while (goes_on_ && at - row_.from >= step_) {
    finish_row(row_.from + step_);
    begin_row(row_.to);
  }
}

void Series::exchange(const ExchangeObs& obs, const ExchangeTruth* /*truth*/) {
  reach(obs.closed);
  ++row_.exchanges;
  if (obs.outcome != Outcome::answered) ++row_.not_answered;
  if (protocol_ == nullptr || obs.node >= row_.nodes.size() || obs.node + std::size_t{1} >= first_cell_.size()) return;
  if (protocol_->parse(obs.asked, ask_) != Damage::none || !own_answer(*protocol_, obs, ask_, answer_)) return;
  const std::size_t first = first_cell_[obs.node];
  Reader reader(row_, obs.node, std::span(row_.cells).subspan(first, first_cell_[obs.node + std::size_t{1}] - first));
  (void)protocol_->told(answer_, ask_.payload.view(), reader);
}

void Series::tally(const Tally& tally) {
  reach(tally.to);
  Measures measures;
  if (!Measures::parse(tally.measures, measures)) return;
  row_.exchanges += measures.all.asked;
  row_.not_answered += measures.all.asked - measures.all.outcomes[static_cast<std::size_t>(Outcome::answered)];
}

void Series::state(const State& state) {
  reach(state.at);
  if (track_ == nullptr) return;
  track_->state(state);
  was_ma_ = state.charge_ma;
  for (std::size_t i = 0; i < std::min(was_.size(), state.nodes.size()); ++i) was_[i] = state.nodes[i];
}

void Series::dropped(const Dropped& dropped) {
  reach(dropped.to);
  // States may be among them.
  was_ma_.reset();
  std::fill(was_.begin(), was_.end(), std::nullopt);
  if (track_ != nullptr) track_->lose("records are missing from it");
}

void Series::end(Nanos until, const Lateness& /*lateness*/) {
  reach(until);
  if (begun_ && goes_on_ && until > row_.from) finish_row(std::min(until, row_.from + step_));
}

}  // namespace hopbench
