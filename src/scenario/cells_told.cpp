#include "scenario/cells_told.h"

#include <algorithm>
#include <optional>

#include "scenario/quantity.h"

namespace hopbench {
namespace {

/// A node that has everything asked for, and takes down which cells that was.
class Listing final : public PayloadSource {
 public:
  Listing(const KindSpec& kind, const std::vector<std::pair<std::string, std::uint64_t>>& arguments)
      : kind_(&kind), arguments_(&arguments) {}

  std::optional<std::int64_t> quantity(std::string_view name, std::uint32_t index) override {
    const auto found = quantity_named(name);
    if (!found) return std::nullopt;
    if (*found == Quantity::cell_count) return kind_->cells;
    if (*found != Quantity::cell_mv && *found != Quantity::cell_uv) return 0;
    if (index >= kind_->cells) return std::nullopt;
    lowest_ = std::min(lowest_, index);
    beyond_ = std::max(beyond_, index + 1);
    return 0;
  }
  std::optional<std::uint64_t> argument(std::string_view field) override {
    const auto found =
        std::find_if(arguments_->begin(), arguments_->end(), [&](const auto& each) { return each.first == field; });
    if (found == arguments_->end()) return std::nullopt;
    return found->second;
  }
  [[nodiscard]] CellsTold told() const { return beyond_ == 0 ? CellsTold{} : CellsTold{lowest_, beyond_ - lowest_}; }

 private:
  const KindSpec* kind_;
  const std::vector<std::pair<std::string, std::uint64_t>>* arguments_;
  std::uint32_t lowest_ = ~std::uint32_t{0};
  std::uint32_t beyond_ = 0;
};

/// The cells that an ask measures out, whether they fit an answer or not.
CellsTold cells_asked(const Protocol& protocol, const KindSpec& kind, const Frame& ask) {
  const auto span = protocol.values_asked(ask);
  const auto topic = protocol.topic(ask);
  if (!span || !topic) return {};
  const std::vector<std::pair<std::string, std::uint64_t>> none;
  Listing listing(kind, none);
  const auto is_cell = [](std::string_view quantity) { return quantity == "cell_mv" || quantity == "cell_uv"; };
  for (const LayoutItem& item : protocol.topic_spec(*topic).answer) {
    if (!item.group || item.group->name != protocol.topic_spec(*topic).values_group) continue;
    for (const FieldSpec& field : item.group->fields) {
      for (std::uint32_t cell = 0; is_cell(field.quantity) && cell < kind.cells; ++cell) {
        if (cell >= span->first && cell - span->first < span->count) (void)listing.quantity(field.quantity, cell);
      }
    }
  }
  for (const RegisterSpec& shown : protocol.description().registers) {
    for (std::uint32_t i = 0; is_cell(shown.quantity) && i < shown.count; ++i) {
      const std::uint64_t at = std::uint64_t{shown.first} + i;
      if (at >= span->first && at - span->first < span->count) (void)listing.quantity(shown.quantity, shown.index + i);
    }
  }
  return listing.told();
}

}  // namespace

CellsTold cells_told(const Protocol& protocol, const KindSpec& kind, std::uint32_t topic,
                     const std::vector<std::pair<std::string, std::uint64_t>>& arguments) {
  Listing asking(kind, arguments);
  Frame ask = protocol.ask(topic, 1, 1, 1);
  if (protocol.fill(ask, Protocol::Side::ask, {}, asking)) return {};
  const std::vector<std::pair<std::string, std::uint64_t>> none;
  Listing answering(kind, none);
  Frame answer = protocol.answer_to(ask, 1, 1);
  const auto reason = protocol.fill(answer, Protocol::Side::answer, ask.payload.view(), answering);
  if (reason == Refusal::too_long) return cells_asked(protocol, kind, ask);
  return reason ? CellsTold{} : answering.told();
}

CellsTold cells_told(const Protocol& protocol, const KindSpec& kind, std::uint32_t topic) {
  const TopicSpec& spec = protocol.topic_spec(topic);
  std::vector<std::pair<std::string, std::uint64_t>> arguments;
  const auto everything = [&](const std::vector<FieldSpec>& fields) {
    for (const FieldSpec& field : fields) {
      arguments.emplace_back(field.name, field.name == spec.count_field ? kind.cells : 0);
    }
  };
  for (const LayoutItem& item : spec.ask) everything(item.field ? std::vector{*item.field} : item.group->fields);
  return cells_told(protocol, kind, topic, arguments);
}

}  // namespace hopbench
