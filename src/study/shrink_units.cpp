#include "study/shrink_units.h"

#include <fmt/format.h>

#include <algorithm>
#include <cstdlib>
#include <set>

#include "base/duration.h"
#include "scenario.pb.h"
#include "text/node_list.h"
#include "text/parse.h"
#include "text/path_walk.h"
#include "text/printed.h"

namespace hopbench {
namespace {

using google::protobuf::FieldDescriptor;
using google::protobuf::Message;
using google::protobuf::RepeatedPtrField;
using Names = RepeatedPtrField<std::string>;

struct Removable {
  std::string name;
  std::vector<PathStep> path;
};

bool is_one_of(std::string_view name, std::initializer_list<std::string_view> names) {
  return std::find(names.begin(), names.end(), name) != names.end();
}

/// Leaves out names of stations that are gone. True if none is left of some.
bool only_known(Names& names, const std::set<std::string>& known) {
  if (names.empty()) return false;
  Names left;
  for (const std::string& name : names) {
    if (name == "*" || known.contains(name)) left.Add()->assign(name);
  }
  names = left;
  return names.empty();
}

template <class T, class F>
void remove_if(RepeatedPtrField<T>& list, F f) {
  list.erase(std::remove_if(list.begin(), list.end(), f), list.end());
}

/// Whether it states anything but which hops it is about.
bool says_nothing(const text::Hop& hop) {
  text::Hop rest = hop;
  rest.clear_into();
  rest.clear_homeward();
  return rest.ByteSizeLong() == 0;
}

/// What refers to something that is gone goes as well.
void tidy(text::Scenario& scenario) {
  std::set<std::string> stations;
  std::set<std::string> kinds;
  for (const auto& node : scenario.nodes()) {
    stations.insert(node.name());
    kinds.insert(node.kind());
  }
  auto& controller = *scenario.mutable_controller();
  remove_if(*controller.mutable_poll(), [&](text::Poll& poll) { return only_known(*poll.mutable_nodes(), stations); });
  remove_if(*scenario.mutable_battery()->mutable_tap(),
            [&](const text::Tap& tap) { return !stations.contains(tap.node()); });
  remove_if(*scenario.mutable_wrong_address(),
            [&](const text::WrongAddress& wrong) { return !stations.contains(wrong.node()); });
  if (scenario.has_begins()) {
    remove_if(*scenario.mutable_begins()->mutable_standing(), [&](text::Standing& standing) {
      const auto node = std::find_if(scenario.nodes().begin(), scenario.nodes().end(),
                                     [&](const text::Nodes& each) { return each.name() == standing.node(); });
      if (node == scenario.nodes().end()) return true;
      const auto kind = std::find_if(scenario.kind().begin(), scenario.kind().end(),
                                     [&](const text::Kind& each) { return each.name() == node->kind(); });
      const int cells = kind != scenario.kind().end() && kind->has_cells() ? static_cast<int>(kind->cells()) : 1;
      while (standing.charge_size() > cells) standing.mutable_charge()->RemoveLast();
      return false;
    });
    if (scenario.begins().ByteSizeLong() == 0) scenario.clear_begins();
  }
  remove_if(*scenario.mutable_kind(), [&](const text::Kind& kind) { return !kinds.contains(kind.name()); });
  remove_if(*scenario.mutable_fault(), [&](text::Fault& fault) {
    std::set<std::string> known = stations;
    known.insert(controller.name().empty() ? "controller" : controller.name());
    const bool nowhere = only_known(*fault.mutable_into(), known);
    return only_known(*fault.mutable_nodes(), stations) || nowhere;
  });
  stations.insert(controller.name().empty() ? "controller" : controller.name());
  remove_if(*scenario.mutable_hop(),
            [&](text::Hop& hop) { return only_known(*hop.mutable_into(), stations) || says_nothing(hop); });
  if (says_nothing(scenario.every_hop())) scenario.clear_every_hop();
}

std::string joined(const Names& names) {
  std::string text;
  for (const auto& name : names) text += (text.empty() ? "" : ",") + name;
  return text;
}

}  // namespace

struct ShrinkUnits::Impl {
  text::Scenario whole;
  std::vector<Removable> units;

  void add(std::string name, const std::string& path) { units.push_back({std::move(name), parse_path(path)}); }

  /// A unit for each field that is stated, but for those by which it is known.
  void add_fields(const Message& message, const std::string& owner, const std::string& at,
                  std::initializer_list<std::string_view> skipped) {
    std::vector<const FieldDescriptor*> fields;
    message.GetReflection()->ListFields(message, &fields);
    for (const FieldDescriptor* field : fields) {
      if (is_one_of(field->name(), skipped)) continue;
      const std::string name = owner.empty() ? field->name() : owner + ": " + field->name();
      const std::string path = at.empty() ? field->name() : at + "." + field->name();
      if (!field->is_repeated()) {
        add(name, path);
        continue;
      }
      for (int i = 0; i < message.GetReflection()->FieldSize(message, field); ++i)
        add(fmt::format("{} {}", name, i + 1), fmt::format("{}[{}]", path, i));
    }
  }

  void find_units() {
    for (int i = 0; i < whole.fault_size(); ++i) add("fault " + whole.fault(i).name(), fmt::format("fault[{}]", i));
    for (int i = 0; i < whole.nodes_size(); ++i) add("node " + whole.nodes(i).name(), fmt::format("nodes[{}]", i));
    for (int i = 0; i < whole.controller().poll_size(); ++i)
      add("poll " + whole.controller().poll(i).name(), fmt::format("controller.poll[{}]", i));
    for (int i = 0; i < whole.hop_size(); ++i) {
      const std::string owner = "hop into " + joined(whole.hop(i).into());
      add_fields(whole.hop(i), owner, fmt::format("hop[{}]", i), {"into", "homeward"});
    }
    add_fields(whole.every_hop(), "every hop", "every_hop", {});
    for (int i = 0; i < whole.nodes_size(); ++i)
      add_fields(whole.nodes(i), "node " + whole.nodes(i).name(), fmt::format("nodes[{}]", i),
                 {"name", "count", "kind", "address"});
    for (int i = 0; i < whole.kind_size(); ++i)
      add_fields(whole.kind(i), "kind " + whole.kind(i).name(), fmt::format("kind[{}]", i),
                 {"name", "topics", "measured_topics"});
    add_fields(whole.controller(), "controller", "controller", {"name", "poll", "enrolment"});
    add_fields(whole, "", "",
               {"name", "about", "seed", "run_for", "bus", "inline_bus", "shape", "kind", "nodes", "every_hop", "hop",
                "fault", "controller", "begins"});
    add_fields(whole.begins(), "begins", "begins", {"standing"});
    for (int i = 0; i < whole.begins().standing_size(); ++i)
      add("begins: " + whole.begins().standing(i).node(), fmt::format("begins.standing[{}]", i));
  }

  [[nodiscard]] text::Scenario with(const std::vector<bool>& kept, Nanos run_for) const {
    text::Scenario scenario = whole;
    std::vector<PathEnd> gone;
    for (std::size_t i = 0; i < units.size(); ++i) {
      if (kept[i]) continue;
      const std::vector<PathEnd> ends = walk(scenario, units[i].path, WalkFor::removing);
      gone.insert(gone.end(), ends.begin(), ends.end());
    }
    remove_all(std::move(gone));
    const bool battery = scenario.has_battery();
    if (!battery && scenario.has_begins()) {
      // Cells that nothing charges have no charge.
      for (auto& standing : *scenario.mutable_begins()->mutable_standing()) standing.clear_charge();
    }
    tidy(scenario);
    if (!battery) scenario.clear_battery();
    scenario.set_run_for(format_duration(run_for));
    return scenario;
  }
};

ShrinkUnits::ShrinkUnits(const Scenario& loaded, std::uint64_t seed) : impl_(std::make_unique<Impl>()) {
  text::Scenario& whole = impl_->whole;
  whole = parsed(loaded);
  whole.clear_about();
  whole.set_seed(seed);
  const std::string& bus = whole.bus();
  if (whole.bus_from_case() == text::Scenario::kBus &&
      (bus.find('/') != std::string::npos || bus.ends_with(".txtpb"))) {
    const TextFile bus_file{bus, loaded.bus_text};
    Reporter bus_reporter(bus_file);
    text::Bus description;
    (void)parse_text(bus_file, description, bus_reporter);
    *whole.mutable_inline_bus() = description;
  }
  take_apart(whole, [](int) { return true; });
  const std::vector<ListedNode> nodes = listed_nodes(whole);
  for (auto& hop : *whole.mutable_hop()) spell_out(*hop.mutable_into(), nodes);
  for (auto& fault : *whole.mutable_fault()) {
    spell_out(*fault.mutable_into(), nodes);
    spell_out(*fault.mutable_nodes(), nodes);
  }
  for (auto& poll : *whole.mutable_controller()->mutable_poll()) spell_out(*poll.mutable_nodes(), nodes);
  impl_->find_units();
}

ShrinkUnits::~ShrinkUnits() = default;

std::size_t ShrinkUnits::size() const { return impl_->units.size(); }

const std::string& ShrinkUnits::name(std::size_t unit) const { return impl_->units[unit].name; }

bool ShrinkUnits::of_start(std::size_t unit) const { return impl_->units[unit].path.front().field == "begins"; }

std::string ShrinkUnits::text(const std::vector<bool>& kept, Nanos run_for) const {
  return printed(impl_->with(kept, run_for));
}

std::string with_start(const Scenario& loaded, const StartSpec& start) {
  text::Scenario scenario = parsed(loaded);
  scenario.clear_begins();
  text::Begins& begins = *scenario.mutable_begins();
  begins.set_after(format_duration(start.at));
  begins.set_round(start.round);
  if (start.charged) begins.set_charged(true);
  for (const StartSpec::Standing& each : start.nodes) {
    text::Standing& standing = *begins.add_standing();
    standing.set_node(loaded.chain.nodes[each.node].name);
    for (const std::int64_t ppm : each.charge_ppm)
      standing.add_charge(fmt::format("{}.{:04}%", ppm / 10'000, ppm % 10'000));
    if (each.board_mc) {
      const int mc = *each.board_mc;
      standing.set_board(fmt::format("{}{}.{:03}C", mc < 0 ? "-" : "", std::abs(mc) / 1000, std::abs(mc) % 1000));
    }
  }
  return printed(scenario);
}

std::vector<bool> ShrinkUnits::still_there(const std::vector<bool>& kept, Nanos run_for) const {
  const std::string now = text(kept, run_for);
  std::vector<bool> there = kept;
  for (std::size_t i = 0; i < there.size(); ++i) {
    if (!there[i]) continue;
    std::vector<bool> less = there;
    less[i] = false;
    if (text(less, run_for) == now) there[i] = false;
  }
  return there;
}

}  // namespace hopbench
