#include "text/new_scenario.h"

#include <fmt/format.h>

#include <algorithm>
#include <charconv>

#include "base/counted.h"
#include "base/duration.h"
#include "bus/protocol.h"
#include "scenario/cells_told.h"

namespace hopbench {
namespace {

constexpr std::uint32_t most_nodes = 250;
constexpr std::uint32_t most_cells = 16;

std::optional<std::uint32_t> number_in(std::string_view text) {
  std::uint32_t number = 0;
  const auto [end, error] = std::from_chars(text.data(), text.data() + text.size(), number);
  if (error != std::errc() || end != text.data() + text.size()) return std::nullopt;
  return number;
}

std::string kind_name(std::uint32_t cells) { return cells == 1 ? "single" : fmt::format("cells{}", cells); }

/// a, b, ... z, aa, ab, ...: what the nodes of a group are called, with a number behind.
std::string letters(std::size_t group) {
  std::string name;
  for (std::size_t rest = group + 1; rest > 0; rest = (rest - 1) / 26) {
    name.insert(name.begin(), static_cast<char>('a' + (rest - 1) % 26));
  }
  return name;
}

std::vector<std::uint32_t> different_cells(const NewScenario& wish) {
  std::vector<std::uint32_t> cells;
  for (const NewNodes& each : wish.nodes) {
    if (std::find(cells.begin(), cells.end(), each.cells) == cells.end()) cells.push_back(each.cells);
  }
  return cells;
}

// ---- what to ask ----

std::vector<const FieldSpec*> fields_of(const Layout& layout) {
  std::vector<const FieldSpec*> fields;
  for (const LayoutItem& item : layout) {
    if (item.field) fields.push_back(&*item.field);
  }
  return fields;
}

/// What the plan has to give a value to.
std::vector<const FieldSpec*> open_fields(const TopicSpec& topic) {
  auto fields = fields_of(topic.ask);
  std::erase_if(fields, [](const FieldSpec* field) { return field->constant.has_value(); });
  return fields;
}

bool only_fields(const Layout& layout) {
  return std::all_of(layout.begin(), layout.end(), [](const LayoutItem& item) { return item.field.has_value(); });
}

/// Cells that a node with so many tells if it is asked for `count` from `first` on.
CellsTold told(const Protocol& protocol, std::uint32_t topic, std::uint32_t cells, std::uint64_t first,
               std::uint64_t count) {
  const TopicSpec& spec = protocol.description().topics[topic];
  KindSpec kind;
  kind.cells = cells;
  std::vector<std::pair<std::string, std::uint64_t>> arguments;
  for (const FieldSpec* field : open_fields(spec)) {
    const std::uint64_t value = field->name == spec.first_field ? first : field->name == spec.count_field ? count : 0;
    arguments.emplace_back(field->name, value);
  }
  return cells_told(protocol, kind, topic, arguments);
}

/// A topic that only reads and of which the ask is made of plain fields: it can be filled in without knowing more.
bool can_be_asked(const TopicSpec& topic) { return !topic.changes && only_fields(topic.ask); }

std::string with_values(const TopicSpec& topic, std::uint64_t first) {
  std::string out;
  for (const FieldSpec* field : open_fields(topic)) {
    const bool counts = field->name == topic.count_field;
    const std::uint64_t value = field->name == topic.first_field ? first : 0;
    out += counts ? fmt::format(" with {{ field: \"{}\" own: CELLS }}", field->name)
                  : fmt::format(" with {{ field: \"{}\" value: {} }}", field->name, value);
  }
  return out;
}

std::string nodes_with_cell(const NewScenario& wish, std::uint32_t cell) {
  std::string names;
  std::size_t all = 0;
  std::size_t group = 0;
  for (const NewNodes& each : wish.nodes) {
    const std::string letter = letters(group++);
    if (each.cells <= cell) continue;
    ++all;
    const std::string range = each.count == 1 ? letter + "1" : fmt::format("{}1..{}{}", letter, letter, each.count);
    names += fmt::format("{}\"{}\"", names.empty() ? "" : ", ", range);
  }
  if (all == wish.nodes.size()) return "\"*\"";
  return all == 1 ? names : "[" + names + "]";
}

struct Polls {
  std::string text;
  bool tells_cells = false;
};

/// One poll for all cells of a node, or one for each cell where an ask is for a single one.
std::optional<Polls> cell_polls(const NewScenario& wish, const Protocol& protocol) {
  const auto& topics = protocol.description().topics;
  std::uint32_t most = 0;
  for (const NewNodes& each : wish.nodes) most = std::max(most, each.cells);
  for (std::uint32_t i = 0; i < topics.size(); ++i) {
    const TopicSpec& topic = topics[i];
    if (!can_be_asked(topic)) continue;
    const auto sizes = different_cells(wish);
    if (std::all_of(sizes.begin(), sizes.end(),
                    [&](auto cells) { return told(protocol, i, cells, 0, cells).cells == cells; })) {
      return Polls{
          fmt::format("  poll {{ name: \"cells\" topic: \"{}\" nodes: \"*\"{} }}\n", topic.name, with_values(topic, 0)),
          true};
    }
    if (topic.first_field.empty() || told(protocol, i, most, most - 1, 1) != CellsTold{most - 1, 1}) continue;
    Polls polls{"", true};
    for (std::uint32_t cell = 0; cell < most; ++cell) {
      polls.text += fmt::format("  poll {{ name: \"cell{}\" topic: \"{}\" nodes: {}{} }}\n", cell, topic.name,
                                nodes_with_cell(wish, cell), with_values(topic, cell));
    }
    return polls;
  }
  return std::nullopt;
}

/// A topic to ask now and then: with the board's temperature if there is one; never `but`.
const TopicSpec* plain_topic(const BusDescription& bus) {
  const TopicSpec* found = nullptr;
  for (const TopicSpec& topic : bus.topics) {
    if (topic.changes || !topic.ask.empty() || !topic.values_group.empty()) continue;
    const auto fields = fields_of(topic.answer);
    const bool warm =
        std::any_of(fields.begin(), fields.end(), [](auto* each) { return each->quantity == "board_temp_mc"; });
    if (warm) return &topic;
    if (found == nullptr) found = &topic;
  }
  return found;
}

struct BleedOrder {
  std::string topic, field;
};

std::optional<BleedOrder> bleed_order(const BusDescription& bus) {
  for (const TopicSpec& topic : bus.topics) {
    if (!topic.changes || !topic.values_group.empty() || open_fields(topic).size() != 1) continue;
    const FieldSpec& field = *open_fields(topic).front();
    if (field.quantity == "bleed_mask") return BleedOrder{topic.name, field.name};
  }
  return std::nullopt;
}

// ---- the text ----

/// As it may stand between quotes in a text file.
std::string escaped(const std::string& text) {
  std::string out;
  for (const char c : text) {
    const auto byte = static_cast<unsigned char>(c);
    out += byte < 0x20 || byte == 0x7f || c == '"' || c == '\\' ? fmt::format("\\{:03o}", byte) : std::string(1, c);
  }
  return out;
}

std::string head(const NewScenario& wish, const BusDescription& bus) {
  std::uint64_t nodes = 0;
  std::uint64_t cells = 0;
  for (const NewNodes& each : wish.nodes) {
    nodes += each.count;
    cells += std::uint64_t{each.count} * each.cells;
  }
  std::string out = fmt::format(
      "# proto-message: hopbench.text.Scenario\n"
      "# {} with {} in a {}. Written by `hopbench new`; every figure is a guess until you put in your own.\n"
      "# `hopbench field NAME` tells what a field means, its unit, range and default.\n"
      "name: \"{}\"\n"
      "seed: 1         # the same random seed gives the same run\n"
      "run_for: \"{}\"\n"
      "bus: \"{}\"\n",
      counted(nodes, "node"), counted(cells, "cell"), wish.line ? "line" : "ring", wish.name,
      wish.charging ? "1d" : "1h", escaped(wish.bus));
  out += fmt::format("baud: {}\n", wish.baud.value_or(bus.line.baud));
  out += wish.line ? "shape: LINE     # answers come back over the hops that the asks went out on\n\n"
                   : "shape: RING     # the last node leads back to the controller\n\n";
  return out;
}

constexpr const char* battery_text =
    "# The battery gives 8 A for an hour every night and is charged by day. Near the top of charge cells balance.\n"
    "battery { capacity: \"40Ah\" capacity_spread: \"1%\" charge: \"97%\" charge_spread: \"0.3%\" }\n"
    "cycle {\n"
    "  load: \"8A\" load_from: \"2h\" load_for: \"1h\"\n"
    "  charge: \"6A\" charge_from: \"8h\" charge_for: \"10h\"\n"
    "}\n"
    "air { mean: \"17C\" swing: \"5C\" }\n\n";

std::string kinds(const NewScenario& wish) {
  std::string out = "# Kinds of node: what all nodes of one make have in common.\n";
  for (const std::uint32_t cells : different_cells(wish)) {
    out += fmt::format("kind {{\n  name: \"{}\"\n  cells: {}\n", kind_name(cells), cells);
    out += "  forwarding { whole { after: \"200us\" } }  # hears a frame to its end, then passes it on\n";
    out += "  answer_after: \"500us\"  # from the end of the ask, without the measurement\n";
    out += cells == 1
               ? "  measurement { settle: \"2ms\" snapshot: \"1ms\" }\n"
               : "  measurement { snapshot: \"10ms\" per_cell: \"3ms\" }  # a node with many cells answers later\n";
    out += "  clock { spread: \"0.2%\" }  # how far the nodes' bit lengths lie apart\n";
    if (wish.charging) out += "  bleed { resistor: \"33ohm\" stop_at: \"70C\" }\n";
    out += "}\n";
  }
  return out + "\n";
}

std::string chain(const NewScenario& wish) {
  std::string out = "# The chain, from the controller on.\n";
  std::string last;
  std::size_t group = 0;
  for (const NewNodes& each : wish.nodes) {
    const std::string letter = letters(group++);
    last = fmt::format("{}{}", letter, each.count);
    out += each.count == 1 ? fmt::format("nodes {{ name: \"{}1\" kind: \"{}\" }}\n", letter, kind_name(each.cells))
                           : fmt::format("nodes {{ name: \"{}\" count: {} kind: \"{}\" }}\n", letter, each.count,
                                         kind_name(each.cells));
  }
  out += fmt::format(
      "\n# What disturbs the hops: hardly anything yet. Take away a \"#\" and run it again.\n"
      "every_hop {{ isolator_delay: \"1us\" bit_error: \"1e-8\" }}\n"
      "# hop {{ into: \"{0}\" bit_error: \"1e-5\" }}\n"
      "# hop {{ into: \"{0}\" contact {{ mean_between: \"5min\" mean_open: \"200ms\" }} }}\n"
      "# fault {{ name: \"late-answers\" class: DELAY nodes: \"{0}\" leg: ANSWERS into: \"controller\" rate: \"2%\" "
      "by: "
      "\"{1}\" }}\n\n",
      last, format_duration(wish.time_out));
  return out;
}

std::string controller(const NewScenario& wish, const BusDescription& bus, const std::string& polls) {
  std::string out = fmt::format(
      "controller {{\n"
      "  time_out: \"{}\"  # from the end of the ask; about twice the longest undisturbed round trip\n"
      "  retries: 1\n"
      "  pace: \"{}\"  # from the start of one exchange to the start of the next, at least\n",
      format_duration(wish.time_out), wish.charging ? "1s" : "100ms");
  if (const auto order = bleed_order(bus); order && wish.charging) {
    out += fmt::format(
        "  balancing {{ every: \"1min\" topic: \"{}\" field: \"{}\" start: \"3.40V\" difference: \"10mV\" }}\n",
        order->topic, order->field);
  }
  return out + "  # What is asked, in turn. every: 10 asks in each tenth round.\n" + polls + "}\n";
}

}  // namespace

std::optional<std::vector<NewNodes>> parse_new_nodes(std::string_view text, std::string& why) {
  std::vector<NewNodes> nodes;
  std::uint64_t sum = 0;
  why = "write COUNTxCELLS with commas between, for example 34x1,2x12";
  while (true) {
    const std::size_t comma = text.find(',');
    const std::string_view part = text.substr(0, comma);
    const std::size_t x = part.find('x');
    if (x == std::string_view::npos) return std::nullopt;
    const auto count = number_in(part.substr(0, x));
    const auto cells = number_in(part.substr(x + 1));
    if (!count || !cells) return std::nullopt;
    sum += *count;
    if (*count == 0 || sum > most_nodes) {
      why = fmt::format("a chain has 1 to {} nodes", most_nodes);
      return std::nullopt;
    }
    if (*cells == 0 || *cells > most_cells) {
      why = fmt::format("a node has 1 to {} cells", most_cells);
      return std::nullopt;
    }
    nodes.push_back({*count, *cells});
    if (comma == std::string_view::npos) break;
    text.remove_prefix(comma + 1);
  }
  why.clear();
  return nodes;
}

std::string new_scenario_text(const NewScenario& wish, const BusDescription& bus, std::string& why) {
  const Protocol protocol(bus);
  const auto cells = cell_polls(wish, protocol);
  const TopicSpec* plain = plain_topic(bus);
  if (!cells && plain == nullptr) {
    why =
        "no topic of this bus can be asked with zeros alone: begin with another bus, and write the polls for this one";
    return "";
  }
  std::string polls = cells ? cells->text : "";
  if (plain != nullptr) {
    polls += fmt::format("  poll {{ name: \"boards\" topic: \"{}\" nodes: \"*\"{} }}\n", plain->name,
                         cells ? " every: 10" : "");
  }
  return head(wish, bus) + (wish.charging ? battery_text : "") + kinds(wish) + chain(wish) +
         controller(wish, bus, polls);
}

}  // namespace hopbench
