#include "study/told_conditions.h"

#include <algorithm>
#include <bit>
#include <limits>
#include <string_view>

#include "measure/measures.h"
#include "scenario/quantity.h"
#include "study/own_answer.h"

namespace hopbench {
namespace {

/// Calls `see(quantity)` for each that a layout names.
template <class See>
void each_quantity(const Layout& layout, See see) {
  for (const LayoutItem& item : layout) {
    if (item.field) see(item.field->quantity);
    if (!item.group) continue;
    for (const FieldSpec& field : item.group->fields) see(field.quantity);
  }
}

}  // namespace

/// Takes down what a payload holds of the quantities that matter, of a board's first of each.
class ToldConditions::Listener final : public Protocol::RegisterWriter {
 public:
  explicit Listener(std::vector<Reading>& readings) : readings_(&readings) { readings.clear(); }
  void write(std::string_view quantity, std::uint32_t index, std::int64_t value) override {
    if (const auto what = told_named(quantity); what && index == 0) readings_->push_back({*what, value});
  }

 private:
  std::vector<Reading>* readings_;
};

std::optional<ToldValue> NodeTold::mask() const {
  if (!mask_asked) return mask_told;
  return mask_told && mask_told->at >= mask_asked->at ? mask_told : mask_asked;
}

void ToldConditions::Tellers::again(std::size_t nodes) {
  times.assign(nodes, 0);
  twice = 0;
}

void ToldConditions::Tellers::count(std::size_t node) {
  if (times[node] < 2 && ++times[node] == 2) ++twice;
}

bool ToldConditions::Tellers::enough(std::size_t told) const {
  return told > 0 && (told == times.size() || 2 * twice >= told);
}

std::optional<ToldConditions::Told> ToldConditions::told_named(std::string_view quantity) {
  switch (quantity_named(quantity).value_or(Quantity::cell_count)) {
    case Quantity::bleed_mask:
      return Told::mask;
    case Quantity::board_temp_mc:
      return Told::board;
    case Quantity::supply_mv:
      return Told::supply;
    case Quantity::string_current_ma:
      return Told::current;
    default:
      return std::nullopt;
  }
}

ToldConditions::Topic ToldConditions::look_at(const TopicSpec& spec) {
  Topic topic;
  topic.by_number = !spec.first_field.empty();
  each_quantity(spec.ask, [&](const std::string& quantity) {
    topic.orders = topic.orders || (spec.changes && told_named(quantity) == Told::mask);
  });
  each_quantity(spec.answer, [&](const std::string& quantity) {
    const auto what = told_named(quantity);
    topic.tells = topic.tells || what;
    if (what) tellable_[static_cast<std::size_t>(*what)] = Tellable::yes;
  });
  if (topic.orders) tellable_[static_cast<std::size_t>(Told::mask)] = Tellable::yes;
  if (spec.values_group.empty()) return topic;
  for (const RegisterSpec& shown : protocol_->description().registers) {
    const auto what = told_named(shown.quantity);
    if (!what) continue;
    topic.tells = true;
    topic.orders = topic.orders || (spec.changes && *what == Told::mask);
    tellable_[static_cast<std::size_t>(*what)] = Tellable::yes;
  }
  return topic;
}

void ToldConditions::begin(const RunInfo& run) {
  nodes_.assign(run.nodes.size(), {});
  known_.assign(run.nodes.size(), {});
  all_cells_.assign(run.nodes.size(), ~std::uint64_t{0});
  for (std::size_t i = 0; i < std::min(run.nodes.size(), run.cells.size()); ++i) {
    if (run.cells[i] > 0 && run.cells[i] < 64) all_cells_[i] = (std::uint64_t{1} << run.cells[i]) - 1;
  }
  for (Tellers& tellers : tellers_) tellers.again(run.nodes.size());
  tellable_.fill(protocol_ == nullptr ? Tellable::not_known : Tellable::no);
  node_of_.clear();
  at_ = std::numeric_limits<Nanos>::min();
  version_ = 0;
  topics_.clear();
  worth_.assign(run.entries.size(), false);
  if (protocol_ == nullptr) return;
  for (const TopicSpec& spec : protocol_->description().topics) topics_.push_back(look_at(spec));
  for (std::size_t i = 0; i < run.entries.size(); ++i) {
    const auto topic = protocol_->topic_named(run.entries[i].topic);
    worth_[i] = !topic || topics_[*topic].orders || topics_[*topic].tells;
  }
}

void ToldConditions::forget(Nanos at) {
  std::fill(nodes_.begin(), nodes_.end(), NodeTold{});
  for (Tellers& tellers : tellers_) tellers.again(nodes_.size());
  at_ = std::max(at_, at);
  ++version_;
}

void ToldConditions::tally(const Tally& tally) {
  Measures measures;
  bool ordered = false;
  if (protocol_ != nullptr && Measures::parse(tally.measures, measures)) {
    for (std::size_t i = 0; i < std::min(measures.topics.size(), measures.by_topic.size()); ++i) {
      const auto topic = protocol_->topic_named(measures.topics[i]);
      ordered = ordered || (topic && topics_[*topic].orders && measures.by_topic[i].tries > 0);
    }
  } else {
    ordered = true;  // it may hold any
  }
  if (!ordered) return;
  for (NodeTold& node : nodes_) node.mask_asked = node.mask_told = std::nullopt;
  tellers_[static_cast<std::size_t>(Told::mask)].again(nodes_.size());
  at_ = std::max(at_, tally.from);
  ++version_;
}

void ToldConditions::order(const ExchangeObs& obs, std::int64_t mask, Nanos at) {
  const auto to = [&](NodeTold& node) {
    if (!node.mask_asked || node.mask_asked->at <= at) node.mask_asked = ToldValue{mask, at};
  };
  if (obs.node < nodes_.size()) {
    to(nodes_[obs.node]);
  } else if (protocol_->bound_for(ask_, std::nullopt) == Protocol::Bound::everyone) {
    for (NodeTold& node : nodes_) to(node);
  } else {
    return;
  }
  at_ = std::max(at_, at);
  ++version_;
}

void ToldConditions::take(std::size_t node, const Reading& reading, Nanos at, bool in_poll) {
  NodeTold& told = nodes_[node];
  auto& place = reading.what == Told::mask      ? told.mask_told
                : reading.what == Told::current ? told.string_ma
                : reading.what == Told::board   ? told.board_mc
                                                : told.supply_mv;
  if (place && place->at > at) return;
  place = ToldValue{reading.value, at};
  if (in_poll) tellers_[static_cast<std::size_t>(reading.what)].count(node);
  at_ = std::max(at_, at);
  ++version_;
}

void ToldConditions::exchange(const ExchangeObs& obs) {
  if (protocol_ == nullptr || obs.entry >= worth_.size() || !worth_[obs.entry] || obs.asked.empty()) return;
  if (protocol_->parse(obs.asked, ask_) != Damage::none) return;
  const auto topic = protocol_->topic(ask_);
  if (!topic || obs.outcome == Outcome::refused || obs.outcome == Outcome::bad_ask) return;
  const Topic& may = topics_[*topic];
  Listener listener(readings_);
  bool ordered = false;
  if (may.orders && !protocol_->apply_writes(ask_, listener)) {
    const Nanos sent = obs.attempts.empty() ? obs.start : obs.attempts.back().ask_end;
    for (const Reading& reading : readings_) {
      if (reading.what != Told::mask) continue;
      order(obs, reading.value, sent);
      ordered = true;
    }
  }
  // An answer that may be another node's tells of none.
  if (obs.node >= nodes_.size() || !own_answer(*protocol_, obs, ask_, answer_)) return;
  if (const auto source = protocol_->source(answer_)) node_of_[*source] = obs.node;
  if (!may.tells) return;
  readings_.clear();
  if (!protocol_->told(answer_, ask_.payload.view(), listener)) return;
  const Nanos heard = obs.outcome == Outcome::late ? obs.closed : obs.decided;
  for (const Reading& reading : readings_) take(obs.node, reading, heard, !ordered);
}

/// An answer that came after its exchange was over. Only where frames say what they are: an ask that has gone round
/// would be taken for one.
void ToldConditions::stray(const Stray& stray) {
  if (protocol_ == nullptr || stray.symptom != Symptom::none ||
      protocol_->description().roles.tell_role != TellRole::by_field ||
      !read_answer(*protocol_, stray.heard, answer_)) {
    return;
  }
  const auto topic = protocol_->topic(answer_);
  const auto source = protocol_->source(answer_);
  if (answer_.role != Role::answer || !topic || !source) return;
  const auto node = node_of_.find(*source);
  // What an ask measures out cannot be told apart without it.
  if (node == node_of_.end() || !topics_[*topic].tells || topics_[*topic].by_number) return;
  Listener listener(readings_);
  if (!protocol_->told(answer_, {}, listener)) return;
  for (const Reading& reading : readings_) take(node->second, reading, stray.at, false);
}

ConditionValues ToldConditions::now() {
  ConditionValues conditions;
  conditions.as_told = true;
  conditions.at = at_;
  std::uint32_t cells = 0;
  std::optional<ToldValue> current;
  const auto count = [&](Told what, const ToldValue& value) {
    Source& source = conditions.sources[static_cast<std::size_t>(what)];
    source.oldest = source.nodes == 0 ? value.at : std::min(source.oldest, value.at);
    ++source.nodes;
  };
  for (std::size_t i = 0; i < nodes_.size(); ++i) {
    const NodeTold& node = nodes_[i];
    if (const auto mask = node.mask()) {
      cells += static_cast<std::uint32_t>(std::popcount(static_cast<std::uint64_t>(mask->value) & all_cells_[i]));
      count(Told::mask, *mask);
    }
    if (node.board_mc) count(Told::board, *node.board_mc);
    if (node.supply_mv) count(Told::supply, *node.supply_mv);
    if (node.string_ma && (!current || current->at <= node.string_ma->at)) current = node.string_ma;
  }
  const auto enough = [&](Told what) {
    return tellers_[static_cast<std::size_t>(what)].enough(conditions.sources[static_cast<std::size_t>(what)].nodes);
  };
  const auto kept = [](std::int64_t value) {
    return static_cast<std::int32_t>(std::clamp<std::int64_t>(value, std::numeric_limits<std::int32_t>::min(),
                                                              std::numeric_limits<std::int32_t>::max()));
  };
  const bool boards = enough(Told::board);
  const bool supplies = enough(Told::supply);
  for (std::size_t i = 0; i < nodes_.size(); ++i) {
    NodeConditions& node = known_[i];
    node = {};
    if (boards && nodes_[i].board_mc) node.board_mc = kept(nodes_[i].board_mc->value);
    if (supplies && nodes_[i].supply_mv) node.supply_mv = kept(nodes_[i].supply_mv->value);
  }
  if (enough(Told::mask)) conditions.cells_balancing = cells;
  if (current) {  // of a string all nodes tell the same
    conditions.charge_ma = kept(current->value);
    count(Told::current, *current);
  }
  for (std::size_t i = 0; i < told_count; ++i) conditions.sources[i].tellable = tellable_[i];
  conditions.nodes = known_;
  return conditions;
}

}  // namespace hopbench
