#include "text/chain_loader.h"

#include <fmt/format.h>

#include <algorithm>
#include <limits>

#include "bus/bits.h"
#include "scenario/link_table.h"
#include "text/kind_loader.h"
#include "text/pack_loader.h"
#include "text/readers.h"
#include "text/suggest.h"
#include "text/topic_check.h"

namespace hopbench {
namespace {

using Patterns = google::protobuf::RepeatedPtrField<std::string>;

constexpr int most_hops = 1000;
constexpr int most_in_list = 1000;
constexpr std::string_view all = "*";
constexpr std::string_view to = "..";

std::vector<std::string> node_names(const ChainDescription& chain) {
  std::vector<std::string> names;
  for (const NodeSpec& node : chain.nodes) names.push_back(node.name);
  return names;
}

std::optional<std::size_t> node_named(const ChainDescription& chain, std::string_view name) {
  for (std::size_t i = 0; i < chain.nodes.size(); ++i) {
    if (chain.nodes[i].name == name) return i;
  }
  return std::nullopt;
}

/// Both ends of a range, or the same node twice. Tells what is wrong.
struct Range {
  std::size_t first = 0;
  std::size_t last = 0;
};
std::optional<Range> range_of(std::string_view pattern, const Spot& spot, const ChainDescription& chain) {
  const std::size_t dots = pattern.find(to);
  const std::string_view first_name = pattern.substr(0, dots);
  const std::string_view last_name = dots == std::string_view::npos ? first_name : pattern.substr(dots + to.size());
  const auto first = node_named(chain, first_name);
  const auto last = node_named(chain, last_name);
  if (!first || !last) {
    const std::string_view unknown = first ? last_name : first_name;
    spot.say(fmt::format("there is no node {}{}", in_quotes(unknown), suggestion(unknown, node_names(chain))));
    return std::nullopt;
  }
  if (*first > *last) {
    spot.say(fmt::format("{} comes after {} in the chain: write {}..{}", first_name, last_name, last_name, first_name));
    return std::nullopt;
  }
  return Range{*first, *last};
}

/// Links by the stations that they lead into.
class LinkPicker {
 public:
  explicit LinkPicker(const ChainDescription& chain)
      : chain_(chain), table_(chain.shape, chain.nodes.size()), picked_(table_.size()) {}

  std::vector<std::uint16_t> pick(const Patterns& patterns, std::optional<bool> homeward, const Spot& spot) {
    if (homeward && chain_.shape == Shape::ring) {
      spot.in("homeward").say("a ring has no way homeward; leave homeward out, or use shape: LINE");
      return {};
    }
    if (too_many(spot, "into", patterns.size(), most_in_list)) return {};
    for (int i = 0; i < patterns.size(); ++i) pick_one(patterns[i], homeward, spot.in("into", i));
    std::vector<std::uint16_t> links;
    for (std::size_t i = 0; i < picked_.size(); ++i) {
      if (picked_[i]) links.push_back(static_cast<std::uint16_t>(i));
    }
    return links;
  }

 private:
  const ChainDescription& chain_;
  LinkTable table_;
  std::vector<bool> picked_;

  [[nodiscard]] bool is_line() const { return chain_.shape == Shape::line; }
  [[nodiscard]] std::size_t count() const { return chain_.nodes.size(); }
  void take_controller() { take(nobody, true); }
  void take_homeward(std::size_t node) { take(node, true); }
  void take_outward(std::size_t node) { take(node, false); }
  /// The links into a station, in one direction; a ring has one only.
  void take(std::size_t into, bool homeward) {
    for (std::size_t i = 0; i < table_.size(); ++i) {
      if (table_[i].to == into && (table_[i].homeward == homeward || !is_line())) picked_[i] = true;
    }
  }

  void pick_one(const std::string& pattern, std::optional<bool> homeward, const Spot& spot) {
    const bool outward = !homeward.value_or(false);
    if (pattern == all) {
      for (std::size_t i = 0; i < count(); ++i) {
        if (outward) take_outward(i);
        if (is_line() && homeward.value_or(true)) take_homeward(i);
      }
      if (!is_line() || homeward.value_or(true)) take_controller();
      return;
    }
    if (pattern == chain_.controller.name) {
      if (homeward && !*homeward) spot.say("the way into the controller is homeward");
      take_controller();
      return;
    }
    const auto range = range_of(pattern, spot, chain_);
    if (!range) return;
    if (!outward && range->first == range->last && range->first + 1 == count()) {
      spot.say(fmt::format("{} is the last node: nothing comes homeward into it", pattern));
      return;
    }
    for (std::size_t i = range->first; i <= range->last; ++i) {
      if (outward) {
        take_outward(i);
      } else {
        take_homeward(i);
      }
    }
  }
};

// A condition is followed from the run's start, a good and a bad time after the other: much shorter ones would make a
// run of weeks endless, and describe noise rather than a condition.
constexpr Nanos shortest_good = millisecond;

void read_good_time(const Spot& spot, std::string_view field, const std::string& text, Nanos& out) {
  read_span(spot, field, text, out, Zero::refused);
  if (spot.has(field) && out > 0 && out < shortest_good) {
    spot.in(field).say(
        fmt::format("{} must be at least 1ms, not {}; for what comes oftener use bit_error", field, text));
  }
}

void read_burst(const text::Burst& burst, const Spot& spot, BurstSpec& out) {
  out = {};
  if (!spot.has("mean_good") || !spot.has("mean_bad")) spot.say("burst needs mean_good and mean_bad");
  read_good_time(spot, "mean_good", burst.mean_good(), out.mean_good);
  read_span(spot, "mean_bad", burst.mean_bad(), out.mean_bad, Zero::refused);
  read_probability(spot, "bad_bit_error", burst.bad_bit_error(), out.bad_bit_error, true);
}

void read_contact(const text::Contact& contact, const Spot& spot, ContactSpec& out) {
  out = {};
  if (!spot.has("mean_between") || !spot.has("mean_open")) spot.say("contact needs mean_between and mean_open");
  read_good_time(spot, "mean_between", contact.mean_between(), out.mean_between);
  read_span(spot, "mean_open", contact.mean_open(), out.mean_open, Zero::refused);
  out.reads_low = contact.reads_low();
}

/// From and to of something that has both.
template <class Message>
void read_times(const Message& message, const Spot& spot, Nanos& from, Nanos& until) {
  read_span(spot, "from", message.from(), from, Zero::allowed, latest_instant);
  read_span(spot, "to", message.to(), until, Zero::allowed, latest_instant);
  if (until <= from) spot.in("to").say("to must be later than from");
}

constexpr std::int64_t most_wander_ppb = 20'000'000;

void read_ripple(const text::Ripple& ripple, const Spot& spot, RippleSpec& out) {
  out = {};
  read_span(spot, "period", ripple.period(), out.period, Zero::refused);
  read_span(spot, "window", ripple.window(), out.window, Zero::refused);
  read_probability(spot, "bit_error", ripple.bit_error(), out.bit_error, true);
  if (!spot.has("window") || !spot.has("bit_error")) spot.say("a ripple needs window and bit_error");
  if (out.window > out.period) spot.in("window").say("window is longer than period");
  read_clock_error(spot, "wander", ripple.wander(), out.wander_ppb);
  if (out.wander_ppb < 0 || out.wander_ppb > most_wander_ppb) spot.in("wander").say("wander is 0 to 2%");
  read_span(spot, "wander_every", ripple.wander_every(), out.wander_every, Zero::refused);
  if (out.wander_every < second) spot.in("wander_every").say("wander_every must be at least 1s");
}

void read_bleed_edge(const text::BleedEdge& edge, const Spot& spot, BleedEdgeSpec& out) {
  out = {};
  read_span(spot, "window", edge.window(), out.window, Zero::refused);
  read_probability(spot, "bit_error", edge.bit_error(), out.bit_error, true);
  if (!spot.has("window") || !spot.has("bit_error")) spot.say("bleed_edge needs window and bit_error");
}

/// What a hop states, over what stands in `out`.
void read_conditions(const text::Hop& hop, const Spot& spot, LinkSpec& out) {
  read_span(spot, "isolator_delay", hop.isolator_delay(), out.isolator_delay, Zero::allowed, second);
  read_probability(spot, "bit_error", hop.bit_error(), out.bit_error, true);
  if (hop.has_burst()) read_burst(hop.burst(), spot.in("burst"), out.burst);
  if (hop.has_contact()) read_contact(hop.contact(), spot.in("contact"), out.contact);
  Nanos longer = 0;
  Nanos shorter = 0;
  read_span(spot, "lows_longer", hop.lows_longer(), longer, Zero::allowed, second);
  read_span(spot, "lows_shorter", hop.lows_shorter(), shorter, Zero::allowed, second);
  if (spot.has("lows_longer") && spot.has("lows_shorter"))
    spot.in("lows_shorter").say("low levels become longer or shorter, not both");
  if (spot.has("lows_longer") || spot.has("lows_shorter")) out.pulse_stretch = longer - shorter;
  if (hop.has_line_ripple()) read_ripple(hop.line_ripple(), spot.in("line_ripple"), out.line_ripple);
  if (hop.has_switching_ripple())
    read_ripple(hop.switching_ripple(), spot.in("switching_ripple"), out.switching_ripple);
  if (hop.has_bleed_edge()) read_bleed_edge(hop.bleed_edge(), spot.in("bleed_edge"), out.bleed_edge);
  if (too_many(spot, "open", hop.open_size(), most_in_list)) return;
  if (hop.open_size() > 0) out.opens.clear();
  for (int i = 0; i < hop.open_size(); ++i) {
    OpenSpec open;
    read_times(hop.open(i), spot.in("open", i), open.from, open.to);
    open.reads_low = hop.open(i).reads_low();
    out.opens.push_back(open);
  }
}

/// The same, each thing as stated, laid over `link`.
void overlay(const text::Hop& hop, const LinkSpec& stated, LinkSpec& link) {
  if (!hop.isolator_delay().empty()) link.isolator_delay = stated.isolator_delay;
  if (!hop.bit_error().empty()) link.bit_error = stated.bit_error;
  if (hop.has_burst()) link.burst = stated.burst;
  if (hop.has_contact()) link.contact = stated.contact;
  if (hop.open_size() > 0) link.opens = stated.opens;
  if (!hop.lows_longer().empty() || !hop.lows_shorter().empty()) link.pulse_stretch = stated.pulse_stretch;
  if (hop.has_line_ripple()) link.line_ripple = stated.line_ripple;
  if (hop.has_switching_ripple()) link.switching_ripple = stated.switching_ripple;
  if (hop.has_bleed_edge()) link.bleed_edge = stated.bleed_edge;
}

bool is_one_of(FaultClass kind, std::initializer_list<FaultClass> kinds) {
  return std::find(kinds.begin(), kinds.end(), kind) != kinds.end();
}

/// Fields of a fault that not every class has: told if given to the wrong class.
void check_fields_of_class(const Spot& spot, FaultClass kind) {
  using C = FaultClass;
  struct Rule {
    const char* field;
    std::initializer_list<FaultClass> classes;
    const char* whose;
  };
  const std::initializer_list<FaultClass> on_frames = {C::corruption, C::repetition, C::sequence, C::loss,  C::delay,
                                                       C::insertion,  C::masquerade, C::address,  C::memory};
  const std::initializer_list<FaultClass> on_hops = {C::corruption, C::repetition, C::sequence,   C::loss,
                                                     C::delay,      C::insertion,  C::masquerade, C::address};
  const Rule rules[] = {
      {"into", on_hops, "faults on hops; MEMORY and RESET take nodes"},
      {"topics", on_frames, "faults on frames, not with RESET"},
      {"leg", on_frames, "faults on frames, not with RESET"},
      {"rate", on_frames, "faults on frames, not with RESET"},
      {"while_balancing", on_frames, "faults on frames, not with RESET"},
      {"at", {C::reset}, "RESET"},
      {"bits", {C::corruption, C::memory}, "CORRUPTION and MEMORY"},
      {"by", {C::delay, C::repetition, C::insertion, C::sequence}, "DELAY, SEQUENCE, REPETITION and INSERTION"},
      {"value", {C::address, C::masquerade}, "ADDRESS and MASQUERADE"},
  };
  for (const Rule& rule : rules) {
    if (spot.has(rule.field) && !is_one_of(kind, rule.classes)) {
      spot.in(rule.field).say(fmt::format("{} goes with {}", rule.field, rule.whose));
    }
  }
}

void check_needs_of_class(const text::Fault& fault, const Spot& spot, const FaultSpec& result,
                          const BusDescription* bus) {
  switch (result.kind) {
    case FaultClass::delay:
      if (!spot.has("by")) spot.say("a DELAY needs by: how long, for example by: \"20ms\"");
      break;
    case FaultClass::masquerade:
      if (!fault.has_value())
        spot.say("a MASQUERADE needs value: what the payload's first byte is changed by, 1 to 255");
      if (fault.has_value()) check_range(spot, "value", fault.value(), 1, 255);
      break;
    case FaultClass::address:
      if (!fault.has_value()) spot.say("an ADDRESS fault needs value: the address that is put in");
      if (const auto largest = largest_address(bus); fault.has_value() && largest) {
        check_range(spot, "value", fault.value(), 0, *largest);
      }
      break;
    case FaultClass::reset:
      if (fault.at_size() == 0) spot.say("a RESET needs at: when, for example at: [\"1h\", \"2h\"]");
      break;
    default:
      break;
  }
}

}  // namespace

std::optional<std::uint64_t> largest_address(const BusDescription* bus) {
  if (bus == nullptr || bus->roles.destination.empty()) return std::nullopt;
  for (const PartSpec& part : bus->parts) {
    if (part.field && part.field->name == bus->roles.destination) return FieldCode::limit_of(*part.field);
  }
  return std::nullopt;
}

std::vector<std::uint16_t> pick_links(const Patterns& patterns, std::optional<bool> homeward, const Spot& spot,
                                      const ChainDescription& chain) {
  return LinkPicker{chain}.pick(patterns, homeward, spot);
}

std::vector<std::uint16_t> pick_nodes(const Patterns& patterns, std::string_view field, const Spot& spot,
                                      const ChainDescription& chain) {
  if (too_many(spot, field, patterns.size(), most_in_list)) return {};
  std::vector<bool> picked(chain.nodes.size());
  for (int i = 0; i < patterns.size(); ++i) {
    Range range{0, chain.nodes.size() - 1};
    if (patterns[i] != all) {
      const auto found = range_of(patterns[i], spot.in(field, i), chain);
      if (!found) continue;
      range = *found;
    }
    for (std::size_t n = range.first; n <= range.last && n < picked.size(); ++n) picked[n] = true;
  }
  std::vector<std::uint16_t> nodes;
  for (std::size_t n = 0; n < picked.size(); ++n) {
    if (picked[n]) nodes.push_back(static_cast<std::uint16_t>(n));
  }
  return nodes;
}

LoadedNodes nodes_from(const text::Scenario& scenario, const Spot& spot, const std::vector<KindSpec>& kinds,
                       const BusDescription* bus) {
  LoadedNodes result;
  std::uint64_t next_address = 1;
  for (int i = 0; i < scenario.nodes_size(); ++i) {
    const text::Nodes& nodes = scenario.nodes(i);
    const Spot here = spot.in("nodes", i);
    check_name(here, nodes.name(), "entry of nodes");
    NodeSpec node;
    const auto kind =
        std::find_if(kinds.begin(), kinds.end(), [&](const KindSpec& spec) { return spec.name == nodes.kind(); });
    if (nodes.kind().empty()) {
      here.say("nodes needs a kind");
    } else if (kind == kinds.end()) {
      std::vector<std::string> known;
      for (const KindSpec& spec : kinds) known.push_back(spec.name);
      here.in("kind").say(
          fmt::format("there is no kind {}{}", in_quotes(nodes.kind()), suggestion(nodes.kind(), known)));
    } else {
      node.kind = static_cast<std::size_t>(kind - kinds.begin());
    }
    if (nodes.has_clock()) {
      node.clock = clock_from(nodes.clock(), here.in("clock"), bus);
      BoardSpec board = kind == kinds.end() ? BoardSpec{} : kind->board;
      if (read_slopes(nodes.clock(), here.in("clock"), board)) node.board = board;
    }
    if (nodes.has_address()) next_address = nodes.address();
    const std::uint32_t count = nodes.has_count() ? nodes.count() : 1;
    if (count == 0) here.in("count").say("count must be at least 1");
    if (count > max_nodes || result.nodes.size() + count > max_nodes) {
      here.in("count").say(fmt::format("a chain has at most {} nodes", max_nodes));
      break;
    }
    for (std::uint32_t n = 1; n <= count; ++n) {
      node.name = nodes.has_count() ? nodes.name() + std::to_string(n) : nodes.name();
      node.address = next_address;
      if (next_address < std::numeric_limits<std::uint64_t>::max()) ++next_address;
      const bool taken = std::any_of(result.nodes.begin(), result.nodes.end(),
                                     [&](const NodeSpec& other) { return other.name == node.name; });
      if (taken && !node.name.empty())
        here.in("name").say(fmt::format("there are two nodes {}; each needs a name of its own", in_quotes(node.name)));
      if (node.name == everyone) here.in("name").say("a node cannot be called \"everyone\"");
      result.nodes.push_back(node);
      result.spots.push_back(here);
    }
  }
  if (scenario.nodes_size() == 0)
    spot.say("the chain has no nodes: it needs 1 to 250, for example nodes { name: \"a\" count: 16 kind: \"...\" }");
  return result;
}

std::vector<LinkSpec> links_from(const text::Scenario& scenario, const Spot& spot, const ChainDescription& chain) {
  LinkSpec every;
  if (scenario.has_every_hop()) {
    const Spot here = spot.in("every_hop");
    for (const char* field : {"into", "homeward"}) {
      if (here.has(field))
        here.in(field).say(fmt::format("{} has no place in every_hop; use hop for certain hops", field));
    }
    read_conditions(scenario.every_hop(), here, every);
  }
  std::vector<LinkSpec> links(LinkTable(chain.shape, chain.nodes.size()).size(), every);
  if (too_many(spot, "hop", scenario.hop_size(), most_hops)) return links;
  for (int i = 0; i < scenario.hop_size(); ++i) {
    const text::Hop& hop = scenario.hop(i);
    const Spot here = spot.in("hop", i);
    LinkSpec stated;
    read_conditions(hop, here, stated);
    if (hop.into_size() == 0) here.say("hop needs into: the station that it leads into");
    const std::optional<bool> homeward = hop.has_homeward() ? std::optional{hop.homeward()} : std::nullopt;
    for (const std::uint16_t link : pick_links(hop.into(), homeward, here, chain)) overlay(hop, stated, links[link]);
  }
  return links;
}

FaultSpec fault_from(const text::Fault& fault, const Spot& spot, const ChainDescription& chain,
                     const BusDescription* bus) {
  static_assert(static_cast<int>(FaultClass::reset) == text::Fault::RESET);
  static_assert(static_cast<int>(FaultClass::masquerade) == text::Fault::MASQUERADE);
  static_assert(static_cast<int>(LegFilter::answers) == text::Fault::ANSWERS);
  FaultSpec result;
  check_name(spot, fault.name(), "fault");
  result.name = fault.name();
  if (!fault.has_class_()) {
    spot.say("a fault needs a class, for example class: LOSS");
    return result;
  }
  result.kind = static_cast<FaultClass>(fault.class_());
  check_fields_of_class(spot, result.kind);
  check_needs_of_class(fault, spot, result, bus);
  const std::optional<bool> homeward = fault.has_homeward() ? std::optional{fault.homeward()} : std::nullopt;
  if (homeward && fault.into_size() == 0) {
    spot.in("homeward").say("homeward goes with into");
  } else {
    result.links = pick_links(fault.into(), homeward, spot, chain);
  }
  if (fault.nodes_size() > 0) result.nodes = pick_nodes(fault.nodes(), "nodes", spot, chain);
  if (too_many(spot, "topics", fault.topics_size(), most_in_list) ||
      too_many(spot, "at", fault.at_size(), most_in_list))
    return result;
  for (int i = 0; i < fault.topics_size(); ++i) {
    check_topic(spot.in("topics", i), fault.topics(i), bus);
    result.topics.push_back(fault.topics(i));
  }
  result.leg = static_cast<LegFilter>(fault.leg());
  read_times(fault, spot, result.from, result.to);
  read_probability(spot, "rate", fault.rate(), result.rate, false);
  result.at_most = fault.at_most();
  result.while_balancing = fault.while_balancing();
  for (int i = 0; i < fault.at_size(); ++i) {
    Nanos at = 0;
    read_span_at(spot.in("at", i), "at", fault.at(i), at, Zero::allowed, latest_instant);
    result.at.push_back(at);
  }
  std::sort(result.at.begin(), result.at.end());
  if (fault.has_bits()) result.bits = fault.bits();
  check_range(spot, "bits", result.bits, 1, 64);
  read_span(spot, "by", fault.by(), result.by, result.kind == FaultClass::delay ? Zero::refused : Zero::allowed);
  result.value = fault.value();
  return result;
}

}  // namespace hopbench
