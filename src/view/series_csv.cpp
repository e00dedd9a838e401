#include "view/series_csv.h"

#include <fmt/format.h>

#include <algorithm>
#include <iterator>
#include <optional>
#include <string_view>

namespace hopbench {
namespace {

constexpr std::string_view end_of_line = "\r\n";

class Line {
 public:
  explicit Line(std::string& text) : text_(&text) {}

  void add(const std::string& field) {
    separate();
    if (field.find_first_of(",\"\r\n") == std::string::npos) {
      *text_ += field;
      return;
    }
    *text_ += '"';
    for (const char c : field) *text_ += c == '"' ? std::string("\"\"") : std::string(1, c);
    *text_ += '"';
  }
  void add(std::uint64_t count) {
    separate();
    fmt::format_to(std::back_inserter(*text_), "{}", count);
  }
  /// `digits` of the number are behind the point.
  void add(std::optional<std::int64_t> number, unsigned digits) {
    separate();
    if (!number) return;
    std::uint64_t unit = 1;
    for (unsigned i = 0; i < digits; ++i) unit *= 10;
    const bool negative = *number < 0;
    const std::uint64_t size = negative ? 0 - static_cast<std::uint64_t>(*number) : static_cast<std::uint64_t>(*number);
    fmt::format_to(std::back_inserter(*text_), "{}{}", negative ? "-" : "", size / unit);
    if (digits > 0) fmt::format_to(std::back_inserter(*text_), ".{:0{}}", size % unit, digits);
  }
  void end() { *text_ += end_of_line; }

 private:
  void separate() {
    if (!first_) *text_ += ',';
    first_ = false;
  }
  std::string* text_;
  bool first_ = true;
};

template <class Member>
std::optional<std::int64_t> of(const std::optional<NodeState>& state, Member member) {
  return state ? std::optional<std::int64_t>((*state).*member) : std::nullopt;
}

std::optional<std::int64_t> bled_of(const std::optional<NodeState>& state) {
  return state ? std::optional<std::int64_t>(state->flags >> 8U & 0xffU) : std::nullopt;
}

}  // namespace

void append_series_head(const RunInfo& run, bool simulated, std::string& text) {
  Line line(text);
  for (const char* name : {"time_s", "exchanges", "not_answered", "current_told_A"}) line.add(std::string(name));
  if (simulated) line.add(std::string("current_simulated_A"));
  for (const std::string& node : run.nodes) {
    for (const char* what : {"bled_told", "board_told_C", "supply_told_V"}) line.add(node + "_" + what);
    if (!simulated) continue;
    for (const char* what : {"bled_simulated", "board_simulated_C", "supply_simulated_V"}) line.add(node + "_" + what);
  }
  for (std::size_t i = 0; i < std::min(run.nodes.size(), run.cells.size()); ++i) {
    for (std::uint32_t cell = 0; cell < std::min(run.cells[i], Series::most_cells); ++cell) {
      const std::string name = fmt::format("{}.{}", run.nodes[i], cell);
      line.add(name + "_told_V");
      if (!simulated) continue;
      line.add(name + "_simulated_V");
      line.add(name + "_charge_simulated_pct");
    }
  }
  line.end();
}

void append_series_row(const SeriesRow& row, bool simulated, std::string& text) {
  Line line(text);
  line.add(row.from / millisecond, 3);
  line.add(row.exchanges);
  line.add(row.not_answered);
  line.add(row.told_ma, 3);
  if (simulated) line.add(row.was_ma, 3);
  for (const SeriesNode& node : row.nodes) {
    line.add(node.told_bled, 0);
    line.add(node.told_board_mc, 3);
    line.add(node.told_supply_mv, 3);
    if (!simulated) continue;
    line.add(bled_of(node.was), 0);
    line.add(of(node.was, &NodeState::board_mc), 3);
    line.add(of(node.was, &NodeState::supply_mv), 3);
  }
  for (const SeriesCell& cell : row.cells) {
    line.add(cell.told_uv, 6);
    if (!simulated) continue;
    line.add(cell.was_uv, 6);
    line.add(cell.was_charge_ppm, 4);
  }
  line.end();
}

}  // namespace hopbench
