#include <fmt/format.h>

#include <algorithm>

#include "judge/limits.h"
#include "view/number_text.h"
#include "view/paragraph.h"
#include "view/short_names.h"
#include "view/summary_parts.h"
#include "view/text_table.h"

namespace hopbench {
namespace {

constexpr std::size_t most_failing = 6;  // nodes that have rows of their own where the others share one

std::uint64_t failed(const ExchangeMeasures& node) { return node.asked - node[Outcome::answered]; }

/// Nodes that were asked, by index; the last one is everyone. Those that failed most come first, if any are left out.
std::vector<std::size_t> chosen(const std::vector<ExchangeMeasures>& nodes, bool all) {
  std::vector<std::size_t> order;
  for (std::size_t i = 0; i < nodes.size(); ++i) {
    if (nodes[i].asked > 0) order.push_back(i);
  }
  if (all || order.size() <= rows_never_folded) return order;
  const auto share = [&](std::size_t i) {
    return static_cast<double>(failed(nodes[i])) / static_cast<double>(nodes[i].asked);
  };
  std::stable_sort(order.begin(), order.end(), [&](std::size_t a, std::size_t b) { return share(a) > share(b); });
  const auto healthy = std::find_if(order.begin(), order.end(), [&](std::size_t i) { return failed(nodes[i]) == 0; });
  const auto failing = static_cast<std::size_t>(healthy - order.begin());
  order.resize(std::min(failing, most_failing));
  return order;
}

/// Of one node, or of several: all exchanges and failures, the largest share and the longest times.
TextTable::Row row_of(const std::vector<const ExchangeMeasures*>& nodes) {
  std::uint64_t asked = 0;
  std::uint64_t failures = 0;
  double share = 0;
  double high = 0;
  std::optional<Nanos> median, most_of_them, longest;
  const auto larger = [](std::optional<Nanos>& mine, const std::optional<Nanos>& other) {
    if (other && (!mine || *mine < *other)) mine = other;
  };
  for (const auto* node : nodes) {
    asked += node->asked;
    failures += failed(*node);
    if (const auto one = share_of(failed(*node), node->asked)) {
      share = std::max(share, one->value);
      high = std::max(high, one->high);
    }
    larger(median, node->round_trip.percentile(500'000));
    larger(most_of_them, node->round_trip.percentile(990'000));
    larger(longest, node->round_trip.most());
  }
  TextTable::Row row;
  row.cells = {"",
               grouped(asked),
               grouped(failures),
               failures == 0 ? "<" + percent(high) : percent(share),
               milliseconds(median),
               milliseconds(most_of_them),
               milliseconds(longest)};
  return row;
}

}  // namespace

std::string node_table(const Summary& summary, const TableStyle& style) {
  const auto& nodes = summary.measures.nodes;
  const auto shown = chosen(nodes, style.all);
  TextTable table({{"node", true}, {"asked"}, {"failed"}, {"failed %"}, {"median\nms"}, {"99 %\nms"}, {"longest\nms"}});
  std::vector<std::string> names;
  for (const std::size_t i : shown) {
    table.rows().push_back(row_of({&nodes[i]}));
    names.push_back(i < summary.run.nodes.size() ? summary.run.nodes[i] : "everyone");
  }
  std::vector<const ExchangeMeasures*> others;
  for (std::size_t i = 0; i < nodes.size(); ++i) {
    if (nodes[i].asked > 0 && std::find(shown.begin(), shown.end(), i) == shown.end()) others.push_back(&nodes[i]);
  }
  if (!others.empty()) {
    const bool none = std::all_of(others.begin(), others.end(), [](const auto* each) { return failed(*each) == 0; });
    table.rows().push_back(row_of(others));
    names.push_back(fmt::format("{}{}{}", shown.empty() ? "" : "other ", counted(others.size(), "node"),
                                none ? ": none failed" : ""));
  }
  const auto shorter = short_names(names, table.room(0));
  for (std::size_t i = 0; i < names.size(); ++i) table.rows()[i].cells[0] = shorter[i];
  std::string out = "Round trip by node\n" + table.text(style.colour);
  if (others.empty()) return out;
  return out + paragraph(2, "",
                         "A row of several nodes tells all that was asked and failed, and the largest of each other "
                         "figure; --all shows every node.");
}

}  // namespace hopbench
