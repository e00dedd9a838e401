#include "scenario/stand_in.h"

#include <algorithm>

#include "scenario/quantity.h"

namespace hopbench {
namespace {

/// A cell at rest and its surroundings: figures of no battery in particular.
std::int64_t usual(Quantity quantity) {
  switch (quantity) {
    case Quantity::cell_mv:
    case Quantity::supply_mv:
      return 3'300;
    case Quantity::cell_uv:
      return 3'300'000;
    case Quantity::cell_count:
    case Quantity::kind_code:
    case Quantity::address:
      return 1;
    case Quantity::board_temp_mc:
      return 25'000;
    case Quantity::low_limit_mv:
      return 2'500;
    case Quantity::high_limit_mv:
      return 3'650;
    case Quantity::snapshot_age_ms:
    case Quantity::serial_number:
    case Quantity::uptime_s:
    case Quantity::frames_heard:
    case Quantity::check_failures:
    case Quantity::bleed_mask:
    case Quantity::string_current_ma:
      break;
  }
  return 0;
}

}  // namespace

StandIn::StandIn(Given given, const TopicSpec& topic) : given_(std::move(given)) {
  if (!topic.count_field.empty()) counts_.insert(topic.count_field);
  const auto look = [&](const FieldSpec& field) {
    if (!field.constant && field.quantity.empty() && field.copied_from_ask.empty()) bare_.insert(field.name);
  };
  for (const Layout* layout : {&topic.ask, &topic.answer}) {
    for (const LayoutItem& item : *layout) {
      if (item.field) look(*item.field);
      if (!item.group) continue;
      if (!item.group->count_field.empty()) counts_.insert(item.group->count_field);
      for (const FieldSpec& field : item.group->fields) look(field);
    }
  }
}

std::optional<std::int64_t> StandIn::given(std::string_view name, std::uint32_t index) {
  const auto found = given_.find(name);
  if (found == given_.end() || found->second.empty()) return std::nullopt;
  used_.emplace(name);
  return found->second[std::min<std::size_t>(index, found->second.size() - 1)];
}

std::optional<std::int64_t> StandIn::quantity(std::string_view name, std::uint32_t index) {
  if (const auto value = given(name, index)) return value;
  const auto quantity = quantity_named(name);
  if (!quantity) return std::nullopt;
  return taken_[std::string(name)] = usual(*quantity);
}

std::optional<std::uint64_t> StandIn::argument_in(std::string_view field, std::uint32_t repetition) {
  if (const auto value = given(field, repetition)) return static_cast<std::uint64_t>(*value);
  if (bare_.find(field) == bare_.end()) return std::nullopt;
  const std::int64_t value = counts_.find(field) != counts_.end() ? 1 : 0;
  taken_[std::string(field)] = value;
  return static_cast<std::uint64_t>(value);
}

std::vector<std::string> StandIn::unused() const {
  std::vector<std::string> names;
  for (const auto& [name, values] : given_) {
    if (used_.find(name) == used_.end()) names.push_back(name);
  }
  return names;
}

}  // namespace hopbench
