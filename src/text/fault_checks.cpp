#include "text/fault_checks.h"

#include <fmt/format.h>

#include <algorithm>
#include <optional>

#include "base/duration.h"
#include "scenario/fault_reach.h"
#include "text/node_names.h"

namespace hopbench {
namespace {

/// What can be bled in this chain, and what is.
struct Bleeding {
  std::uint32_t cells = 0;    // that can be
  bool ordered = false;       // by anybody
  std::uint32_t at_once = 0;  // most that the plan and its balancing order; only if ordered
};

Bleeding bleeding_of(const std::vector<Rehearsed>& all, const ChainDescription& chain) {
  Bleeding bleeding;
  for (const NodeSpec& node : chain.nodes) {
    const KindSpec& kind = chain.kinds[node.kind];
    if (kind.board.bleed_mohm > 0) bleeding.cells += kind.cells;
  }
  const BalancingSpec& balancing = chain.controller.balancing;
  bleeding.at_once = bleeding.cells;
  bool by_plan = false;
  for (const Rehearsed& each : all) {
    const auto mask = each.how.sets.find(Quantity::bleed_mask);
    by_plan = by_plan || (each.from != "balancing" && mask != each.how.sets.end() && mask->second != 0);
  }
  bleeding.ordered = by_plan || balancing.every > 0;
  if (!by_plan && balancing.at_once != 0) bleeding.at_once = std::min(bleeding.at_once, balancing.at_once);
  return bleeding;
}

/// One fault and what is known of it.
class FaultCheck {
 public:
  FaultCheck(const FaultSpec& fault, const Spot& spot, const FaultReach& reach, const ChainDescription& chain)
      : fault_(&fault), spot_(spot), reach_(&reach), chain_(&chain) {}

  void times(Nanos start) const {
    const Nanos end = chain_->run_for == 0 ? never : start + chain_->run_for;
    if (fault_->kind == FaultClass::reset) {
      const auto within = [&](Nanos at) { return at >= start && at < end; };
      if (fault_->at.empty() || std::any_of(fault_->at.begin(), fault_->at.end(), within)) return;
      spot_.in("at").warn(fmt::format("no restart falls into the run, which {}", span_of_run(start, end)));
      return;
    }
    if (fault_->from >= end) {
      spot_.in("from").warn(fmt::format("the fault begins when the run is over: it {}", span_of_run(start, end)));
    } else if (fault_->to <= start) {
      spot_.in("to").warn(fmt::format("the fault is over before the run begins: it {}", span_of_run(start, end)));
    }
  }

  void balancing(const Bleeding& bleeding) const {
    const std::uint32_t wanted = fault_->while_balancing;
    if (wanted == 0) return;
    const Spot here = spot_.in("while_balancing");
    if (wanted > bleeding.cells) {
      here.say(bleeding.cells == 0
                   ? "no kind of node can bleed (bleed { resistor: ... }), so this fault never strikes"
                   : fmt::format("while_balancing {} is more than the {} cells that can be bled, so this fault never "
                                 "strikes",
                                 wanted, bleeding.cells));
    } else if (!bleeding.ordered) {
      here.warn(
          "nobody orders cells to be bled: the controller has no balancing and no poll that does, so in this plan the "
          "fault never strikes");
    } else if (wanted > bleeding.at_once) {
      here.warn(fmt::format("while_balancing {} is more than the {} cells that balancing bleeds at once (at_once)",
                            wanted, bleeding.at_once));
    }
  }

  void frames(const std::vector<Passage>& planned) const {
    if (fault_->kind == FaultClass::reset) return;
    if (fault_->rate == 0) {
      spot_.in("rate").warn("rate is 0: the fault never strikes");
      return;
    }
    const auto any = reach_->any_passages(*fault_);
    if (const Spared spared = reach_->spares(*fault_, any); spared != Spared::no) {
      spot_for(spared).say(why(spared, any) + ", so this fault never strikes");
      return;
    }
    if (const Spared spared = reach_->spares(*fault_, planned); spared != Spared::no) {
      spot_for(spared).warn(why(spared, planned) + ", so in this plan the fault never strikes");
      return;
    }
    if (fault_->kind == FaultClass::sequence && fault_->by <= chain_->controller.time_out) {
      spot_.in("by").warn(fmt::format(
          "SEQUENCE needs two frames on a hop at once, and a controller that waits for each answer never has two: with "
          "this plan the fault {}; it shows with several asks in flight (emulate){}",
          fault_->by == 0 ? "does nothing" : "only delays",
          fault_->by == 0 ? ", if by says how long a frame waits for the next" : ""));
    }
  }

 private:
  const FaultSpec* fault_;
  Spot spot_;
  const FaultReach* reach_;
  const ChainDescription* chain_;

  static std::string span_of_run(Nanos start, Nanos end) {
    if (end == never) return fmt::format("begins at {}", format_duration(start));
    if (start == 0) return fmt::format("ends at {}", format_duration(end));
    return fmt::format("goes from {} to {}", format_duration(start), format_duration(end));
  }

  [[nodiscard]] Spot spot_for(Spared spared) const {
    const auto first_of = [&](std::initializer_list<const char*> fields) {
      for (const char* field : fields) {
        if (spot_.has(field)) return spot_.in(field);
      }
      return spot_;
    };
    switch (spared) {
      case Spared::no_exchange:
        return first_of({"topics", "nodes"});
      case Spared::no_way:
        return first_of({"into", "nodes", "leg"});
      case Spared::not_whole:
        return first_of({"into", "nodes"});
      case Spared::nothing_to_alter:
        return first_of({"value"});
      case Spared::too_short:
        return first_of({"bits"});
      case Spared::no:
        break;
    }
    return spot_;
  }

  [[nodiscard]] std::string frames_meant() const {
    std::string text = fault_->leg == LegFilter::asks      ? "no ask"
                       : fault_->leg == LegFilter::answers ? "no answer"
                                                           : "no frame";
    const bool passes = fault_->kind == FaultClass::memory;
    if (!fault_->nodes.empty() && !passes) {
      text += fault_->leg == LegFilter::answers ? " of " : " for ";
      text += node_names(*chain_, fault_->nodes);
    }
    return text;
  }

  [[nodiscard]] std::string why(Spared spared, const std::vector<Passage>& passages) const {
    const bool in_memory = fault_->kind == FaultClass::memory;
    switch (spared) {
      case Spared::no_exchange:
        return fmt::format("nothing {}is asked{}",
                           fault_->topics.empty() ? "" : fmt::format("of {} ", fmt::join(fault_->topics, ", ")),
                           fault_->nodes.empty() ? "" : fmt::format(" of {}", node_names(*chain_, fault_->nodes)));
      case Spared::no_way:
        if (in_memory) {
          return fmt::format("{} is passed on by {}", frames_meant(), node_names(*chain_, fault_->nodes));
        }
        return fmt::format("{} passes {}: {}", frames_meant(), fault_->links.size() == 1 ? "this hop" : "these hops",
                           chain_->shape == Shape::ring
                               ? "in a ring asks go as far as the node asked, and answers from there on"
                               : "in a line asks go outward as far as the node asked, and answers homeward from there");
      case Spared::not_whole:
        return in_memory ? "these nodes pass frames on while they come in, and never have one whole in memory"
                         : "frames are passed on there while they come in, so they cannot be held back or altered";
      case Spared::nothing_to_alter:
        return fault_->kind == FaultClass::address ? "the frames have that address already, or none"
                                                   : "the frames have no payload to alter";
      case Spared::too_short: {
        const std::uint64_t most = reach_->most_bits(*fault_, passages);
        return fmt::format("bits: {}, and the longest frame here has {} that it may flip", fault_->bits, most);
      }
      case Spared::no:
        break;
    }
    return "";
  }
};

}  // namespace

void check_strikes(const std::vector<Rehearsed>& all, const Protocol& protocol, const ChainDescription& chain,
                   const Spot& root) {
  if (chain.faults.empty()) return;
  const FaultReach reach(protocol, chain);
  const Bleeding bleeding = bleeding_of(all, chain);
  std::vector<Passage> planned;
  for (const Rehearsed& each : all) {
    if (each.how.end != Rehearsal::End::not_asked) planned.push_back(reach.passage_of(each.entry, each.how));
  }
  for (std::size_t i = 0; i < chain.faults.size(); ++i) {
    const FaultCheck check(chain.faults[i], root.in("fault", static_cast<int>(i)), reach, chain);
    check.times(chain.start.at);
    check.balancing(bleeding);
    check.frames(planned);
  }
}

}  // namespace hopbench
