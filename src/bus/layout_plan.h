// A payload layout made ready: names resolved to indices, so that reading and filling look nothing up.
// Inner part of Protocol; everybody else goes through bus/protocol.h.
#pragma once

#include <array>
#include <cstddef>
#include <cstdint>
#include <optional>
#include <span>
#include <string_view>
#include <vector>

#include "bus/bits.h"
#include "bus/description.h"
#include "bus/scale.h"

namespace hopbench {

/// Bounds that let a reader keep what it has read on the stack.
inline constexpr std::size_t max_layout_items = 64;
inline constexpr std::size_t max_group_fields = 32;

inline constexpr std::size_t no_index = ~std::size_t{0};

struct FieldPlan {
  const FieldSpec* spec = nullptr;  // in the protocol's own copy of the description
  FieldCode code;
  std::size_t if_item = no_index;      // presence hangs on this plain field...
  std::size_t if_field = no_index;     // ...or on this field of the same group
  std::size_t counts_item = no_index;  // the group whose repetitions it counts
  // Where in the ask the value to be copied stands.
  std::size_t copied_item = no_index;
  std::size_t copied_field = 0;

  [[nodiscard]] std::int64_t value(std::uint64_t raw) const {
    return value_of_raw(spec->scale, raw, spec->bits, spec->is_signed);
  }
  [[nodiscard]] std::uint64_t raw(std::int64_t value) const {
    return raw_of_value(spec->scale, value, spec->bits, spec->is_signed, code.limit());
  }
};

struct ItemPlan {
  const GroupSpec* group = nullptr;  // null for a plain field
  std::vector<FieldPlan> fields;     // one for a plain field
  std::size_t count_item = no_index;
};

class LayoutPlan {
 public:
  LayoutPlan() = default;
  /// `layout` must outlive the plan; `ask` is where copied fields are looked up (may be null).
  LayoutPlan(const Layout& layout, const LayoutPlan* ask);

  [[nodiscard]] const std::vector<ItemPlan>& items() const { return items_; }

  struct FieldIndex {
    std::size_t item = no_index;
    std::size_t field = 0;
  };
  /// Item and field of that name, plain fields before fields of groups.
  [[nodiscard]] std::optional<FieldIndex> find(std::string_view name) const;

  /// Calls visit(item, field, repetition, raw) for each field that is present, in wire order; visit returns
  /// false to stop. Result: false if the payload does not fit the layout (`padded`: more bytes may follow).
  template <class Visit>
  bool read(std::span<const std::uint8_t> payload, bool padded, Visit&& visit) const;

  /// Raw value at one place; none if absent or the payload does not reach that far.
  [[nodiscard]] std::optional<std::uint64_t> raw_at(std::span<const std::uint8_t> payload, FieldIndex place,
                                                    std::uint32_t repetition) const;

 private:
  std::vector<ItemPlan> items_;
};

/// What has been read or written so far of the fields that others hang on. A value stands only where it is present:
/// clearing them all would cost more than reading a short payload.
struct Seen {
  std::array<std::uint64_t, max_layout_items> item;
  std::array<bool, max_layout_items> item_present{};
  std::array<std::uint64_t, max_group_fields> field;
  std::array<bool, max_group_fields> field_present{};

  [[nodiscard]] bool wants(const FieldPlan& plan) const {
    if (plan.if_item != no_index) return item_present[plan.if_item] && item[plan.if_item] == plan.spec->present_value;
    if (plan.if_field != no_index)
      return field_present[plan.if_field] && field[plan.if_field] == plan.spec->present_value;
    return true;
  }
};

/// Repetitions that a count field's raw value stands for; none if it stands for no whole number.
[[nodiscard]] std::optional<std::uint64_t> repetitions_of(const FieldPlan& count, std::uint64_t raw);

template <class Visit>
bool LayoutPlan::read(std::span<const std::uint8_t> payload, bool padded, Visit&& visit) const {
  Seen seen;
  const std::size_t bits = 8 * payload.size();
  std::size_t at = 0;
  for (std::size_t i = 0; i < items_.size(); ++i) {
    const ItemPlan& item = items_[i];
    std::uint64_t repetitions = 1;
    bool to_end = false;
    if (item.group != nullptr) {
      to_end = item.group->to_end;
      repetitions = item.group->times;
      if (item.count_item != no_index) {
        const auto counted = seen.item_present[item.count_item]
                                 ? repetitions_of(items_[item.count_item].fields.front(), seen.item[item.count_item])
                                 : std::optional<std::uint64_t>{0};
        if (!counted) return false;
        repetitions = *counted;
      }
    }
    for (std::uint64_t repetition = 0; to_end ? at < bits : repetition < repetitions; ++repetition) {
      const std::size_t before = at;
      for (std::size_t f = 0; f < item.fields.size(); ++f) {
        const FieldPlan& field = item.fields[f];
        const bool present = seen.wants(field);
        std::uint64_t raw = 0;
        if (present) {
          const std::size_t width = field.code.bits_at(payload.data(), at, bits - at);
          if (width == 0) return false;
          if (field.code.varies) {
            raw = field.code.load_text(payload.data() + at / 8, width / 8);
          } else {
            const auto loaded = field.code.load(payload.data(), at);
            if (!loaded) return false;
            raw = *loaded;
          }
          if (field.spec->constant && !field.spec->sent_only && raw != *field.spec->constant) return false;
          at += width;
          if (!visit(i, f, static_cast<std::uint32_t>(repetition), raw)) return true;
        }
        if (item.group != nullptr) {
          seen.field[f] = raw;
          seen.field_present[f] = present;
        } else {
          seen.item[i] = raw;
          seen.item_present[i] = present;
        }
      }
      if (at == before) break;  // nothing of this repetition is present, so nothing of the others would be
    }
  }
  return padded || at == bits;
}

}  // namespace hopbench
