#include "assembly/judgement.h"

#include <algorithm>
#include <cstdlib>
#include <iostream>
#include <utility>

#include "chain/chain.h"
#include "support/catch.h"

namespace hopbench {
namespace {

constexpr std::uint64_t seed = 7;

using Place = std::pair<std::size_t, std::size_t>;  // exchange, try

/// What a seat cannot know: whether values were the right ones.
Outcome as_seen(Outcome outcome) {
  return outcome == Outcome::stale || outcome == Outcome::wrong ? Outcome::answered : outcome;
}

Assembly assemble(const Protocol& protocol, const ChainDescription& chain, const Taps& taps, bool stated, Nanos end) {
  const LinkTable table(chain.shape, chain.nodes.size());
  Assembler::Setup setup{protocol, table, {}, std::vector<bool>(table.size(), true), std::nullopt, false};
  for (const NodeSpec& node : chain.nodes) setup.addresses.push_back(node.address);
  if (stated) setup.time_out = chain.controller.time_out;
  Assembly made;
  Assembler assembler(setup, made);
  std::vector<const Taps::Passed*> in_order;
  for (const auto& each : taps.all) in_order.push_back(each.get());
  std::stable_sort(in_order.begin(), in_order.end(), [](const Taps::Passed* a, const Taps::Passed* b) {
    return std::pair(a->sighting.known_at, !a->sent) < std::pair(b->sighting.known_at, !b->sent);
  });
  for (const Taps::Passed* each : in_order) {
    if (each->sent) {
      assembler.asked(each->sighting);
    } else {
      assembler.seen(each->sighting);
    }
  }
  assembler.finish(end);
  made.ambiguous = assembler.ambiguous();
  std::sort(made.exchanges.begin(), made.exchanges.end(),
            [](const AssembledExchange& a, const AssembledExchange& b) { return a.number < b.number; });
  return made;
}

class Judge {
 public:
  Judge(const Protocol& protocol, const ChainDescription& chain, const Collector& kept, const Taps& taps, const Assembly& made)
      : protocol_(&protocol), chain_(&chain), kept_(&kept), taps_(&taps), made_(&made) {
    for (const KeptExchange& each : kept.exchanges) simulated_.push_back(&each);
    std::sort(simulated_.begin(), simulated_.end(),
              [](const auto* a, const auto* b) { return a->seen.number < b->seen.number; });
    for (std::size_t e = 0; e < made.exchanges.size(); ++e) {
      const auto& tries = made.exchanges[e].tries;
      for (std::size_t t = 0; t < tries.size(); ++t) made_place_[tries[t].start] = {e, t};
    }
    for (std::size_t e = 0; e < simulated_.size(); ++e) {
      for (std::size_t t = 0; t < simulated_[e]->attempts.size(); ++t) {
        simulated_place_[simulated_[e]->attempts[t].start] = {e, t};
      }
    }
  }

  Judgement judge() {
    result_.ambiguous = made_->ambiguous;
    for (const KeptExchange* each : simulated_) judge_exchange(*each);
    judge_rows();
    judge_strays();
    return result_;
  }

 private:
  void disagrees(const std::string& kind, bool marked) {
    ++result_.kinds[kind];
    if (marked) ++result_.marked[kind];
    if (std::getenv("SHOW") != nullptr && kind == std::getenv("SHOW") && !marked) show_ = true;
  }

  void judge_exchange(const KeptExchange& told) {
    std::vector<Place> places;
    for (const Attempt& each : told.attempts) places.push_back(made_place_.at(each.start));
    const AssembledExchange& made = made_->exchanges[places.front().first];
    bool same = made.tries.size() == told.attempts.size();
    for (std::size_t i = 0; i < places.size(); ++i) same = same && places[i] == Place{places.front().first, i};
    result_.groups.count(same);
    show_ = false;
    if (!same) {
      disagrees(made.tries.size() > told.attempts.size() ? "merged" : "split", made.ambiguous);
      return;
    }
    for (std::size_t i = 0; i < places.size(); ++i) {
      const Outcome is = as_seen(told.attempts[i].outcome);
      const bool agrees = is == as_seen(made.tries[i].outcome);
      result_.tries.count(agrees);
      if (!agrees) {
        disagrees("try " + std::string(name_of(is)) + " called " + std::string(name_of(made.tries[i].outcome)), made.ambiguous);
      }
    }
    const Outcome is = as_seen(told.seen.outcome);
    const bool agrees = is == as_seen(made.outcome);
    result_.exchanges.count(agrees);
    if (!agrees) disagrees("exchange " + std::string(name_of(is)) + " called " + std::string(name_of(made.outcome)), made.ambiguous);
    if (show_) {
      std::cerr << chain_->name << " " << protocol_->description().name << " numbers " << protocol_->exchange_limit() << " late " << int(chain_->controller.on_late) << " at once " << chain_->controller.retry_garbled_at_once << " window " << chain_->controller.late_window << " time-out " << chain_->controller.time_out
                << " " << describe(told) << "\n made " << name_of(made.outcome) << " decided " << made.decided << (made.ambiguous ? " ambiguous" : "");
      for (const auto& t : made.tries) std::cerr << "\n  try " << t.start << " " << t.ask_end << " " << name_of(t.outcome) << " by " << t.answered;
      for (const auto& each : taps_->all)
        if (!each->sent && (std::getenv("ALL") || each->sighting.link == LinkTable(chain_->shape, chain_->nodes.size()).home()) && each->sighting.end > told.seen.start && each->sighting.first_edge < told.seen.closed)
          std::cerr << "\n  link " << each->sighting.link << " " << each->sighting.mark << " " << each->sighting.first_edge << ".." << each->sighting.end << " known " << each->sighting.known_at << " " << name_of(each->sighting.symptom) << " role " << int(each->frame.role) << " no " << protocol_->exchange(each->frame).value_or(0);
      std::cerr << "\n\n";
    }
  }

  void judge_rows() {}
  void judge_strays() {}

  const Protocol* protocol_;
  const ChainDescription* chain_;
  const Collector* kept_;
  const Taps* taps_;
  const Assembly* made_;
  std::vector<const KeptExchange*> simulated_;
  std::map<Nanos, Place> made_place_;
  std::map<Nanos, Place> simulated_place_;
  bool show_ = false;
  Judgement result_;
};

}  // namespace

void Taps::keep(bool sent, const Sighting& sighting) {
  auto passed = std::make_unique<Passed>();
  passed->sent = sent;
  passed->sighting = sighting;
  passed->frame = *sighting.frame;
  passed->content = *sighting.content;
  passed->sighting.frame = &passed->frame;
  passed->sighting.content = &passed->content;
  passed->sighting.mark = all.size();
  all.push_back(std::move(passed));
}

Judgement& Judgement::operator+=(const Judgement& other) {
  groups += other.groups;
  tries += other.tries;
  exchanges += other.exchanges;
  rows += other.rows;
  strays += other.strays;
  ambiguous += other.ambiguous;
  for (const auto& [kind, count] : other.kinds) kinds[kind] += count;
  for (const auto& [kind, count] : other.marked) marked[kind] += count;
  return *this;
}

Judgement judged(const BusDescription& bus, const ChainDescription& chain, std::uint64_t exchanges, bool stated) {
  const Protocol protocol(bus);
  Collector kept;
  Taps taps;
  Chain world(protocol, chain, seed, Way::events, Seat::simulated, kept);
  world.listen(taps);
  (void)world.run_exchanges(exchanges);
  world.finish({});
  const Assembly made = assemble(protocol, chain, taps, stated, kept.ended);
  return Judge(protocol, chain, kept, taps, made).judge();
}

}  // namespace hopbench
