// A scenario while it is being drawn: parts that can still be changed, and the text that comes of them.
#pragma once

#include <cstdint>
#include <map>
#include <optional>
#include <string>
#include <vector>

#include "base/time.h"

namespace hopbench::rates {

/// Fields and the text of their values, as they stand behind the field's name: {"answer_after", ": \"500us\""}.
using Fields = std::map<std::string, std::string>;

struct KindDraft {
  std::string name;
  std::uint32_t cells = 1;
  Fields fields;
};

struct NodeDraft {
  std::string name;
  std::size_t kind = 0;
  std::string clock;  // of its own; empty: its kind's
};

struct HopDraft {
  std::size_t link = 0;  // as in RunInfo.links
  std::string conditions;
};

struct Draft {
  std::uint64_t seed = 0;
  std::string bus;         // name of a shipped one
  std::string inline_bus;  // its text, in the place of the name
  std::uint32_t baud = 0;
  bool line = false;
  bool battery = false;
  std::vector<KindDraft> kinds;
  std::vector<NodeDraft> nodes;  // in chain order
  std::string every_hop;
  std::vector<HopDraft> hops;
  std::vector<std::string> faults;
  std::string taps;  // of the battery
  Fields controller;
  std::vector<std::string> polls;
  bool balances = false;
  Nanos run_for = 0;

  [[nodiscard]] std::size_t links() const { return line ? 2 * nodes.size() : nodes.size() + 1; }
  [[nodiscard]] std::string name_of_end(std::size_t link) const;  // station that the link leads into
  [[nodiscard]] bool homeward(std::size_t link) const { return line && link >= nodes.size(); }
  /// Stations at the ends of a link, as indices of nodes; nothing for the controller.
  [[nodiscard]] std::optional<std::size_t> sender(std::size_t link) const;
  [[nodiscard]] std::optional<std::size_t> receiver(std::size_t link) const;
  /// The link that leads into a node from the controller's side.
  [[nodiscard]] static std::size_t link_into(std::size_t node) { return node; }
  /// `into` and `homeward` that name this link alone.
  [[nodiscard]] std::string hop_of(std::size_t link) const;
  /// Gives a node a kind of its own, like the one that it had, and returns it.
  KindDraft& own_kind(std::size_t node);
  [[nodiscard]] const KindDraft& kind_of(std::size_t node) const { return kinds[nodes[node].kind]; }

  [[nodiscard]] std::string text() const;
};

/// Values as a scenario states them, quotes included.
std::string span_text(double ns);
std::string share_text(double share);
std::string ppb_text(double share);

}  // namespace hopbench::rates
