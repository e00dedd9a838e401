#include "soak/cells_unread.h"

#include <algorithm>

namespace hopbench {
namespace {

class Longest {
 public:
  void look_at(const CellsUnread& cells) {
    const bool longer =
        !found_ || cells.span > found_->span || (cells.span == found_->span && !cells.ever_read && found_->ever_read);
    if (longer) found_ = cells;
  }
  [[nodiscard]] const std::optional<CellsUnread>& found() const { return found_; }

 private:
  std::optional<CellsUnread> found_;
};

/// A cell of which nothing that is asked tells is in no group: it was not read at any time.
void look_at_node(std::size_t node, const RunInfo& run, const Measures& measures, Longest& longest) {
  const std::string& name = run.nodes[node];
  const auto nobody_asks_for = [&](std::uint32_t from, std::uint32_t to) {
    if (from < to) longest.look_at({name, from, to - from, false, measures.covered(), measures.from});
  };
  std::uint32_t next = 0;  // groups come by node and cell
  for (const CellsUnseen& group : measures.cells) {
    if (group.node != node) continue;
    nobody_asks_for(next, std::min(group.first_cell, run.cells[node]));
    next = std::max(next, group.first_cell + group.cells);
    const auto span = measures.longest_unseen(group);
    longest.look_at({name, group.first_cell, group.cells, group.ever_seen, span.span, span.from});
  }
  nobody_asks_for(next, run.cells[node]);
}

}  // namespace

std::optional<CellsUnread> longest_unread(const PropertyTerm& term, const RunInfo& run, const Measures& measures) {
  Longest longest;
  if (measures.from == never) return std::nullopt;
  for (std::size_t node = 0; node < std::min(run.nodes.size(), run.cells.size()); ++node) {
    if (term.scope == PropertyTerm::Scope::node && run.nodes[node] != term.name) continue;
    look_at_node(node, run, measures, longest);
  }
  return longest.found();
}

}  // namespace hopbench
