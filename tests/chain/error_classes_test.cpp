// The eight error classes of IEC 61784-3, each alone: what becomes of the exchange, what is named as the cause, and
// that all other exchanges stay what they were. (The classes as listed in OPC 10000-15, 5.3, which cites IEC
// 61784-3:2021, 5.5.)
#include <cmath>
#include <functional>

#include "support/buses.h"
#include "support/catch.h"
#include "support/small_chain.h"

namespace hopbench {
namespace {

constexpr std::uint64_t struck = 7;  // number of the exchange that the fault is meant for: the second one with n3
constexpr std::uint64_t exchanges = 20;

/// Five nodes on bench-frame; a fault that strikes once, in exchange 7 (node n3).
SmallChain with_fault(FaultClass kind, const std::function<void(FaultSpec&)>& shape) {
  SmallChain small = small_chain(Shape::ring, 5, "readings");
  FaultSpec& fault = small.fault(kind);
  fault.from = static_cast<Nanos>(struck) * small.controller().pace;
  fault.to = fault.from + small.controller().pace;
  fault.at_most = 1;
  shape(fault);
  return small;
}

/// Runs it with and without the fault; everything but the exchange struck must be equal. Returns that one.
KeptExchange struck_one(const SmallChain& small, Collector* all = nullptr) {
  SmallChain healthy = small;
  healthy.chain.faults.clear();
  const Collector without = healthy.run(exchanges);
  REQUIRE(without.count(Outcome::answered) == exchanges);
  REQUIRE(without.strays.empty());
  const Collector with = small.run(exchanges);
  REQUIRE(with.exchanges.size() == exchanges);
  for (std::uint64_t i = 0; i < exchanges; ++i) {
    if (i == struck) continue;
    const KeptExchange& expected = exchange_number(without, i);
    const KeptExchange& seen = exchange_number(with, i);
    REQUIRE(describe_alone(seen) == describe_alone(expected));
    if (i != struck + 1) REQUIRE(describe(seen) == describe(expected));
  }
  REQUIRE(describe_alone(exchange_number(with, struck)) != describe_alone(exchange_number(without, struck)));
  if (all != nullptr) *all = with;
  return exchange_number(with, struck);
}

}  // namespace

TEST_CASE("corruption: lost if a node finds it, garbled if the controller does") {
  // Links of the ask to n3 and of its answer: 0, 1, 2 and 3, 4, 5.
  for (std::uint16_t link = 0; link <= 5; ++link) {
    const KeptExchange e = struck_one(with_fault(FaultClass::corruption, [&](FaultSpec& f) { f.links = {link}; }));
    INFO("link " << link);
    CHECK(e.seen.outcome == (link == 5 ? Outcome::garbled : Outcome::lost));
    CHECK(why(e).cause == Cause::injected_corruption);
    CHECK(why(e).link == link);
    CHECK(why(e).fault == 0);
    REQUIRE(e.row_truths.size() == 1);
    CHECK(e.rows[e.row_truths[0].row].link == link);
    CHECK(e.rows[e.row_truths[0].row].symptom != Symptom::none);
    CHECK(e.rows.size() == link + 1U);  // nobody passed it on
  }
}

TEST_CASE("repetition: answered twice, the second answer is nobody's") {
  Collector all;
  const KeptExchange ask = struck_one(with_fault(FaultClass::repetition,
                                                 [](FaultSpec& f) {
                                                   f.links = {0};
                                                   f.by = 30 * millisecond;
                                                 }),
                                      &all);
  CHECK(ask.seen.outcome == Outcome::answered);
  CHECK(why(ask).cause == Cause::none);
  CHECK(ask.rows.size() == 12);  // six links, twice
  CHECK(all.strays.size() == 1);
  const KeptExchange answer = struck_one(with_fault(FaultClass::repetition,
                                                    [](FaultSpec& f) {
                                                      f.links = {4};
                                                      f.by = 30 * millisecond;
                                                    }),
                                         &all);
  CHECK(answer.seen.outcome == Outcome::answered);
  CHECK(answer.rows.size() == 8);
  CHECK(all.strays.size() == 1);
}

TEST_CASE("incorrect sequence: kept back beyond the time-out, it comes late") {
  const KeptExchange e = struck_one(with_fault(FaultClass::sequence, [](FaultSpec& f) {
    f.links = {1};
    f.by = 150 * millisecond;
  }));
  CHECK(e.seen.outcome == Outcome::late);
  CHECK(why(e).cause == Cause::injected_sequence);
}

TEST_CASE("incorrect sequence: a frame kept back is overtaken by the next one") {
  SmallChain small = with_fault(FaultClass::sequence, [](FaultSpec& f) {
    f.links = {1};
    f.by = 10 * second;
  });
  // The ask to n3 goes on behind that to n4, one exchange later.
  const Collector kept = small.run(exchanges);
  const KeptExchange& e = exchange_number(kept, struck);
  const KeptExchange& next = exchange_number(kept, struck + 1);
  CHECK(why(e).cause == Cause::injected_sequence);
  CHECK(e.rows[1].link == 1);
  CHECK(e.rows[1].start >= next.rows[1].end);
  CHECK(next.seen.outcome == Outcome::answered);
  CHECK(e.seen.outcome == Outcome::late);
}

TEST_CASE("loss: lost, and named") {
  for (std::uint16_t link = 0; link <= 5; ++link) {
    const KeptExchange e = struck_one(with_fault(FaultClass::loss, [&](FaultSpec& f) { f.links = {link}; }));
    CHECK(e.seen.outcome == Outcome::lost);
    CHECK(why(e).cause == Cause::injected_loss);
    CHECK(why(e).link == link);
    CHECK(e.rows.back().symptom == Symptom::nothing);
    CHECK(e.rows.size() == link + 1U);
  }
}

TEST_CASE("unacceptable delay: within the time-out nothing, beyond it late") {
  const auto delayed = [](Nanos by) {
    return struck_one(with_fault(FaultClass::delay, [by](FaultSpec& f) {
      f.links = {3};
      f.by = by;
    }));
  };
  const KeptExchange little = delayed(20 * millisecond);
  CHECK(little.seen.outcome == Outcome::answered);
  CHECK(why(little).cause == Cause::none);
  const KeptExchange much = delayed(120 * millisecond);
  CHECK(much.seen.outcome == Outcome::late);
  CHECK(why(much).cause == Cause::injected_delay);
}

TEST_CASE("insertion: an old frame again, and its answer is not taken for this one") {
  Collector all;
  const KeptExchange e = struck_one(with_fault(FaultClass::insertion,
                                               [](FaultSpec& f) {
                                                 f.links = {0};
                                                 f.by = millisecond;
                                               }),
                                    &all);
  CHECK(e.seen.outcome == Outcome::answered);
  CHECK(e.rows.size() == 12);
  CHECK(all.strays.size() == 1);
}

TEST_CASE("the answer to an inserted old ask: its exchange number gives it away, where there is one") {
  // Cells 0 and 1 in turn, without a pause: the answer to the old ask comes while the next exchange is open.
  const auto mistaken = [](SmallChain small, const std::string& topic, const std::string& which) {
    small.poll_only(0, topic, {{which, 0}, {"count", 1}});
    PlanEntry other = small.chain.controller.plan.front();
    other.name = "other cell";
    other.arguments.front().second = 1;
    small.chain.controller.plan.push_back(other);
    small.controller().pace = 0;
    FaultSpec& insert = small.fault(FaultClass::insertion);
    insert.links = {0};
    insert.at_most = 1;
    insert.from = millisecond;
    const Collector kept = small.run(10);
    std::size_t copies = 0;
    for (const KeptExchange& each : kept.exchanges) {
      for (const HopRow& row : each.rows) copies += row.copy != 0 ? 1U : 0U;
    }
    REQUIRE(copies == 2);  // the ask inserted, and its answer
    return kept.count(Outcome::wrong) + kept.count(Outcome::stale);
  };
  SmallChain old_bus = small_chain(Shape::ring, 1, "cell");
  old_bus.bus = buses::old_style();
  CHECK(mistaken(small_chain(Shape::ring, 1, "readings"), "readings", "first") == 0);
  CHECK(mistaken(old_bus, "cell", "cell") >= 1);
}

TEST_CASE("masquerade: a payload altered with good checks is accepted, and is wrong") {
  const KeptExchange answer = struck_one(with_fault(FaultClass::masquerade, [](FaultSpec& f) { f.links = {4}; }));
  CHECK(answer.seen.outcome == Outcome::wrong);
  CHECK(why(answer).cause == Cause::injected_masquerade);
  for (const HopRow& row : answer.rows) CHECK(row.symptom == Symptom::none);
  const KeptExchange ask = struck_one(with_fault(FaultClass::masquerade, [](FaultSpec& f) {
    f.links = {1};
    f.value = 1;  // asks for the second cell as the first
  }));
  CHECK((ask.seen.outcome == Outcome::wrong || ask.seen.outcome == Outcome::refused));
  CHECK(why(ask).cause == Cause::injected_masquerade);
}

TEST_CASE("wrong address: an ask finds nobody, or somebody else; an answer is not believed") {
  const auto sent_to = [](std::uint16_t link, std::uint64_t address) {
    return struck_one(with_fault(FaultClass::address, [&](FaultSpec& f) {
      f.links = {link};
      f.value = address;
    }));
  };
  const KeptExchange nobodys = sent_to(0, 99);
  CHECK(nobodys.seen.outcome == Outcome::lost);
  CHECK(why(nobodys).cause == Cause::injected_address);
  const KeptExchange anothers = sent_to(0, 5);
  CHECK(anothers.seen.outcome == Outcome::mismatched);
  CHECK(why(anothers).cause == Cause::injected_address);
  const KeptExchange answer = sent_to(4, 2);
  CHECK(answer.seen.outcome == Outcome::mismatched);
  CHECK(why(answer).cause == Cause::injected_address);
}

TEST_CASE("each class strikes as often as its rate, and only where its filters let it") {
  const FaultClass kind = GENERATE(FaultClass::corruption, FaultClass::loss, FaultClass::delay, FaultClass::masquerade);
  SmallChain small = small_chain(Shape::ring, 3, "readings");
  FaultSpec& fault = small.fault(kind);
  fault.rate = certain / 4;
  fault.nodes = {1};
  fault.links = {1};
  fault.leg = LegFilter::asks;
  fault.by = second;
  fault.value = 1;
  small.controller().pace = 0;
  const Collector kept = small.run(6'000);
  double struck_here = 0;
  for (const KeptExchange& each : kept.exchanges) {
    const bool hit = why(each).fault == 0;
    if (hit) {
      REQUIRE(each.seen.node == 1);
      struck_here += 1;
    }
  }
  // Binomial: 2000 frames at 1/4, 4 standard deviations.
  CHECK(std::abs(struck_here - 500) < 4 * std::sqrt(2'000 * 0.25 * 0.75));
}

TEST_CASE("a fault of asks leaves answers alone, and the other way round; so do topic and number") {
  SmallChain small = small_chain(Shape::ring, 2, "readings");
  FaultSpec& fault = small.fault(FaultClass::loss);
  fault.leg = GENERATE(LegFilter::asks, LegFilter::answers);
  const bool asks = fault.leg == LegFilter::asks;
  fault.links = {1};  // the answer of n1 and the ask for n2
  const Collector by_leg = small.run(4);
  for (const KeptExchange& each : by_leg.exchanges) {
    CHECK((each.seen.outcome == Outcome::lost) == (each.seen.node == (asks ? 1 : 0)));
  }
  small.chain.faults.front().topics = {"nameplate"};
  CHECK(small.run(4).count(Outcome::answered) == 4);
  small.chain.faults.front().topics = {"nameplate", "readings"};
  CHECK(small.run(4).count(Outcome::lost) == 2);
  small.chain.faults.front().at_most = 1;
  CHECK(small.run(4).count(Outcome::lost) == 1);
}

}  // namespace hopbench
