#include <fmt/format.h>

#include <algorithm>
#include <set>

#include "base/duration.h"
#include "bus/protocol.h"
#include "embedded.h"
#include "scenario.pb.h"
#include "text/bus.h"
#include "text/bus_loader.h"
#include "text/chain_loader.h"
#include "text/entry_checks.h"
#include "text/fault_checks.h"
#include "text/kind_loader.h"
#include "text/pack_loader.h"
#include "text/parse.h"
#include "text/plan_loader.h"
#include "text/plan_rehearsal.h"
#include "text/reach_checks.h"
#include "text/readers.h"
#include "text/requirement_loader.h"
#include "text/scenario.h"
#include "text/scenario_checks.h"
#include "text/suggest.h"
#include "text/trip_checks.h"
#include "text/values.h"
#include "text/wrong_addresses.h"

namespace hopbench {
namespace {

constexpr int most_kinds = 250;
constexpr int most_faults = 1000;
constexpr std::uint32_t least_baud = 50;
constexpr std::uint32_t most_baud = 10'000'000;

static_assert(static_cast<int>(Shape::line) == text::Scenario::LINE);

/// The work of one load: the message, where it stands, what has come of it so far.
class Loader {
 public:
  Loader(const TextFile& file, const BusFinder& buses, Demand demand)
      : file_(file), buses_(buses), demand_(demand), reporter_(file) {}

  std::optional<Scenario> load(std::vector<Problem>& problems) {
    if (kind_of(file_) == TextKind::bus) {
      reporter_.say({}, "this is a bus description and no scenario; a scenario names it: bus: \"FILE\"");
      reporter_.hand_over(problems);
      return std::nullopt;
    }
    try {
      const Outline outline = parse_text(file_, message_, reporter_);
      if (reporter_.empty()) {
        const Spot root{outline, reporter_};
        read_bus(root, problems);
        read_chain(root);
      }
    } catch (const TooManyProblems&) {
      // What was found up to here is told.
    }
    const bool good = reporter_.empty() && bus_good_;
    reporter_.hand_over(problems);
    if (!good) return std::nullopt;
    result_.scenario_text = file_.text;
    return std::move(result_);
  }

 private:
  const TextFile& file_;
  const BusFinder& buses_;
  Demand demand_;
  Reporter reporter_;
  text::Scenario message_;
  Scenario result_;
  std::vector<Spot> entry_spots_;
  bool bus_good_ = false;

  [[nodiscard]] const BusDescription* bus() const { return bus_good_ ? &result_.bus : nullptr; }

  void read_bus(const Spot& root, std::vector<Problem>& problems) {
    switch (message_.bus_from_case()) {
      case text::Scenario::kBus:
        find_bus(root.in("bus"), problems);
        break;
      case text::Scenario::kInlineBus: {
        const Spot spot = root.in("inline_bus");
        const bool clean_before = reporter_.empty();
        result_.bus = bus_from(message_.inline_bus(), spot);
        if (reporter_.empty()) tell_bus_faults(result_.bus, spot, demand_);
        bus_good_ = clean_before && reporter_.empty();
        break;
      }
      case text::Scenario::BUS_FROM_NOT_SET:
        root.say("which bus? write bus: \"bench-frame\", another name, a path, or inline_bus { ... }");
        break;
    }
    if (message_.has_baud()) {
      check_range(root, "baud", message_.baud(), least_baud, most_baud);
      if (message_.baud() >= least_baud && message_.baud() <= most_baud) result_.bus.line.baud = message_.baud();
    }
  }

  void find_bus(const Spot& spot, std::vector<Problem>& problems) {
    std::string why;
    const auto text = buses_(message_.bus(), why);
    if (!text) {
      spot.say(fmt::format("the bus description {} {}", in_quotes(message_.bus()), why));
      return;
    }
    auto bus = load_bus(*text, demand_, problems);
    if (!bus) return;
    result_.bus = std::move(*bus);
    result_.bus_text = text->text;
    bus_good_ = true;
  }

  void read_chain(const Spot& root) {
    ChainDescription& chain = result_.chain;
    check_name(root, message_.name(), "scenario");
    chain.name = message_.name();
    if (message_.has_seed()) chain.seed = message_.seed();
    read_span(root, "run_for", message_.run_for(), chain.run_for, Zero::refused, latest_instant);
    chain.shape = static_cast<Shape>(message_.shape());
    read_kinds(root);
    chain.controller.name = controller_name(message_, root);
    LoadedNodes loaded = nodes_from(message_, root, chain.kinds, bus());
    chain.nodes = std::move(loaded.nodes);
    for (std::size_t i = 0; i < chain.nodes.size(); ++i) {
      if (chain.nodes[i].name == chain.controller.name) {
        loaded.spots[i].in("name").say(fmt::format(
            "the controller is called {} too; each station needs a name of its own", in_quotes(chain.controller.name)));
      }
    }
    if (!message_.has_controller()) root.say("the scenario needs a controller with at least one poll");
    if (chain.nodes.empty()) return;
    chain.links = links_from(message_, root, chain);
    chain.pack = pack_from(message_, root, chain);
    read_faults(root);
    if (message_.has_controller()) {
      LoadedController controller = controller_from(message_.controller(), root.in("controller"), chain, bus());
      chain.controller = std::move(controller.spec);
      entry_spots_ = std::move(controller.entry_spots);
    }
    if (!reporter_.empty() || bus() == nullptr) return;
    check_addresses(chain, loaded.spots, *bus());
    read_wrong_addresses(message_, root, *bus(), chain);
    check_forwarding(chain, root, *bus());
    check_name_hashes(chain, root);
    result_.requirements = requirements_from(message_, root, chain);
    if (message_.has_begins()) chain.start = start_from(message_.begins(), root.in("begins"), chain);
    if (reporter_.empty() && demand_ == Demand::works) look_ahead(root);
  }

  /// Whether what fits together can work.
  void look_ahead(const Spot& root) {
    const ChainDescription& chain = result_.chain;
    check_distances(chain, root, *bus());
    if (!reporter_.empty()) return;
    check_receivers(chain, root, *bus());
    const Protocol protocol(*bus());
    const auto all = rehearse_all(protocol, chain, root, entry_spots_);
    check_exchanges(all, protocol, chain, check_passes(all, chain, root, *bus()));
    check_orders(all, protocol, chain);
    check_offers(chain, root);
    check_trips(all, protocol, chain, root);
    check_strikes(all, protocol, chain, root);
    check_reach(all, protocol, chain, root);
  }

  void read_kinds(const Spot& root) {
    if (message_.kind_size() == 0) root.say("the scenario needs at least one kind of node: kind { name: \"...\" }");
    if (too_many(root, "kind", message_.kind_size(), most_kinds)) return;
    std::set<std::string> names;
    for (int i = 0; i < message_.kind_size(); ++i) {
      const Spot here = root.in("kind", i);
      result_.chain.kinds.push_back(kind_from(message_.kind(i), here, bus()));
      if (!names.insert(message_.kind(i).name()).second && !message_.kind(i).name().empty()) {
        here.in("name").say(
            fmt::format("there are two kinds {}; each needs a name of its own", in_quotes(message_.kind(i).name())));
      }
    }
  }

  void read_faults(const Spot& root) {
    if (too_many(root, "fault", message_.fault_size(), most_faults)) return;
    std::set<std::string> names;
    for (int i = 0; i < message_.fault_size(); ++i) {
      const Spot here = root.in("fault", i);
      result_.chain.faults.push_back(fault_from(message_.fault(i), here, result_.chain, bus()));
      if (!names.insert(message_.fault(i).name()).second && !message_.fault(i).name().empty()) {
        here.in("name").say(
            fmt::format("there are two faults {}; each needs a name of its own", in_quotes(message_.fault(i).name())));
      }
    }
  }
};

}  // namespace

std::optional<Scenario> load_scenario(const TextFile& file, const BusFinder& buses, std::vector<Problem>& problems) {
  return Loader{file, buses, Demand::works}.load(problems);
}

std::optional<Scenario> load_recorded(const TextFile& file, const BusFinder& buses, std::vector<Problem>& problems) {
  return Loader{file, buses, Demand::sound}.load(problems);
}

}  // namespace hopbench
