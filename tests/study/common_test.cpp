// What failures have in common is found where a rule was planted in a healthy chain, and not where none was.
#include "study/common.h"

#include <algorithm>
#include <array>
#include <cmath>

#include "planted.h"
#include "study/sight.h"
#include "study/specimens.h"
#include "study/stand_out.h"
#include "support/catch.h"
#include "support/dice.h"

namespace hopbench {
namespace {

using planted::Passing;

// Invented.
const std::string healthy_ring = R"(
name: "healthy" seed: 5 run_for: "20min" bus: "bench-frame"
kind { name: "plain" cells: 4 clock { spread: "0.1%" } measurement { snapshot: "2ms" } }
nodes { name: "n" count: 7 kind: "plain" }
every_hop { isolator_delay: "1us" }
controller {
  time_out: "300ms" pace: "400ms"
  poll { name: "cells" topic: "readings" nodes: "*" with { field: "first" value: 0 } with { field: "count" own: CELLS } }
  poll { name: "health" topic: "line_health" nodes: ["n1..n7"] every: 3 }
  poll { name: "board" topic: "conditions" nodes: ["n2..n5"] every: 2 }
}
)";

struct Found {
  planted::Told told;
  Common common;
  std::size_t cases = 0;
};

Found found_in(std::uint64_t seed, std::uint64_t exchanges, const planted::Fails& fails, double certain,
               const planted::Seen& seen = {}) {
  EvidenceFold evidence;
  SpecimenFold specimens(evidence);
  Found found;
  found.told = planted::run(healthy_ring, exchanges, seed, fails, certain, specimens, seen);
  const auto cases = cases_of(evidence.evidence(), standing_out(evidence.evidence()));
  found.cases = cases.size();
  if (cases.empty()) return found;
  const auto when = whens_of(evidence.evidence(), cases.front());
  found.common = common_of(evidence.evidence(), specimens, cases.front(), when, &planted::bench_bus());
  return found;
}

/// One thing that a planted rule may ask for.
using Part = std::function<bool(const Passing&)>;

std::uint64_t field_of(const Passing& passing, std::size_t byte) {
  return byte < passing.exchange->asked.size() ? passing.exchange->asked[byte] : 0;
}

/// Some part of a rule, with its name for whoever reads a failure.
std::pair<std::string, Part> part_of(Dice& dice) {
  switch (dice.up_to(8)) {
    case 0: {
      const bool answering = dice.one_in(2);
      return {answering ? "replies" : "requests", [=](const Passing& p) { return p.row.answering == answering; }};
    }
    case 1: {
      const auto node = dice.up_to(6);
      return {"node " + std::to_string(node), [=](const Passing& p) { return p.exchange->node == node; }};
    }
    case 2: {
      // Entries are all polls of cells, then of health, then of boards.
      const auto from = dice.of<std::uint32_t>({0, 7, 14});
      const std::uint32_t to = from == 14 ? 18 : from + 7;
      return {"topic from entry " + std::to_string(from),
              [=](const Passing& p) { return p.exchange->entry >= from && p.exchange->entry < to; }};
    }
    case 3: {
      const auto bit = dice.up_to(5);
      return {"bit " + std::to_string(bit) + " of the exchange's number",
              [=](const Passing& p) { return (p.exchange->number >> bit & 1U) != 0; }};
    }
    case 4: {
      const auto node = dice.up_to(6);
      return {"after node " + std::to_string(node),
              [=](const Passing& p) { return p.before != nullptr && p.before->node == node; }};
    }
    case 5: {
      const auto chars = dice.of<std::uint16_t>({13, 15, 20, 22});
      return {"longer than " + std::to_string(chars), [=](const Passing& p) { return p.row.chars > chars; }};
    }
    case 6: {
      const auto modulus = dice.of<std::uint64_t>({8, 16, 32});
      const auto rest = dice.up_to(modulus - 1);
      return {"number leaves " + std::to_string(rest) + " by " + std::to_string(modulus),
              [=](const Passing& p) { return p.exchange->number % modulus == rest; }};
    }
    case 7: {
      const auto bit = dice.up_to(3);
      // The low byte of the exchange's name.
      return {"bit " + std::to_string(bit) + " of byte 9 of the request",
              [=](const Passing& p) { return (field_of(p, 8) >> bit & 1U) != 0; }};
    }
    default: {
      const auto node = dice.between(1, 5);
      return {"beyond node " + std::to_string(node), [=](const Passing& p) { return p.exchange->node > node; }};
    }
  }
}

}  // namespace

TEST_CASE("a random rule of one to three parts planted in a healthy chain is found", "[common]") {
  std::string all;
  int planted_rules = 0;
  int found_rules = 0;
  for (std::uint64_t trial = 0; planted_rules < 40 && trial < 200; ++trial) {
    Dice dice("planted rule", trial);
    const auto link = dice.up_to(7);
    const auto parts = 1 + trial % 3;
    std::vector<Part> rule;
    std::string text = "link " + std::to_string(link);
    for (std::uint64_t i = 0; i < parts; ++i) {
      auto [name, part] = part_of(dice);
      rule.push_back(part);
      text += ", " + name;
    }
    const double rate = dice.of<double>({1, 0.6, 0.3});
    const auto fails = [&](const Passing& p) {
      if (p.row.link != link) return 0.0;
      const bool in = std::all_of(rule.begin(), rule.end(), [&](const Part& part) { return part(p); });
      return in ? rate : 0.0005;
    };
    const auto found = found_in(trial, 6000, fails, rate);
    // A rule that hardly any frame meets, or nearly all do, is none.
    if (found.told.failed < 40 || found.told.frames > 3500) continue;
    ++planted_rules;
    bool right = false;
    std::string said;
    if (!found.common.rules.empty()) {
      const Rule& first = found.common.rules.front();
      said = first.sentence;
      const auto failed = static_cast<double>(found.told.failed);
      right = static_cast<double>(first.failed_in) > 0.9 * failed &&
              static_cast<double>(first.in) < 1.2 * static_cast<double>(found.told.frames);
    }
    if (right) ++found_rules;
    all += "trial " + std::to_string(trial) + (right ? ": " : ": NOT FOUND: ") + text + ", " +
           std::to_string(found.told.failed) + " of " + std::to_string(found.told.frames) + "\n  " + said + "\n";
  }
  INFO(all);
  CHECK(planted_rules == 40);
  CHECK(found_rules >= 37);
}

TEST_CASE("where frames fail at random nothing is found", "[common]") {
  int found = 0;
  std::string all;
  for (std::uint64_t trial = 0; trial < 40; ++trial) {
    Dice dice("no rule", trial);
    const auto link = dice.up_to(7);
    const double rate = 0.01 + 0.002 * static_cast<double>(dice.up_to(40));
    const auto told = found_in(
        1000 + trial, 5000, [&](const Passing& p) { return p.row.link == link ? rate : 0; }, 1);
    REQUIRE(told.common.looked);
    if (!told.common.rules.empty()) {
      ++found;
      all += "trial " + std::to_string(trial) + ": " + told.common.rules.front().sentence + "\n";
    }
  }
  // At a level of one in a hundred; three or more of forty are then rarer than one in a hundred (binomial law).
  INFO(all);
  CHECK(found <= 2);
}

TEST_CASE("bursts at random instants have nothing in common", "[common]") {
  int found = 0;
  std::string all;
  for (std::uint64_t trial = 0; trial < 30; ++trial) {
    Dice dice("bursts", trial);
    // Stretches of some seconds, about one in two minutes, in which most frames on a hop die.
    std::vector<Nanos> from;
    for (Nanos at = 0; at < 3600 * second; at += static_cast<Nanos>(dice.up_to(240'000)) * millisecond) {
      from.push_back(at);
    }
    const Nanos length = dice.between(1000, 4000) * millisecond;
    const auto fails = [&](const Passing& p) {
      if (p.row.link != 3) return 0.0;
      const auto after = std::upper_bound(from.begin(), from.end(), p.row.start);
      return after != from.begin() && p.row.start - *(after - 1) < length ? 0.8 : 0.0;
    };
    const auto told = found_in(2000 + trial, 5000, fails, 0.8);
    if (told.common.rules.empty()) continue;
    ++found;
    all += "trial " + std::to_string(trial) + ": " + told.common.rules.front().sentence + "\n";
  }
  INFO(all);
  CHECK(found <= 2);
}

namespace {

bool holds_byte(std::span<const std::uint8_t> bytes, std::uint8_t byte) {
  return std::find(bytes.begin(), bytes.end(), byte) != bytes.end();
}

/// Whether the first rule covers what was planted, and little else.
bool right(const Found& found, double more = 1.2) {
  if (found.common.rules.empty()) return false;
  const Rule& first = found.common.rules.front();
  return static_cast<double>(first.failed_in) > 0.9 * static_cast<double>(found.told.failed) &&
         static_cast<double>(first.in) < more * static_cast<double>(found.told.frames);
}

/// The request as it is on the link: stations count passes down and mend the check of the header.
std::vector<std::uint8_t> asked_on_link(const Passing& passing) {
  Content content;
  content.assign(passing.exchange->asked);
  for (std::uint16_t link = 0; link < passing.row.link; ++link) REQUIRE(planted::bench_bus().forward_bytes(content));
  return {content.view().begin(), content.view().end()};
}

std::string told_of(const Found& found) {
  std::string all = std::to_string(found.told.failed) + " of " + std::to_string(found.told.frames) + "\n";
  for (const auto& sentence : found.common.sentences) all += sentence + "\n";
  return all;
}

}  // namespace

TEST_CASE("requests with a certain byte in them fail", "[common]") {
  const auto found = found_in(
      11, 8000,
      [](const Passing& p) {
        return p.row.link == 3 && !p.row.answering && holds_byte(asked_on_link(p), 0x11) ? 1.0 : 0.0;
      },
      1);
  INFO(told_of(found));
  REQUIRE(right(found));
  const auto& parts = found.common.rules.front().parts;
  CHECK(std::any_of(parts.begin(), parts.end(),
                    [](const RulePart& part) { return part.facet == FacetId::asked_byte && part.value == "0x11"; }));
}

TEST_CASE("replies with a certain byte in them fail, though none of these was ever heard", "[common]") {
  const auto found = found_in(
      12, 12'000,
      [](const Passing& p) {
        return p.row.link == 6 && p.row.answering && holds_byte(p.exchange->answered, 0x13) ? 1.0 : 0.0;
      },
      1);
  INFO(told_of(found));
  REQUIRE(found.told.failed > 100);
  REQUIRE(!found.common.rules.empty());
  // What is not heard is worked out, and what changes in it is not: not every one is right.
  const Rule& first = found.common.rules.front();
  CHECK(std::any_of(first.parts.begin(), first.parts.end(),
                    [](const RulePart& part) { return part.facet == FacetId::reply_byte && part.value == "0x13"; }));
  CHECK(5 * first.failed_in > 3 * found.told.failed);
}

TEST_CASE("failures of one second in 47 keep step with that", "[common]") {
  const auto found = found_in(
      13, 6000, [](const Passing& p) { return p.row.link == 2 && p.row.start % (47 * second) < second ? 0.9 : 0.0; },
      0.9);
  INFO(told_of(found));
  REQUIRE(found.common.rhythm.in_time);
  CHECK(std::abs(found.common.rhythm.in_time->length - 47e9) < 0.02e9);
  CHECK(found.common.rhythm.in_time->width > 0.7e9);
  REQUIRE(right(found, 1.6));
}

TEST_CASE("every 37th frame on a hop fails", "[common]") {
  const auto found = found_in(
      14, 6000, [](const Passing& p) { return p.row.link == 5 && p.count % 37 == 5 ? 1.0 : 0.0; }, 1);
  INFO(told_of(found));
  REQUIRE(right(found));
  const auto& parts = found.common.rules.front().parts;
  REQUIRE(parts.size() == 1);
  CHECK(parts.front().clause.modulus == 37);
}

TEST_CASE("every 300th frame on a hop fails", "[common]") {
  const auto found = found_in(
      15, 12'000, [](const Passing& p) { return p.row.link == 5 && p.count % 300 == 5 ? 1.0 : 0.0; }, 1);
  INFO(told_of(found));
  REQUIRE(found.common.rhythm.in_frames);
  CHECK(found.common.rhythm.in_frames->length == 300);
  CHECK(right(found, 2));
}

TEST_CASE("two rules on one hop part its failures", "[common]") {
  const auto found = found_in(
      16, 8000,
      [](const Passing& p) {
        if (p.row.link != 4) return 0.0;
        if (p.exchange->node == 2) return 0.8;
        return !p.row.answering && (p.exchange->number >> 3U & 1U) != 0 && p.exchange->entry >= 7 ? 0.8 : 0.0;
      },
      0.8);
  INFO(told_of(found));
  REQUIRE(found.common.rules.size() == 2);
  std::array<std::uint64_t, 2> under{};
  std::uint64_t none = 0;
  for (const auto& rule : found.common.rule_of) ++(rule ? under.at(*rule) : none);
  CHECK(under[0] == found.common.rules[0].failed_in);
  CHECK(under[1] == found.common.rules[1].failed_in);
  CHECK(none < found.told.failed / 20);
}

TEST_CASE("failures that begin and end within the capture are told as such", "[common]") {
  const auto found = found_in(
      17, 6000,
      [](const Passing& p) {
        return p.row.link == 4 && p.row.start > 600 * second && p.row.start < 1500 * second ? 0.05 : 0.0;
      },
      0.05);
  INFO(told_of(found));
  REQUIRE(found.common.rhythm.onset);
  REQUIRE(found.common.rhythm.end);
  CHECK(found.common.rhythm.onset->at >= 600 * second);
  CHECK(found.common.rhythm.onset->at < 660 * second);
  CHECK(found.common.rhythm.end->at > 1440 * second);
  CHECK(found.common.rhythm.end->at <= 1500 * second);
}

bool has_part(const Rule& rule, FacetId facet) {
  return std::any_of(rule.parts.begin(), rule.parts.end(), [&](const RulePart& part) { return part.facet == facet; });
}

TEST_CASE("a beginning is a part of the rule", "[common]") {
  const auto found = found_in(
      21, 8000,
      [](const Passing& p) { return p.row.link == 4 && !p.row.answering && p.row.start > 1500 * second ? 0.08 : 0.0; },
      0.08);
  INFO(told_of(found));
  REQUIRE(!found.common.rules.empty());
  const Rule& first = found.common.rules.front();
  CHECK(has_part(first, FacetId::since_start));
  CHECK(has_part(first, FacetId::leg));
  CHECK(first.failed_in == found.told.failed);
  CHECK(10 * first.in < 11 * found.told.frames);
  // It is told once.
  CHECK(std::none_of(found.common.sentences.begin(), found.common.sentences.end(),
                     [](const std::string& each) { return each.find("The first came") != std::string::npos; }));
}

TEST_CASE("replies whose first cell has a bit set fail, and hops before heard what they said", "[common]") {
  // In a reply with readings the first cell follows what was asked and an age of two bytes (proto/buses/bench-frame).
  const auto bit_of = [](const Passing& p, unsigned bit) {
    const auto& said = p.exchange->answered;
    return p.exchange->entry < 7 && said.size() > 15 && (said[15] >> bit & 1U) != 0;
  };
  const auto found = found_in(
      22, 12'000, [&](const Passing& p) { return p.row.link == 6 && p.row.answering && bit_of(p, 3) ? 1.0 : 0.0; }, 1,
      {true, {}});
  INFO(told_of(found));
  REQUIRE(found.told.failed > 100);
  REQUIRE(!found.common.rules.empty());
  const Rule& first = found.common.rules.front();
  CHECK(has_part(first, FacetId::reply_field));
  CHECK(10 * first.failed_in > 8 * found.told.failed);
  CHECK(first.sentence.find("as it was heard on the hops before") != std::string::npos);
}

TEST_CASE("damage at one place of the frame is told with its bit, damage anywhere is not", "[common]") {
  const auto fails = [](const Passing& p) { return p.row.link == 3 && p.row.chars > 12 ? 0.03 : 0.0; };
  const auto at_one = found_in(25, 8000, fails, 0.03, {false, [](const Passing&) { return RowDamage{0, 12, 0x08}; }});
  INFO(told_of(at_one));
  REQUIRE(at_one.common.damage);
  CHECK(at_one.common.damage->at == 12);
  CHECK(at_one.common.damage->in == at_one.told.failed);
  CHECK(at_one.common.damage->bit == 3U);
  CHECK(at_one.common.sentences.front().find("Damage begins at byte 12 of the frame in") == 0);

  const auto anywhere = found_in(26, 8000, fails, 0.03, {false, [](const Passing& p) {
                                                           const auto at = 1 + 7 * p.exchange->number % p.row.chars;
                                                           return RowDamage{0, static_cast<std::uint16_t>(at), 1};
                                                         }});
  CHECK((!anywhere.common.damage || anywhere.common.damage->at == 0));
  CHECK(anywhere.common.damage.has_value());  // it is always the lowest bit

  const auto at_end = found_in(27, 8000, fails, 0.03, {false, [](const Passing& p) {
                                                         return RowDamage{0, p.row.chars, 0};
                                                       }});
  REQUIRE(at_end.common.damage);
  CHECK(at_end.common.damage->from_end);
  CHECK(at_end.common.damage->at == 1);
  CHECK_FALSE(at_end.common.damage->bit);

  Dice dice("damage anywhere", 1);
  const auto random = found_in(28, 8000, fails, 0.03,
                               {false, [&](const Passing& p) {
                                  const auto at = 1 + dice.up_to(p.row.chars - 1U);
                                  const auto bits = 1U << dice.up_to(7);
                                  return RowDamage{0, static_cast<std::uint16_t>(at), static_cast<std::uint8_t>(bits)};
                                }});
  CHECK_FALSE(random.common.damage);
}

TEST_CASE("two nodes with each other's address are told first", "[common]") {
  EvidenceFold evidence;
  SpecimenFold specimens(evidence);
  std::string text = healthy_ring;
  text.insert(text.find("every_hop"),
              "wrong_address { node: \"n3\" address: 5 } wrong_address { node: \"n5\" address: 3 }\n");
  planted::run(
      text, 3000, 19, [](const Passing&) { return 0.0; }, 1, specimens);
  const auto cases = cases_of(evidence.evidence(), standing_out(evidence.evidence()));
  REQUIRE(!cases.empty());
  std::string all;
  for (const Case& each : cases) {
    const auto common =
        common_of(evidence.evidence(), specimens, each, whens_of(evidence.evidence(), each), &planted::bench_bus());
    for (const auto& sentence : common.sentences) all += sentence + "\n";
    for (const StrangeAnswers& one : common.strange) CHECK((one.by_place && one.in == one.of && one.in > 300));
  }
  INFO(all);
  CHECK(all.find("What is asked of n3 is answered from the place of n5 in ") != std::string::npos);
  CHECK(all.find("their addresses look swapped") != std::string::npos);
}

TEST_CASE("from the controller a rule is found among tries", "[common]") {
  EvidenceFold evidence;
  SpecimenFold specimens(evidence);
  AtController shut(specimens, &planted::bench_bus());
  Found found;
  found.told = planted::run(
      healthy_ring, 6000, 18,
      [](const Passing& p) { return p.row.link == 3 && p.exchange->node == 5 && p.exchange->entry < 7 ? 0.5 : 0.0; },
      0.5, shut);
  const auto cases = cases_of(evidence.evidence(), standing_out(evidence.evidence()));
  REQUIRE(cases.size() == 1);
  found.common = common_of(evidence.evidence(), specimens, cases.front(), whens_of(evidence.evidence(), cases.front()),
                           &planted::bench_bus());
  INFO(told_of(found));
  CHECK_FALSE(found.common.frames);
  CHECK(right(found));
}

}  // namespace hopbench
