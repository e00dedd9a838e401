#include "text/plan_rehearsal.h"

#include <algorithm>

#include "scenario/asked.h"

namespace hopbench {
namespace {

using End = Rehearsal::End;

constexpr std::uint64_t most_numbers = 3;  // exchange numbers tried

bool is_lost(End end) { return end == End::ask_lost || end == End::answer_lost; }

/// As well as it goes with some number and some values. What hangs on the content of a frame can go well now and then
/// (a check that looks like a marker does not always); whatever else goes wrong, goes wrong.
Rehearsal at_best(const Rehearser& rehearser, const PlanEntry& entry, std::uint64_t numbers) {
  Rehearsal best = rehearser.rehearse(entry, Telling::middle, 1, true);
  for (const Telling telling : {Telling::least, Telling::most, Telling::middle}) {
    for (std::uint64_t number = 1; number <= numbers; ++number) {
      const bool lost = is_lost(best.end);
      if (!lost && (telling == Telling::middle || number > 1)) break;
      Rehearsal other = rehearser.rehearse(entry, telling, number, lost);
      for (const Misread& each : other.misread) {
        const bool known = std::any_of(best.misread.begin(), best.misread.end(),
                                       [&](const Misread& known_one) { return known_one.field == each.field; });
        if (!known) best.misread.push_back(each);
      }
      if (lost ? !is_lost(other.end) : other.end != End::answered && !is_lost(other.end) && best.end == End::answered) {
        other.misread = best.misread;
        best = other;
      }
    }
  }
  return best;
}

}  // namespace

std::vector<Rehearsed> rehearse_all(const Protocol& protocol, const ChainDescription& chain, const Spot& root,
                                    const std::vector<Spot>& entry_spots) {
  const Rehearser rehearser(protocol, chain);
  const Spot controller = root.in("controller");
  const bool offers = chain.controller.enrol.at_start || chain.controller.enrol.again_after != 0;
  const std::uint64_t numbers = std::clamp<std::uint64_t>(protocol.exchange_limit(), 1, most_numbers);
  const std::size_t planned = chain.controller.plan.size();
  std::vector<Rehearsed> all;
  std::vector<PlanEntry> entries = asked_entries(chain);
  for (std::size_t i = 0; i < entries.size(); ++i) {
    PlanEntry& entry = entries[i];
    Rehearsed each{entry, controller, "", {}};
    if (i < planned) {
      each.spot = entry_spots[i];
      each.from = entry.name.substr(0, entry.name.rfind('/'));
    } else if (entry.name.starts_with(order_name)) {
      each.spot = controller.in("balancing");
      each.from = "balancing";
      const KindSpec& kind = chain.kinds[chain.nodes[entry.node].kind];
      if (kind.board.bleed_mohm > 0) each.entry.arguments.front().second = (std::uint64_t{1} << kind.cells) - 1;
    } else {
      if (!offers) continue;
      each.spot = controller.in("enrolment");
      each.from = "enrolment";
    }
    each.how = at_best(rehearser, each.entry, numbers);
    all.push_back(std::move(each));
  }
  return all;
}

}  // namespace hopbench
