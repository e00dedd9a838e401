#include <fmt/format.h>

#include <algorithm>

#include "base_chain.h"
#include "chain/chain.h"
#include "foreign.h"
#include "foreign_kinds.h"
#include "habits.h"
#include "seen/ignoring_sink.h"

namespace hopbench::rates {
namespace {

/// Polls that go round cells and boards with a pause that suffices for a time-out.
Draft healthy(Dice& dice, std::uint64_t number, bool line) {
  Draft draft = base_chain(number, {.multi = true, .bench_frame = true, .plain = true, .line = line, .ring = !line});
  const auto boards = 2 + dice.up_to(3);
  draft.polls = {
      "poll { name: \"cells\" topic: \"readings\" nodes: \"*\" with { field: \"first\" value: 0 } with { field: "
      "\"count\" own: CELLS } }",
      fmt::format("poll {{ name: \"boards\" topic: \"conditions\" nodes: \"*\" every: {} }}", boards)};
  draft.controller = {{"time_out", ": \"60s\""}, {"gap", ": \"5ms\""}, {"order", ": NODE_BY_NODE"}};
  for (KindDraft& kind : draft.kinds)
    kind.fields["levels"] = " { level: \"3.31V\" spread: \"40mV\" swing: \"120mV\" swing_period: \"2h\" }";
  return draft;
}

class Nobody final : public IgnoringSink {};

/// Frames of a short run on a link.
std::vector<Passed> passed_on(const Draft& draft, std::uint16_t link) {
  constexpr std::size_t most = 20'000;
  const Scenario scenario = loaded(draft.text());
  const Protocol protocol(scenario.bus);
  std::vector<Passed> passed;
  const ForeignFault looks_on{"", "", {}, Symptom::none, [&](const FrameOnHop& frame) {
                                if (frame.row.link == link && passed.size() < most) {
                                  passed.push_back({frame.exchange.entry,
                                                    frame.row.answering,
                                                    frame.row.chars,
                                                    {frame.content.begin(), frame.content.end()}});
                                }
                                return false;
                              }};
  Nobody nobody;
  ForeignPost post(protocol, looks_on, scenario.chain.controller.time_out, nobody);
  Chain chain(protocol, scenario.chain, scenario.chain.seed, Way::repeats, Seat::simulated, post);
  while (passed.size() < most && chain.now() < scenario.chain.run_for) {
    if (!chain.run_until(std::min(scenario.chain.run_for, chain.now() + scenario.chain.run_for / 16))) break;
  }
  return passed;
}

/// How often it strikes in a run.
std::uint64_t strikes_of(const ForeignCase& made) {
  const Scenario scenario = loaded(made.text);
  const Protocol protocol(scenario.bus);
  Nobody nobody;
  ForeignPost post(protocol, made.fault, scenario.chain.controller.time_out, nobody);
  Chain chain(protocol, scenario.chain, scenario.chain.seed, Way::repeats, Seat::simulated, post);
  if (!chain.run_until(scenario.chain.run_for)) return 0;
  chain.finish({});
  return post.struck();
}

}  // namespace

ForeignCase foreign_case(std::uint64_t seed) {
  Dice dice("foreign case", seed);
  const std::size_t kind = seed % foreign_count;
  const auto plain = plain_foreign();
  auto kinds = plain;
  for (const MakeForeign each : more_foreign()) kinds.push_back(each);
  for (std::uint64_t number = 100 * seed;; ++number) {
    Draft draft = healthy(dice, number, dice.one_in(3));
    draft.seed = seed;
    std::string why;
    const auto habits = habits_of(draft, why);
    if (!habits) continue;
    const double time_out = habits->round_trip * log_between(dice, 1.2, 2) + 20e6;
    const double pace = (habits->round_trip + time_out) * log_between(dice, 1.1, 1.5);
    draft.controller.erase("gap");
    draft.controller["time_out"] = fmt::format(": {}", span_text(time_out));
    draft.controller["pace"] = fmt::format(": {}", span_text(pace));
    auto paced = habits_of(draft, why);
    if (!paced) continue;
    // Rules of time need many periods.
    const bool slow = takes_days(kind);
    const double least = kind < plain.size() ? 40 * 3600e9 : 8 * 24 * 3600e9;
    const double run = slow ? std::max(least, 20'000 * pace) : pace * log_between(dice, 15'000, 40'000);
    if (slow && run / pace > 120'000)
      draft.controller["pace"] = fmt::format(": {}", span_text(paced->exchange = run / 120'000));
    draft.run_for = static_cast<Nanos>(run);
    const std::size_t nodes = draft.nodes.size();
    const auto at = static_cast<std::uint16_t>(dice.between(1, static_cast<std::int64_t>(nodes) - 1));
    // In a ring answers pass only the hops behind their node.
    const auto link = draft.line && dice.one_in(2) ? static_cast<std::uint16_t>(2 * nodes - 1 - at) : at;
    const auto passed = kind < plain.size() ? std::vector<Passed>{} : passed_on(draft, link);
    ForeignCase made{seed, draft.text(), kinds[kind]({dice, draft, *paced, link, draft.run_for, passed})};
    if (strikes_of(made) >= 50) return made;
  }
}

}  // namespace hopbench::rates
