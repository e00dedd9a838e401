#include "assembly/judgement.h"

#include <algorithm>
#include <set>
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
    return std::pair(a->sighting.known_at, a->sent) < std::pair(b->sighting.known_at, b->sent);
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

bool forges(FaultClass kind) {
  return kind != FaultClass::loss && kind != FaultClass::delay && kind != FaultClass::reset;
}

template <class List, class Test>
bool any(const List& list, Test&& test) {
  return std::any_of(list.begin(), list.end(), test);
}

class Judge {
 public:
  Judge(const Protocol& protocol, const ChainDescription& chain, const Collector& kept, const Taps& taps,
        const Assembly& made, bool stated)
      : numbered_(protocol.exchange_limit() > 0),
        stated_(stated),
        chain_(&chain),
        home_(LinkTable(chain.shape, chain.nodes.size()).home()),
        kept_(&kept),
        taps_(&taps),
        made_(&made) {
    for (const KeptExchange& each : kept.exchanges) told_.push_back(&each);
    std::sort(told_.begin(), told_.end(), [](const auto* a, const auto* b) { return a->seen.number < b->seen.number; });
    for (std::size_t e = 0; e < made.exchanges.size(); ++e) {
      const auto& tries = made.exchanges[e].tries;
      for (std::size_t t = 0; t < tries.size(); ++t) made_place_[tries[t].start] = {e, t};
    }
  }

  Judgement judge() {
    result_.ambiguous = made_->ambiguous;
    for (const KeptExchange* each : told_) judge_exchange(*each);
    judge_rows();
    judge_strays();
    return result_;
  }

 private:
  void judge_exchange(const KeptExchange& told) {
    const Place first = made_place_.at(told.attempts.front().start);
    const AssembledExchange& made = made_->exchanges[first.first];
    bool same = made.tries.size() == told.attempts.size();
    for (std::size_t i = 0; i < told.attempts.size(); ++i) {
      same = same && made_place_.at(told.attempts[i].start) == Place{first.first, i};
    }
    result_.groups.count(same);
    if (!same) return disagrees(grouping_kind(told, made), made);
    bool tries_agree = true;
    for (std::size_t i = 0; i < told.attempts.size(); ++i) {
      const bool agrees = as_seen(told.attempts[i].outcome) == as_seen(made.tries[i].outcome);
      result_.tries.count(agrees);
      tries_agree = tries_agree && agrees;
    }
    const bool agrees = as_seen(told.seen.outcome) == as_seen(made.outcome);
    result_.exchanges.count(agrees);
    if (!agrees || !tries_agree) disagrees(kind_of(told, made), made);
  }

  void disagrees(const std::string& kind, const AssembledExchange& made) {
    ++result_.kinds[kind];
    const bool marked = made.ambiguous || any(made.tries, [](const AssembledTry& each) { return each.ambiguous; });
    if (marked) ++result_.marked[kind];
  }

  [[nodiscard]] std::string grouping_kind(const KeptExchange& told, const AssembledExchange& made) const {
    if (!numbered_) return made.tries.size() > told.attempts.size() ? kinds::next_round : kinds::retry_as_round;
    return stated_ ? kinds::unknown : kinds::no_time_out;
  }

  /// Why the two may differ, the plainest reason first.
  [[nodiscard]] std::string kind_of(const KeptExchange& told, const AssembledExchange& made) const {
    const auto late_try = [](const auto& each) { return each.outcome == Outcome::late; };
    const bool late_there = any(told.attempts, late_try);
    const bool late_here = any(made.tries, late_try);
    const bool wait_in_doubt = late_there || late_here || any(made.tries, [](const AssembledTry& each) {
                                 return each.outcome == Outcome::garbled || each.outcome == Outcome::mismatched;
                               });
    if (any(told.row_truths, [](const RowTruth& why) { return why.undetected; })) return kinds::forged;
    bool crosses = false;
    bool others_wait = false;
    for (const KeptExchange* each : told_) {
      const bool before = each->seen.number < told.seen.number;
      if (before && as_seen(each->seen.outcome) != Outcome::answered) {
        others_wait = others_wait || each->attempts.back().ask_end + 2 * second > told.seen.start;
      }
      if (each->seen.start > told.seen.closed || each->seen.closed < told.seen.start) continue;
      const auto strikes = [&](const FaultStrike& strike) { return forges(chain_->faults[strike.fault].kind); };
      if (any(each->strikes, strikes)) return kinds::forged;
      const auto earlier = [](const AttemptTruth& why) { return why.cause == Cause::earlier_answer; };
      if (any(each->attempt_truths, earlier) || each->seen.outcome == Outcome::stale) return kinds::earlier_answer;
      crosses = crosses || before;
    }
    if (crosses && !numbered_) return kinds::answers_cross;
    if (!stated_ && (wait_in_doubt || (numbered_ && others_wait))) return kinds::no_time_out;
    if (came_after_close(told, made)) return kinds::record_closed;
    if (late_there || late_here) return kinds::between_tries;
    if (as_seen(told.seen.outcome) == as_seen(made.outcome) && told.attempts.size() > 1) return kinds::which_try;
    return kinds::unknown;
  }

  /// An answer came when the simulated run had closed its record, by the plan's late window.
  [[nodiscard]] bool came_after_close(const KeptExchange& told, const AssembledExchange& made) const {
    return chain_->controller.late_window > 0 && any(made.tries, [&](const AssembledTry& each) {
             return each.answered != no_mark && taps_->all[each.answered]->sighting.clear_at() > told.seen.closed;
           });
  }

  struct Leg {
    Nanos try_start = -1;
    bool answering = false;
    friend bool operator==(const Leg&, const Leg&) = default;
  };

  /// Whose frame was on this link at that time; none if the run tells of none.
  [[nodiscard]] std::optional<Leg> told_leg(const Sighting& sighting) const {
    std::optional<Leg> best;
    Nanos most = 0;
    for (const KeptExchange* each : told_) {
      if (each->seen.start > sighting.end || each->seen.closed < sighting.first_edge) continue;
      for (const HopRow& row : each->rows) {
        const Nanos shared = std::min(row.end, sighting.end) - std::max(row.start, sighting.first_edge);
        if (row.link != sighting.link || shared <= most) continue;
        most = shared;
        best = Leg{each->attempts[row.attempt].start, row.answering};
      }
    }
    return best;
  }

  void judge_rows() {
    std::map<std::uint64_t, Leg> made;
    for (const AssembledExchange& each : made_->exchanges) {
      for (const AssembledRow& row : each.rows) made[row.mark] = {each.tries[row.row.attempt].start, row.row.answering};
    }
    for (const auto& each : taps_->all) {
      const auto told = each->sent ? std::nullopt : told_leg(each->sighting);
      if (!told) continue;
      const auto found = made.find(each->sighting.mark);
      const bool agrees = found != made.end() && found->second == *told;
      AgreedShare& share = each->sighting.symptom == Symptom::none ? result_.rows : result_.damaged_rows;
      share.count(agrees);
      if (!agrees) ++(found == made.end() ? result_.rows_left_out : result_.rows_of_another);
    }
  }

  void judge_strays() {
    const std::set<Nanos> told(kept_->strays_at.begin(), kept_->strays_at.end());
    const std::set<std::uint64_t> made(made_->strays.begin(), made_->strays.end());
    for (const auto& each : taps_->all) {
      if (each->sent || each->sighting.link != home_) continue;
      result_.strays.count(made.contains(each->sighting.mark) == told.contains(each->sighting.end));
    }
  }

  bool numbered_;
  bool stated_;
  const ChainDescription* chain_;
  std::uint16_t home_;
  const Collector* kept_;
  const Taps* taps_;
  const Assembly* made_;
  std::vector<const KeptExchange*> told_;
  std::map<Nanos, Place> made_place_;
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
  damaged_rows += other.damaged_rows;
  strays += other.strays;
  ambiguous += other.ambiguous;
  rows_left_out += other.rows_left_out;
  rows_of_another += other.rows_of_another;
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
  return Judge(protocol, chain, kept, taps, made, stated).judge();
}

}  // namespace hopbench
