// Payloads by the layouts of their topics: filled, read, written into registers.
#include <algorithm>
#include <limits>

#include "bus/protocol_plan.h"

namespace hopbench {

const LayoutPlan* Protocol::Plan::layout_for(const Frame& frame_value, std::optional<std::uint32_t> topic,
                                             Side side) const {
  if (side == Side::answer && frame_value.role == Role::refusal) return &refusal;
  if (!names_topic(frame_value)) return &nothing;
  if (!topic || *topic >= topics.size()) return nullptr;
  return side == Side::ask ? &topics[*topic].ask : &topics[*topic].answer;
}

namespace {

constexpr std::uint64_t most_registers = std::uint64_t{1} << 32U;

/// One payload being filled.
class Filler {
 public:
  Filler(const BusDescription& bus, const TopicPlan& topic, Protocol::Side side, std::span<const std::uint8_t> asked,
         PayloadSource& source, Content& payload, std::size_t room, bool padded)
      : bus_(bus),
        topic_(topic),
        side_(side),
        asked_(asked),
        source_(source),
        payload_(payload),
        room_(room),
        padded_(padded) {}

  std::optional<Refusal> fill(const LayoutPlan& layout) {
    layout_ = &layout;
    payload_.clear();
    if (const auto reason = find_first()) return reason;
    for (std::size_t i = 0; i < layout.items().size(); ++i) {
      const ItemPlan& item = layout.items()[i];
      std::uint64_t repetitions = 1;
      if (item.group != nullptr) {
        const auto counted = repetitions_for(i);
        if (!counted) return Refusal::bad_value;
        repetitions = *counted;
        if (cannot_fit(item, repetitions)) return Refusal::too_long;
      }
      for (std::uint64_t repetition = 0; repetition < repetitions; ++repetition) {
        const std::size_t before = bits_;
        for (std::size_t f = 0; f < item.fields.size(); ++f) {
          if (const auto reason = fill_field(i, f, static_cast<std::uint32_t>(repetition))) return reason;
        }
        if (bits_ == before) break;
      }
    }
    if (padded_) payload_.resize(room_);
    return std::nullopt;
  }

 private:
  /// So many turns of a group are too long whatever is in them: known before anything is looked up.
  [[nodiscard]] bool cannot_fit(const ItemPlan& item, std::uint64_t turns) const {
    std::uint64_t bits = 0;
    for (const FieldPlan& field : item.fields) {
      if (field.spec->present_if.empty()) bits += field.code.least_bits();
    }
    return bits > 0 && turns > (8 * room_ - bits_) / bits;
  }

  [[nodiscard]] bool is_values(std::size_t item) const {
    return item == (side_ == Protocol::Side::ask ? topic_.ask_values : topic_.answer_values);
  }

  /// Value of one of the ask's plain fields: from the ask, or, while that is being filled, from its argument.
  std::optional<std::uint64_t> asked_value(const LayoutPlan::FieldIndex& place) {
    const FieldPlan& field = topic_.ask.items()[place.item].fields[place.field];
    const auto raw = side_ == Protocol::Side::ask
                         ? (field.spec->constant ? field.spec->constant : source_.argument(field.spec->name))
                         : topic_.ask.raw_at(asked_, place, 0);
    if (!raw || !field.code.has_room_for(*raw)) return std::nullopt;
    return repetitions_of(field, *raw);
  }

  std::optional<Refusal> find_first() {
    if (!topic_.first || (topic_.ask_values == no_index && topic_.answer_values == no_index)) return std::nullopt;
    const auto first = asked_value(*topic_.first);
    if (!first) return Refusal::bad_value;
    if (*first >= most_registers) return Refusal::bad_address;
    first_ = *first;
    return std::nullopt;
  }

  std::optional<std::uint64_t> repetitions_for(std::size_t i) {
    const ItemPlan& item = layout_->items()[i];
    if (item.group->times != 0) return item.group->times;
    if (item.count_item != no_index && !seen_.item_present[item.count_item] && i > item.count_item) return 0;
    return repetitions_wanted(i);
  }

  /// How often the group comes: the ask says so for values, else the count field's own value.
  std::optional<std::uint64_t> repetitions_wanted(std::size_t i) {
    const ItemPlan& item = layout_->items()[i];
    if (item.group->times != 0) return item.group->times;
    if (is_values(i)) {
      if (!topic_.count) return 1;
      const auto count = asked_value(*topic_.count);
      if (!count || *count == 0) return std::nullopt;
      return count;
    }
    if (item.count_item == no_index) return repetitions_to_end(item);
    const FieldPlan& field = layout_->items()[item.count_item].fields.front();
    std::optional<std::uint64_t> raw;
    if (field.spec->constant) {
      raw = field.spec->constant;
    } else if (field.copied_item != no_index) {
      raw = topic_.ask.raw_at(asked_, {field.copied_item, field.copied_field}, 0);
    } else {
      raw = source_.argument(field.spec->name);
      if (!raw && !field.spec->quantity.empty()) {
        if (const auto value = source_.quantity(field.spec->quantity, 0)) raw = field.raw(*value);
      }
    }
    if (!raw || !field.code.has_room_for(*raw)) return std::nullopt;
    return repetitions_of(field, *raw);
  }

  /// To the end, and nothing says where that is: what is copied comes as often as in the ask; else a node tells of each
  /// of its cells.
  std::uint64_t repetitions_to_end(const ItemPlan& item) {
    if (const auto repetitions = source_.argument(item.group->name)) return *repetitions;
    if (side_ == Protocol::Side::ask) return 0;
    for (const FieldPlan& field : item.fields) {
      if (field.copied_item == no_index) continue;
      std::uint32_t repetitions = 0;
      while (topic_.ask.raw_at(asked_, {field.copied_item, field.copied_field}, repetitions)) ++repetitions;
      return repetitions;
    }
    const auto cells = source_.quantity("cell_count", 0);
    return cells && *cells > 0 ? static_cast<std::uint64_t>(*cells) : 0;
  }

  std::optional<Refusal> fill_field(std::size_t i, std::size_t f, std::uint32_t repetition) {
    const ItemPlan& item = layout_->items()[i];
    const FieldPlan& field = item.fields[f];
    const bool present = seen_.wants(field);
    std::uint64_t raw = 0;
    if (present) {
      if (const auto reason = raw_for(i, f, repetition, raw)) return reason;
      if (!field.code.has_room_for(raw)) return Refusal::bad_value;
      const std::size_t width = field.code.bits_of(raw);
      const std::size_t end = (bits_ + width + 7) / 8;
      if (end > room_) return Refusal::too_long;
      payload_.resize(end);
      if (field.code.varies) {
        field.code.store_text(payload_.view().data() + bits_ / 8, raw);
      } else {
        field.code.store(payload_.view().data(), bits_, raw);
      }
      bits_ += width;
    }
    if (item.group != nullptr) {
      seen_.field[f] = raw;
      seen_.field_present[f] = present;
    } else {
      seen_.item[i] = raw;
      seen_.item_present[i] = present;
    }
    return std::nullopt;
  }

  std::optional<Refusal> raw_for(std::size_t i, std::size_t f, std::uint32_t repetition, std::uint64_t& raw) {
    const ItemPlan& item = layout_->items()[i];
    const FieldPlan& field = item.fields[f];
    const FieldSpec& spec = *field.spec;
    if (spec.constant) {
      raw = *spec.constant;
      return std::nullopt;
    }
    if (!spec.copied_from_ask.empty()) {
      if (field.copied_item == no_index) return Refusal::bad_value;
      const auto copied =
          topic_.ask.raw_at(asked_, {field.copied_item, field.copied_field}, item.group != nullptr ? repetition : 0);
      if (!copied) return Refusal::bad_value;
      raw = *copied;
      if (field.counts_item != no_index) return fits_count(field, raw);
      return std::nullopt;
    }
    if (item.group == nullptr && field.counts_item != no_index) {
      const auto repetitions = repetitions_wanted(field.counts_item);
      if (!repetitions || *repetitions > max_frame_bytes * 8) return Refusal::bad_value;
      raw = field.raw(static_cast<std::int64_t>(*repetitions));
      return fits_count(field, raw);
    }
    if (side_ == Protocol::Side::ask) {
      const auto given =
          item.group != nullptr ? source_.argument_in(spec.name, repetition) : source_.argument(spec.name);
      if (given) {
        raw = *given;
        return std::nullopt;
      }
    }
    const std::uint64_t index = item.group != nullptr ? (is_values(i) ? first_ : 0) + repetition : 0;
    if (!spec.quantity.empty())
      return from_quantity(field, spec.scale, spec.is_signed, spec.quantity, index, is_values(i), raw);
    if (is_values(i) && !bus_.registers.empty()) {
      for (const RegisterSpec& shown : bus_.registers) {
        if (index < shown.first || index - shown.first >= shown.count) continue;
        return from_quantity(field, shown.scale, shown.is_signed, shown.quantity, shown.index + (index - shown.first),
                             true, raw);
      }
      return Refusal::bad_address;
    }
    if (side_ == Protocol::Side::ask) return Refusal::bad_value;
    const auto given = item.group != nullptr ? source_.argument_in(spec.name, repetition) : source_.argument(spec.name);
    if (!given) return Refusal::bad_value;
    raw = *given;
    return std::nullopt;
  }

  /// The count that was written must be the count that follows.
  std::optional<Refusal> fits_count(const FieldPlan& field, std::uint64_t raw) {
    const auto repetitions = repetitions_wanted(field.counts_item);
    if (!repetitions || repetitions_of(field, raw) != repetitions) return Refusal::bad_value;
    return std::nullopt;
  }

  std::optional<Refusal> from_quantity(const FieldPlan& field, const Scale& scale, bool is_signed,
                                       std::string_view name, std::uint64_t index, bool addressed, std::uint64_t& raw) {
    if (index > std::numeric_limits<std::uint32_t>::max()) return Refusal::bad_address;
    const auto value = source_.quantity(name, static_cast<std::uint32_t>(index));
    if (!value) return addressed ? Refusal::bad_address : Refusal::unknown_topic;
    raw = raw_of_value(scale, *value, field.code.bits, is_signed, field.code.limit());
    return std::nullopt;
  }

  const BusDescription& bus_;
  const TopicPlan& topic_;
  Protocol::Side side_;
  std::span<const std::uint8_t> asked_;
  PayloadSource& source_;
  Content& payload_;
  std::size_t room_;
  bool padded_;
  const LayoutPlan* layout_ = nullptr;
  Seen seen_;
  std::size_t bits_ = 0;
  std::uint64_t first_ = 0;
};

}  // namespace

std::optional<Refusal> Protocol::fill(Frame& frame, Side side, std::span<const std::uint8_t> asked,
                                      PayloadSource& source) const {
  const auto which = topic(frame);
  const LayoutPlan* layout = plan_->layout_for(frame, which, side);
  if (layout == &plan_->nothing) {
    frame.payload.clear();
    return std::nullopt;
  }
  if (layout == nullptr || !which) return Refusal::unknown_topic;
  return Filler(plan_->description, plan_->topics[*which], side, asked, source, frame.payload,
                plan_->of(frame).most_payload, plan_->padded)
      .fill(*layout);
}

bool Protocol::read(const Frame& frame, Side side, std::vector<PayloadValue>& values) const {
  values.clear();
  const LayoutPlan* layout = plan_->layout_for(frame, topic(frame), side);
  if (layout == nullptr) return false;
  const bool fits =
      layout->read(frame.payload.view(), plan_->padded,
                   [&](std::size_t item, std::size_t field, std::uint32_t repetition, std::uint64_t raw) {
                     values.push_back({static_cast<std::uint32_t>(item), static_cast<std::uint32_t>(field), repetition,
                                       raw, layout->items()[item].fields[field].value(raw)});
                     return true;
                   });
  return fits;
}

std::optional<std::uint64_t> Protocol::value_of(const Frame& frame, Side side, std::string_view field) const {
  const LayoutPlan* layout = plan_->layout_for(frame, topic(frame), side);
  if (layout == nullptr) return std::nullopt;
  const auto place = layout->find(field);
  if (!place || layout->items()[place->item].group != nullptr) return std::nullopt;
  return layout->raw_at(frame.payload.view(), *place, 0);
}

std::optional<Protocol::Span> Protocol::values_asked(const Frame& ask) const {
  const auto which = topic(ask);
  if (!which || plan_->topics[*which].answer_values == no_index) return std::nullopt;
  const TopicPlan& plan = plan_->topics[*which];
  Span span{0, 1};
  const auto value_at = [&](const LayoutPlan::FieldIndex& place) -> std::optional<std::uint64_t> {
    const auto raw = plan.ask.raw_at(ask.payload.view(), place, 0);
    return raw ? repetitions_of(plan.ask.items()[place.item].fields[place.field], *raw) : std::nullopt;
  };
  for (const auto& [place, value] : {std::pair{&plan.first, &span.first}, std::pair{&plan.count, &span.count}}) {
    if (!*place) continue;
    const auto told = value_at(**place);
    if (!told) return std::nullopt;
    *value = *told;
  }
  return span;
}

bool Protocol::reads_as(const Frame& frame, Side side) const {
  const LayoutPlan* layout = plan_->layout_for(frame, topic(frame), side);
  const auto anything = [](std::size_t, std::size_t, std::uint32_t, std::uint64_t) { return true; };
  return layout != nullptr && layout->read(frame.payload.view(), plan_->padded, anything);
}

std::uint64_t Protocol::values_told(const Frame& answer) const {
  const auto which = topic(answer);
  if (!which || answer.role == Role::refusal) return 0;
  const TopicPlan& plan = plan_->topics[*which];
  std::uint64_t told = 0;
  const bool fits = plan.answer.read(answer.payload.view(), plan_->padded,
                                     [&](std::size_t item, std::size_t, std::uint32_t turn, std::uint64_t) {
                                       if (item == plan.answer_values)
                                         told = std::max<std::uint64_t>(told, std::uint64_t{turn} + 1);
                                       return true;
                                     });
  return fits ? told : 0;
}

const RegisterSpec* Protocol::register_at(std::uint64_t address) const {
  for (const RegisterSpec& shown : plan_->description.registers) {
    if (address >= shown.first && address - shown.first < shown.count) return &shown;
  }
  return nullptr;
}

std::optional<Refusal> Protocol::apply_writes(const Frame& ask, RegisterWriter& writer) const {
  const auto which = topic(ask);
  if (!which) return Refusal::unknown_topic;
  const TopicPlan& plan = plan_->topics[*which];
  const auto payload = ask.payload.view();
  std::uint64_t first = 0;
  if (plan.first) first = plan.ask.raw_at(payload, *plan.first, 0).value_or(0);
  std::optional<std::uint64_t> count;
  if (plan.ask_values != no_index && plan.count) count = plan.ask.raw_at(payload, *plan.count, 0);
  std::optional<Refusal> trouble;
  std::uint64_t repetitions = 0;
  // Twice over the same bytes: what is wrong anywhere must be known before anything is written.
  for (const bool writing : {false, true}) {
    const bool fits = plan.ask.read(
        payload, plan_->padded, [&](std::size_t i, std::size_t f, std::uint32_t repetition, std::uint64_t raw) {
          const ItemPlan& item = plan.ask.items()[i];
          const FieldPlan& field = item.fields[f];
          const bool addressed = i == plan.ask_values;
          const std::uint64_t index = (addressed ? first : 0) + repetition;
          if (addressed) repetitions = std::max<std::uint64_t>(repetitions, repetition + std::uint64_t{1});
          if (!field.spec->quantity.empty()) {
            if (index > std::numeric_limits<std::uint32_t>::max())
              trouble = trouble ? trouble : Refusal::bad_address;
            else if (writing)
              writer.write(field.spec->quantity, static_cast<std::uint32_t>(index), field.value(raw));
          } else if (addressed && !plan_->description.registers.empty() && !field.spec->constant) {
            const RegisterSpec* shown = register_at(index);
            if (shown == nullptr || !shown->writable)
              trouble = trouble ? trouble : Refusal::bad_address;
            else if (writing) {
              writer.write(shown->quantity, static_cast<std::uint32_t>(shown->index + (index - shown->first)),
                           value_of_raw(shown->scale, raw, field.code.bits, shown->is_signed));
            }
          }
          return true;
        });
    if (!fits) return Refusal::bad_value;
    if (count && (*count == 0 || *count != repetitions)) return Refusal::bad_value;
    if (trouble) return trouble;
  }
  return std::nullopt;
}

bool Protocol::told(const Frame& answer, std::span<const std::uint8_t> asked, RegisterWriter& listener) const {
  if (!plan_->names_topic(answer)) return answer.payload.empty();
  const auto which = topic(answer);
  if (!which || answer.role == Role::refusal) return false;
  const TopicPlan& plan = plan_->topics[*which];
  const std::uint64_t first = plan.first ? plan.ask.raw_at(asked, *plan.first, 0).value_or(0) : 0;
  return plan.answer.read(
      answer.payload.view(), plan_->padded,
      [&](std::size_t i, std::size_t f, std::uint32_t repetition, std::uint64_t raw) {
        const FieldPlan& field = plan.answer.items()[i].fields[f];
        const bool addressed = i == plan.answer_values;
        const std::uint64_t index = (addressed ? first : 0) + repetition;
        if (!field.spec->quantity.empty()) {
          if (index <= std::numeric_limits<std::uint32_t>::max())
            listener.write(field.spec->quantity, static_cast<std::uint32_t>(index), field.value(raw));
        } else if (addressed && !field.spec->constant) {
          const RegisterSpec* shown = register_at(index);
          if (shown != nullptr)
            listener.write(shown->quantity, static_cast<std::uint32_t>(shown->index + (index - shown->first)),
                           value_of_raw(shown->scale, raw, field.code.bits, shown->is_signed));
        }
        return true;
      });
}

}  // namespace hopbench
