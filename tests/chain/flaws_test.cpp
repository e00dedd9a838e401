// Design mistakes of a kind: each does what docs/scenario.md says, and nothing else. The chains have two or three
// nodes; n2 is the one with the mistake.
#include <algorithm>
#include <map>
#include <set>
#include <string>

#include "support/catch.h"
#include "support/small_chain.h"

namespace hopbench {
namespace {

SmallChain flawed(Flaw mistake, const std::string& topic = "readings", std::size_t nodes = 3) {
  SmallChain small = small_chain(Shape::ring, nodes, topic);
  KindSpec kind = small.kind();
  kind.name = "flawed";
  kind.flaw.mistake = mistake;
  small.chain.kinds.push_back(kind);
  small.chain.nodes[1].kind = 1;
  return small;
}

FlawSpec& flaw(SmallChain& small) { return small.chain.kinds[1].flaw; }
KindSpec& kind(SmallChain& small) { return small.chain.kinds[1]; }

/// The records, which every way of running must give alike.
Collector run_by_all(SmallChain small, std::uint64_t exchanges) {
  small.way = Way::events;
  const Collector kept = small.run(exchanges);
  for (const Way way : {Way::every_byte, Way::repeats}) {
    small.way = way;
    const Collector other = small.run(exchanges);
    REQUIRE(other.exchanges.size() == kept.exchanges.size());
    for (std::size_t i = 0; i < kept.exchanges.size(); ++i) {
      REQUIRE(describe(other.exchanges[i]) == describe(kept.exchanges[i]));
    }
    REQUIRE(other.strays == kept.strays);
  }
  return kept;
}

/// Exchanges with this node all came to `outcome` because of n2's mistake; `none`: they were answered.
void all_end(const Collector& kept, std::uint16_t node, Outcome outcome) {
  INFO("node " << node);
  std::size_t seen = 0;
  for (const KeptExchange& each : kept.exchanges) {
    if (each.seen.node != node) continue;
    ++seen;
    INFO(describe(each));
    CHECK(each.seen.outcome == outcome);
    if (outcome == Outcome::answered) {
      CHECK(why(each).cause == Cause::none);
    } else {
      CHECK(why(each).cause == Cause::design_flaw);
      CHECK(why(each).station == 1);
    }
  }
  CHECK(seen > 1);
}

/// The bytes of the answers with this node, header and check left out.
std::vector<std::uint8_t> payload(const KeptExchange& each) {
  REQUIRE(each.answered.size() > 12);
  return {each.answered.begin() + 10, each.answered.end() - 2};
}

std::uint32_t word(const std::vector<std::uint8_t>& bytes, std::size_t at) {
  return static_cast<std::uint32_t>(bytes.at(at)) << 8U | bytes.at(at + 1);
}

void add_order(SmallChain& small, const std::string& topic, std::uint16_t node,
               std::vector<std::pair<std::string, std::uint64_t>> arguments) {
  PlanEntry entry;
  entry.name = topic + "/" + std::to_string(small.chain.controller.plan.size());
  entry.node = node;
  entry.topic = topic;
  entry.arguments = std::move(arguments);
  small.chain.controller.plan.push_back(entry);
}

/// Frames of this exchange that a node sent as answers, by the link on which they set out first.
std::set<std::uint16_t> answers_from(const KeptExchange& each) {
  std::set<std::uint16_t> links;
  for (const HopRow& row : each.rows) {
    if (row.answering) links.insert(row.link);
  }
  return links;
}

}  // namespace

TEST_CASE("without a mistake the chains of these tests are healthy", "[flaw]") {
  const Collector kept = run_by_all(flawed(Flaw::none), 30);
  for (std::uint16_t node = 0; node < 3; ++node) all_end(kept, node, Outcome::answered);
}

TEST_CASE("a node that answers what is asked of everyone is heard by the controller, which asked nobody", "[flaw]") {
  const Nanos pace = GENERATE(Nanos{0}, 400 * millisecond);  // 0: the next exchange is open when the answer comes
  const auto run = [&](Flaw mistake) {
    SmallChain small = flawed(mistake);
    small.controller().pace = pace;
    add_order(small, "limits", nobody, {{"low", 2500}, {"high", 3650}});
    return run_by_all(small, 40);
  };
  const Collector kept = run(Flaw::answers_broadcast);
  const Collector sound = run(Flaw::none);
  CHECK(sound.strays.empty());
  CHECK(kept.strays.size() == 10);
  CHECK(kept.count(Outcome::answered) == kept.exchanges.size());
  for (const KeptExchange& each : kept.exchanges) {
    // It sets out from n2 onto the link into n3.
    const std::set<std::uint16_t> expected = each.seen.node == nobody ? std::set<std::uint16_t>{2, 3}
                                             : each.seen.node == 0    ? std::set<std::uint16_t>{1, 2, 3}
                                             : each.seen.node == 1    ? std::set<std::uint16_t>{2, 3}
                                                                      : std::set<std::uint16_t>{3};
    CHECK(answers_from(each) == expected);
  }
}

TEST_CASE("two nodes with each other's address answer for each other, and the controller cannot know", "[flaw]") {
  SmallChain small = flawed(Flaw::none);
  small.chain.nodes[1].goes_by = small.chain.nodes[2].address;
  small.chain.nodes[2].goes_by = small.chain.nodes[1].address;
  const Collector kept = run_by_all(small, 30);
  all_end(kept, 0, Outcome::answered);
  for (const KeptExchange& each : kept.exchanges) {
    if (each.seen.node == 0) continue;
    INFO(describe(each));
    // In good form and from the wrong place: its values are those of other cells.
    CHECK(each.seen.outcome == Outcome::wrong);
    CHECK(why(each).cause == Cause::design_flaw);
    const std::uint16_t from = each.seen.node == 1 ? 2 : 1;
    CHECK(*answers_from(each).begin() == from + 1);
  }
}

TEST_CASE("of two nodes with one address the first answers, and nobody the other address", "[flaw]") {
  SmallChain small = flawed(Flaw::none);
  small.chain.nodes[1].goes_by = small.chain.nodes[2].address;
  const Collector kept = run_by_all(small, 30);
  all_end(kept, 0, Outcome::answered);
  for (const KeptExchange& each : kept.exchanges) {
    INFO(describe(each));
    if (each.seen.node == 2) CHECK(each.seen.outcome == Outcome::wrong);
    if (each.seen.node == 1) CHECK((each.seen.outcome != Outcome::answered && answers_from(each).empty()));
  }
}

TEST_CASE("a node that forgets a topic loses its asks to those behind and its answers from those before", "[flaw]") {
  SmallChain small = flawed(Flaw::forgets_topic);
  flaw(small).name = "readings";
  const Collector kept = run_by_all(small, 30);
  all_end(kept, 0, Outcome::lost);
  all_end(kept, 1, Outcome::answered);
  all_end(kept, 2, Outcome::lost);
  flaw(small).name = "conditions";
  const Collector other = run_by_all(small, 30);
  for (std::uint16_t node = 0; node < 3; ++node) all_end(other, node, Outcome::answered);
}

TEST_CASE("a node that repeats exchange numbers is right once", "[flaw]") {
  const Collector kept = run_by_all(flawed(Flaw::repeats_number), 30);
  all_end(kept, 0, Outcome::answered);
  all_end(kept, 2, Outcome::answered);
  std::size_t asked = 0;
  for (const KeptExchange& each : kept.exchanges) {
    if (each.seen.node != 1) continue;
    CHECK(each.seen.outcome == (asked == 0 ? Outcome::answered : Outcome::mismatched));
    if (asked > 0) CHECK(why(each).cause == Cause::design_flaw);
    ++asked;
  }
  CHECK(asked == 10);
}

TEST_CASE("a node that keeps too few bits of exchange numbers is wrong from there on", "[flaw]") {
  SmallChain small = flawed(Flaw::number_bits);
  flaw(small).value = 4;
  const Collector kept = run_by_all(small, 60);
  all_end(kept, 0, Outcome::answered);
  std::size_t right = 0;
  std::size_t wrong = 0;
  for (const KeptExchange& each : kept.exchanges) {
    if (each.seen.node != 1) continue;
    const std::uint32_t number = word(each.asked, 7);  // behind marker, passes left, role, to, from, size and check
    CHECK(each.seen.outcome == (number < 16 ? Outcome::answered : Outcome::mismatched));
    ++(number < 16 ? right : wrong);
    if (number >= 16) CHECK(why(each).cause == Cause::design_flaw);
  }
  CHECK(right > 2);
  CHECK(wrong > 2);
}

TEST_CASE("a node that keeps seven bits of its address goes wrong from 128 on", "[flaw]") {
  SmallChain small = flawed(Flaw::address_bits);
  flaw(small).value = 7;
  small.chain.nodes[1].address = 127;
  const Collector below = run_by_all(small, 30);
  for (std::uint16_t node = 0; node < 3; ++node) all_end(below, node, Outcome::answered);
  small.chain.nodes[1].address = 130;
  const Collector above = run_by_all(small, 30);
  all_end(above, 0, Outcome::answered);
  all_end(above, 1, Outcome::lost);
  all_end(above, 2, Outcome::answered);
  // Where 2 is another node's address it answers in its place, if it comes first.
  small.chain.nodes[2].address = 2;
  const Collector taken = run_by_all(small, 30);
  all_end(taken, 0, Outcome::answered);
  all_end(taken, 1, Outcome::lost);
  all_end(taken, 2, Outcome::wrong);
}

TEST_CASE("a node that keeps seven bits of the address that it is offered never gets enrolled", "[flaw]") {
  SmallChain small = flawed(Flaw::address_bits);
  flaw(small).value = 7;
  kind(small).enrols = true;
  small.chain.nodes[1].address = 200;
  small.controller().enrol.at_start = true;
  Collector kept = run_by_all(small, 31);
  // It answers the offer under another address; then it has it, and does not know its own.
  REQUIRE(entry_name(kept, kept.exchanges.front()) == "enrol/n2");
  CHECK(kept.exchanges.front().seen.outcome == Outcome::mismatched);
  CHECK(why(kept.exchanges.front()).cause == Cause::design_flaw);
  kept.exchanges.erase(kept.exchanges.begin());
  all_end(kept, 0, Outcome::answered);
  all_end(kept, 1, Outcome::lost);
}

TEST_CASE("a stale snapshot tells what was measured for the answer before", "[flaw]") {
  SmallChain small = flawed(Flaw::stale_snapshot);
  kind(small).levels.swing_uv = 500'000;
  kind(small).levels.swing_period = 60 * second;
  const Collector kept = run_by_all(small, 60);
  kind(small).flaw = {};
  const Collector sound = run_by_all(small, 60);
  all_end(kept, 0, Outcome::answered);
  std::vector<std::uint8_t> before;
  std::size_t stale = 0;
  for (std::size_t i = 0; i < kept.exchanges.size(); ++i) {
    const KeptExchange& each = kept.exchanges[i];
    if (each.seen.node != 1) continue;
    const std::vector<std::uint8_t> right = payload(sound.exchanges[i]);
    CHECK(payload(each) == (before.empty() ? right : before));
    const bool same = before.empty() || before == right;
    CHECK(each.seen.outcome == (same ? Outcome::answered : Outcome::stale));
    if (!same) CHECK(why(each).cause == Cause::design_flaw);
    stale += same ? 0 : 1;
    before = right;
  }
  CHECK(stale > 15);
}

TEST_CASE("a node whose cells are off by one tells each cell's voltage as that of the one before", "[flaw]") {
  SmallChain small = flawed(Flaw::cells_off_by_one);
  const Collector kept = run_by_all(small, 30);
  kind(small).flaw = {};
  const Collector sound = run_by_all(small, 30);
  all_end(kept, 0, Outcome::answered);
  all_end(kept, 1, Outcome::wrong);
  all_end(kept, 2, Outcome::answered);
  const auto cells = [](const KeptExchange& each) {
    std::vector<std::uint32_t> all;
    for (std::size_t at = 4; at < 12; at += 2) all.push_back(word(payload(each), at));  // first, count, age (2 bytes)
    return all;
  };
  for (std::size_t i = 0; i < kept.exchanges.size(); ++i) {
    if (kept.exchanges[i].seen.node != 1) continue;
    std::vector<std::uint32_t> turned = cells(sound.exchanges[i]);
    std::rotate(turned.begin(), turned.begin() + 1, turned.end());
    CHECK(cells(kept.exchanges[i]) == turned);
  }
}

TEST_CASE("a node that counts one cell more says so and is asked for what it has", "[flaw]") {
  const Collector kept = run_by_all(flawed(Flaw::counts_one_more, "nameplate"), 30);
  all_end(kept, 0, Outcome::answered);
  all_end(kept, 1, Outcome::wrong);
  for (const KeptExchange& each : kept.exchanges) CHECK(payload(each).at(5) == (each.seen.node == 1 ? 5 : 4));
  const Collector other = run_by_all(flawed(Flaw::counts_one_more), 30);
  all_end(other, 1, Outcome::answered);
}

TEST_CASE("a node that remakes checks turns damage into answers that pass", "[flaw]") {
  SmallChain small = flawed(Flaw::remakes_checks);
  FaultSpec& hit = small.fault(FaultClass::corruption);  // one bit of each answer of n1 on its way to n2
  hit.links = {1};
  hit.nodes = {0};
  hit.leg = LegFilter::answers;
  const auto outcomes = [&](const SmallChain& of) {
    std::map<Outcome, std::size_t> count;
    for (const KeptExchange& each : run_by_all(of, 900).exchanges) {
      if (each.seen.node != 0) {
        CHECK(each.seen.outcome == Outcome::answered);
        continue;
      }
      ++count[each.seen.outcome];
      if (each.seen.outcome == Outcome::wrong) {
        CHECK(why(each).cause == Cause::design_flaw);
        CHECK(why(each).station == 1);
      }
    }
    return count;
  };
  auto with = outcomes(small);
  kind(small).flaw = {};
  auto without = outcomes(small);
  CHECK(without[Outcome::lost] + without[Outcome::answered] == 300);
  // Of the 24 bytes the twelve of the payload say something wrong when they are hit; the two of the check say nothing.
  CHECK(with[Outcome::wrong] > 75);
  CHECK(with[Outcome::answered] > without[Outcome::answered]);
}

TEST_CASE("an ask that was damaged and remade is answered, and what comes of it is wrong", "[flaw]") {
  SmallChain small = flawed(Flaw::remakes_checks);
  small.controller().plan.back().arguments = {{"first", 1}, {"count", 2}};
  FaultSpec& hit = small.fault(FaultClass::corruption);  // one bit of each ask of n3 on its way to n2
  hit.links = {1};
  hit.nodes = {2};
  hit.leg = LegFilter::asks;
  std::size_t wrong = 0;
  for (const KeptExchange& each : run_by_all(small, 900).exchanges) {
    if (each.seen.node != 2 || each.seen.outcome != Outcome::wrong) continue;
    ++wrong;
    CHECK(why(each).cause == Cause::design_flaw);
    CHECK(why(each).station == 1);
  }
  CHECK(wrong > 5);
}

TEST_CASE("a node that acts again does so after a while, whatever was ordered since", "[flaw]") {
  SmallChain small = flawed(Flaw::acts_again_after, "conditions", 2);
  flaw(small).after = 1500 * millisecond;
  kind(small).board.bleed_mohm = 33'000;
  small.controller().plan.clear();
  add_order(small, "bleed", 1, {{"cells", 5}});
  add_order(small, "bleed", 1, {{"cells", 2}});
  for (int i = 0; i < 6; ++i) add_order(small, "conditions", 1, {});
  const auto told = [](const Collector& kept) {
    std::vector<std::uint32_t> masks;
    for (const KeptExchange& each : kept.exchanges) {
      if (entry_name(kept, each).rfind("conditions", 0) == 0) masks.push_back(word(payload(each), 4));
    }
    return masks;
  };
  // Orders at 0 and 0.4 s, acted on again at 1.5 and 1.9 s; asked at 0.8, 1.2, 1.6, 2.0, 2.4 and 2.8 s.
  CHECK(told(run_by_all(small, 8)) == std::vector<std::uint32_t>{2, 2, 5, 2, 2, 2});
  kind(small).flaw = {};
  CHECK(told(run_by_all(small, 8)) == std::vector<std::uint32_t>{2, 2, 2, 2, 2, 2});
}

TEST_CASE("a node that answers topics that it does not know is found out by the length of its answer", "[flaw]") {
  SmallChain small = flawed(Flaw::answers_unknown_topic);
  kind(small).topics = {"nameplate"};
  kind(small).on_unknown_topic = OnUnknownTopic::refuse;
  const Collector kept = run_by_all(small, 30);
  all_end(kept, 0, Outcome::answered);
  all_end(kept, 1, Outcome::garbled);
  all_end(kept, 2, Outcome::answered);
}

TEST_CASE("a node that hangs above a length is gone until a reset", "[flaw]") {
  SmallChain small = flawed(Flaw::hangs_above_bytes, "line_health");
  flaw(small).value = 22;  // answers of line_health have 22 bytes, those of readings for four cells 24
  const Collector before = run_by_all(small, 30);
  for (std::uint16_t node = 0; node < 3; ++node) all_end(before, node, Outcome::answered);
  // n1's long answer hangs it at 2 s; all is lost from then on, until a reset at 4 s.
  add_order(small, "readings", 0, {{"first", 0}, {"count", 4}});
  small.chain.controller.plan.back().every = 100;
  small.fault(FaultClass::reset).nodes = {1};
  small.chain.faults.back().at = {4 * second};
  const Collector kept = run_by_all(small, 30);
  std::size_t lost = 0;
  bool hung = false;
  for (const KeptExchange& each : kept.exchanges) {
    if (entry_name(kept, each).rfind("readings", 0) == 0) hung = true;
    INFO(describe(each));
    const bool in_reset = each.seen.start > 3800 * millisecond && each.seen.start < 4200 * millisecond;
    if (in_reset) continue;
    const bool down = hung && each.seen.start < 4 * second;
    CHECK(each.seen.outcome == (down ? Outcome::lost : Outcome::answered));
    if (down) CHECK(why(each).cause == Cause::design_flaw);
    lost += down ? 1 : 0;
  }
  CHECK(lost > 5);
}

/// One ask of the nameplate of n3 from a real controller that speaks this revision of the bus; what came back.
std::vector<std::uint8_t> talk(const SmallChain& small, std::uint64_t revision) {
  const Protocol protocol(small.bus);
  Collector kept;
  Chain chain(protocol, small.chain, small.seed, small.way, Seat{true, std::nullopt}, kept);
  std::vector<std::uint8_t> heard;
  chain.set_outlet([&](std::span<const Nanos>, std::span<const std::uint8_t> bytes, std::span<const std::uint8_t>,
                       bool) { heard.insert(heard.end(), bytes.begin(), bytes.end()); });
  Frame ask = protocol.ask(protocol.topic_named("nameplate").value(), 3, 77, 8);
  ask.field[2] = revision;  // behind marker and passes left
  Content content;
  protocol.encode(ask, content);
  chain.arrive(second, false, content.view(), {});
  REQUIRE(chain.run_until(3 * second));
  chain.finish({});
  return heard;
}

TEST_CASE("a node that rewrites a header field spoils frames of another revision, and no others", "[flaw]") {
  SmallChain small = flawed(Flaw::rewrites_field, "nameplate");
  flaw(small).name = "revision";
  const Collector kept = run_by_all(small, 30);
  for (std::uint16_t node = 0; node < 3; ++node) all_end(kept, node, Outcome::answered);
  SmallChain sound = small;
  kind(sound).flaw = {};
  for (const Way way : {Way::events, Way::every_byte}) {
    small.way = sound.way = way;
    CHECK(talk(small, 1) == talk(sound, 1));
    CHECK(talk(sound, 2).size() == 18);
    CHECK(talk(small, 2).empty());  // n3 drops it: the check from end to end is wrong
    // Where that does not cover the field, nothing but the field is changed, and n3 answers.
    for (PartSpec& part : small.bus.parts) {
      if (!part.check || part.check->name != "check") continue;
      for (const char* name : {"revision", "role"}) std::erase(part.check->covers, name);  // they share a byte
    }
    CHECK(talk(small, 2).size() == 18);
    small.bus = sound.bus;
  }
}

TEST_CASE("a mistake that a bus does not bring out does no harm on it", "[flaw]") {
  for (const Flaw mistake : {Flaw::answers_broadcast, Flaw::repeats_number, Flaw::number_bits, Flaw::counts_one_more,
                             Flaw::rewrites_field, Flaw::remakes_checks, Flaw::answers_unknown_topic}) {
    SmallChain small = modbus_chain(3);
    KindSpec spoilt = small.kind();
    spoilt.flaw = {mistake, "address", 4, 0};
    small.chain.kinds.push_back(spoilt);
    small.chain.nodes[1].kind = 1;
    const Collector kept = run_by_all(small, 12);
    for (std::uint16_t node = 0; node < 3; ++node) all_end(kept, node, Outcome::answered);
  }
}

TEST_CASE("cells off by one, stale values and forgotten topics spoil another bus as well", "[flaw]") {
  SmallChain small = modbus_chain(3);
  KindSpec spoilt = small.kind();
  spoilt.flaw.mistake = Flaw::cells_off_by_one;
  small.chain.kinds.push_back(spoilt);
  small.chain.nodes[1].kind = 1;
  all_end(run_by_all(small, 12), 1, Outcome::wrong);
  flaw(small) = {Flaw::forgets_topic, "read_holding", 0, 0};
  const Collector kept = run_by_all(small, 12);
  all_end(kept, 0, Outcome::lost);
  all_end(kept, 1, Outcome::answered);
  all_end(kept, 2, Outcome::lost);
}

}  // namespace hopbench
