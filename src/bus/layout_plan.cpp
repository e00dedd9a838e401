#include "bus/layout_plan.h"

namespace hopbench {
namespace {

std::size_t plain_field_before(const Layout& layout, std::size_t end, std::string_view name) {
  for (std::size_t i = 0; i < end; ++i) {
    if (layout[i].field && layout[i].field->name == name) return i;
  }
  return no_index;
}

}  // namespace

LayoutPlan::LayoutPlan(const Layout& layout, const LayoutPlan* ask) {
  items_.resize(layout.size());
  const auto make = [&](const FieldSpec& spec, std::size_t item) {
    FieldPlan plan;
    plan.spec = &spec;
    plan.code = FieldCode(spec);
    if (!spec.copied_from_ask.empty() && ask != nullptr) {
      if (const auto place = ask->find(spec.copied_from_ask)) {
        plan.copied_item = place->item;
        plan.copied_field = place->field;
      }
    }
    if (!spec.present_if.empty()) plan.if_item = plain_field_before(layout, item, spec.present_if);
    return plan;
  };
  for (std::size_t i = 0; i < layout.size(); ++i) {
    ItemPlan& item = items_[i];
    if (layout[i].field) {
      item.fields.push_back(make(*layout[i].field, i));
      continue;
    }
    item.group = &*layout[i].group;
    for (const FieldSpec& spec : item.group->fields) {
      FieldPlan plan = make(spec, i);
      for (std::size_t f = 0; f < item.fields.size(); ++f) {
        if (!spec.present_if.empty() && item.fields[f].spec->name == spec.present_if) {
          plan.if_field = f;
          plan.if_item = no_index;
        }
      }
      item.fields.push_back(plan);
    }
    if (!item.group->count_field.empty()) {
      item.count_item = plain_field_before(layout, i, item.group->count_field);
      if (item.count_item != no_index && items_[item.count_item].fields.front().counts_item == no_index) {
        items_[item.count_item].fields.front().counts_item = i;
      }
    }
  }
}

std::optional<LayoutPlan::FieldIndex> LayoutPlan::find(std::string_view name) const {
  for (const bool in_groups : {false, true}) {
    for (std::size_t i = 0; i < items_.size(); ++i) {
      if ((items_[i].group != nullptr) != in_groups) continue;
      for (std::size_t f = 0; f < items_[i].fields.size(); ++f) {
        if (items_[i].fields[f].spec->name == name) return FieldIndex{i, f};
      }
    }
  }
  return std::nullopt;
}

std::optional<std::uint64_t> LayoutPlan::raw_at(std::span<const std::uint8_t> payload, FieldIndex place,
                                                std::uint32_t repetition) const {
  std::optional<std::uint64_t> found;
  read(payload, true, [&](std::size_t item, std::size_t field, std::uint32_t at_repetition, std::uint64_t raw) {
    if (item != place.item || field != place.field || at_repetition != repetition) return item <= place.item;
    found = raw;
    return false;
  });
  return found;
}

std::optional<std::uint64_t> repetitions_of(const FieldPlan& count, std::uint64_t raw) {
  const std::int64_t value = count.value(raw);
  if (value < 0 || count.raw(value) != raw) return std::nullopt;
  return static_cast<std::uint64_t>(value);
}

}  // namespace hopbench
