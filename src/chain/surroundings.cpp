#include "chain/surroundings.h"

#include <algorithm>
#include <bit>
#include <cstdlib>
#include <utility>

#include "scenario/boards.h"

namespace hopbench {
namespace {

// A frame under way at a grid point is over within this, so that what is announced there finds nothing it is too late
// for.
constexpr Nanos notice = Pack::step / 2;

// What was read from repeats is looked up before the pack has forgotten it.
constexpr std::uint64_t settle_every = Pack::remembered / 2;

// A state is told again when it has moved by more than this: nobody reads boards to a thousandth of a degree.
constexpr std::int32_t told_mc = 500;
constexpr std::int32_t told_mv = 20;
constexpr std::int32_t told_ppb = 20'000;
constexpr std::int64_t told_ma_of = 20;  // a twentieth of what it was

bool any_watchdog(const ChainDescription& chain) {
  return std::any_of(chain.nodes.begin(), chain.nodes.end(), [&](const NodeSpec& node) {
    const ProcessorSpec& processor = chain.kinds[node.kind].processor;
    return processor.watchdog > 0 && !processor.duties.empty();
  });
}

}  // namespace

Surroundings::Surroundings(Works& works, std::vector<Node*> nodes, const std::vector<std::unique_ptr<Link>>& links)
    : works_(&works),
      nodes_(std::move(nodes)),
      links_(&links),
      goes_(false),
      pack_(works.chain.pack, boards_of(works.chain), works.luck, {works.chain.start.at, works.chain.start.charged}) {
  goes_ = pack_.moves() || any_watchdog(works.chain);
}

void Surroundings::begin() {
  const std::size_t nodes = nodes_.size();
  const Nanos now = works_->queue.now();
  hand_out();
  for (std::size_t i = 0; i < nodes; ++i) {
    settle_supply(i, false, now);
    settle_watchdog(i, now);
  }
  tell();
  if (goes_)
    works_->queue.push((now / Pack::step + 1) * Pack::step, Rank::signal, Works::surroundings_entity, 0, *this, 0);
}

/// To all that take up how boards are.
void Surroundings::hand_out() {
  const std::size_t nodes = nodes_.size();
  bleeding_.assign(nodes, 0);
  starting_.assign(nodes, false);
  before_.resize(nodes);
  for (std::size_t i = 0; i < nodes; ++i) nodes_[i]->take_up(pack_.board(i));
  for (const auto& link : *links_) link->take_up(pack_.charging());
}

void Surroundings::keep(Archive& archive) {
  pack_.keep(archive);
  // A board's figures, as they are told, are far within this.
  constexpr std::int32_t most = 1 << 30;
  archive.number("charge told", told_charge_ma_, -Archive::longest, Archive::longest);
  if (archive.restores()) told_nodes_.resize(nodes_.size());
  archive.all("told of node", told_nodes_, [&](NodeState& told) {
    archive.number("board temperature", told.board_mc, -most, most);
    archive.number("supply", told.supply_mv, -most, most);
    archive.number("clock", told.clock_ppb, -most, most);
    archive.number("flags", told.flags);
  });
  if (!archive.good() || !archive.restores()) return;
  hand_out();
  count_bleeding();
}

void Surroundings::on_event(Nanos now, std::uint64_t /*what*/) {
  go_on(now);
  works_->queue.push(now + Pack::step, Rank::signal, Works::surroundings_entity, 0, *this, 0);
}

void Surroundings::go_on(Nanos now) {
  const std::size_t nodes = nodes_.size();
  for (std::size_t i = 0; i < nodes; ++i) {
    bleeding_[i] = nodes_[i]->bleeding();
    starting_[i] = nodes_[i]->starts_in(now, now + Pack::step);
    before_[i] = pack_.board(i);
  }
  if (++steps_ % settle_every == 0) works_->settle();
  const bool was_charging = pack_.charging();
  pack_.advance(bleeding_, starting_);

  bool any = pack_.charging() != was_charging;
  bool other_bleeds = false;
  for (std::size_t i = 0; i < nodes; ++i) {
    const BoardState& board = pack_.board(i);
    const bool other = board.clock_ppb != before_[i].clock_ppb || board.too_hot != before_[i].too_hot ||
                       board.browned_out != before_[i].browned_out;
    any = any || other;
    other_bleeds = other_bleeds || board.too_hot != before_[i].too_hot;
  }
  if (any) {
    if (other_bleeds) works_->settle();
    works_->surroundings_changing();
    for (std::size_t i = 0; i < nodes; ++i) {
      nodes_[i]->take_up(pack_.board(i));
      settle_supply(i, before_[i].browned_out, now);
    }
    bleeds_changed();
  } else {
    for (std::size_t i = 0; i < nodes; ++i) nodes_[i]->take_up(pack_.board(i));
    if (moved_since_told()) tell();
  }
  for (std::size_t i = 0; i < nodes; ++i) settle_watchdog(i, now);
}

void Surroundings::settle_supply(std::size_t node, bool was_out, Nanos now) {
  const bool out = pack_.board(node).browned_out;
  if (out == was_out) return;
  const StreamKey stream = works_->luck.stream(name_hash(works_->chain.nodes[node].name), Purpose::fall_silent, 0);
  const std::uint64_t bits = draw(stream, static_cast<std::uint64_t>(now / Pack::step), out ? 0 : 1);
  const Nanos at = now + notice + static_cast<Nanos>(below(static_cast<std::uint64_t>(notice), bits));
  if (out) {
    nodes_[node]->fall_silent(at, never, Cause::brown_out);
  } else {
    nodes_[node]->come_back(at);
  }
}

void Surroundings::settle_watchdog(std::size_t node, Nanos now) {
  Node& each = *nodes_[node];
  if (!each.processor().has_watchdog()) return;
  bites_.clear();
  each.processor().watchdog_in(now + notice, now + notice + Pack::step, bites_);
  for (const Nanos at : bites_) {
    if (!each.off_at(at)) each.fall_silent(at, at + std::max<Nanos>(1, each.kind().start_up), Cause::watchdog);
  }
}

void Surroundings::count_bleeding() {
  cells_balancing_ = 0;
  for (const Node* node : nodes_) {
    cells_balancing_ += static_cast<std::uint32_t>(std::popcount(node->bleeding()));
  }
  works_->injector.set_balancing(cells_balancing_);
}

void Surroundings::bleeds_changed() {
  count_bleeding();
  for (const auto& link : *links_) link->take_up(pack_.charging());
  tell();
}

bool Surroundings::moved_since_told() const {
  if (told_nodes_.size() != nodes_.size()) return true;
  const std::int64_t charge = pack_.charge_ma();
  if (std::abs(charge - told_charge_ma_) > std::abs(told_charge_ma_) / told_ma_of) return true;
  for (std::size_t i = 0; i < told_nodes_.size(); ++i) {
    const BoardState& board = pack_.board(i);
    const NodeState& told = told_nodes_[i];
    if (std::abs(board.board_mc - told.board_mc) >= told_mc) return true;
    if (std::abs(static_cast<std::int32_t>(board.supply_uv / 1000) - told.supply_mv) >= told_mv) return true;
    if (std::abs(nodes_[i]->off_nominal_ppb() - told.clock_ppb) >= told_ppb) return true;
  }
  return false;
}

void Surroundings::tell() {
  const Nanos now = works_->queue.now();
  told_nodes_.clear();
  for (const Node* node : nodes_) told_nodes_.push_back(node->state_at(now));
  told_charge_ma_ = pack_.charge_ma();
  State state;
  state.at = now;
  state.cells_balancing = cells_balancing_;
  state.charge_ma = static_cast<std::int32_t>(told_charge_ma_);
  state.nodes = told_nodes_;
  works_->tap.state(state);
}

}  // namespace hopbench
