#include "judge/subgroups.h"

#include <algorithm>
#include <array>
#include <boost/math/distributions/hypergeometric.hpp>

#include "base/luck.h"
#include "judge/held_out.h"
#include "support/catch.h"
#include "support/shares.h"

namespace hopbench {
namespace {

/// Items with traits at random, of which `planted` hold together where items are hit.
struct Made {
  std::vector<std::vector<bool>> traits;
  std::vector<bool> planted;  // by item
  std::vector<std::size_t> rule;
  BitTable table{{}};
};

Made made(std::uint64_t seed, std::size_t parts, double rate_in, double rate_out) {
  constexpr std::size_t count = 12'000;
  constexpr std::size_t most_traits = 60;
  Shares dice(seed);
  Made out;
  for (std::size_t t = 0; t < most_traits; ++t) {
    const double share = 0.15 + 0.5 * dice.next();
    out.traits.emplace_back();
    for (std::size_t i = 0; i < count; ++i) out.traits.back().push_back(dice.next() < share);
  }
  while (out.rule.size() < parts) {
    const auto next = dice.below(most_traits);
    if (std::find(out.rule.begin(), out.rule.end(), next) == out.rule.end()) out.rule.push_back(next);
  }
  std::sort(out.rule.begin(), out.rule.end());
  std::vector<Compared> items;
  for (std::size_t i = 0; i < count; ++i) {
    bool in = parts > 0;
    for (const auto t : out.rule) in = in && out.traits[t][i];
    out.planted.push_back(in);
    Compared item;
    item.hit = dice.next() < (in ? rate_in : rate_out);
    // One in four of the others is kept.
    if (!item.hit && dice.next() > 0.25) item.weight = 0;
    if (!item.hit) item.weight = item.weight == 0 ? 0 : 4;
    item.held_out = i / 50 % 2 == 0;
    item.block = static_cast<std::uint32_t>(i / 50);
    item.bunch = static_cast<std::uint32_t>(i);
    items.push_back(item);
  }
  // Items that are not kept are not in the table.
  std::vector<std::size_t> kept;
  std::vector<Compared> few;
  for (std::size_t i = 0; i < count; ++i) {
    if (items[i].weight == 0) continue;
    kept.push_back(i);
    few.push_back(items[i]);
  }
  out.table = BitTable(few);
  for (std::size_t t = 0; t < most_traits; ++t) {
    out.table.add({static_cast<std::uint32_t>(t), 1, 0, t % 5 == 0},
                  [&](std::size_t i) { return out.traits[t][kept[i]]; });
  }
  return out;
}

}  // namespace

TEST_CASE("a rule of one to three traits that is planted at random is found", "[subgroups]") {
  int found = 0;
  int exact = 0;
  constexpr int trials = 60;
  Shares dice(77);
  for (int trial = 0; trial < trials; ++trial) {
    const auto parts = 1 + static_cast<std::size_t>(trial) % 3;
    const double rate = trial % 2 == 0 ? 0.9 : 0.25;
    const auto table = made(1000 + static_cast<std::uint64_t>(trial), parts, rate, 0.002 * dice.next());
    const auto groups = subgroups_of(table.table);
    if (groups.found.empty()) continue;
    auto traits = groups.found.front().traits;
    std::sort(traits.begin(), traits.end());
    const std::vector<std::uint32_t> rule(table.rule.begin(), table.rule.end());
    if (traits == rule) ++exact;
    ++found;
  }
  CHECK(found >= 58);
  CHECK(exact >= 56);
}

TEST_CASE("where hits are dealt out at random no subgroup is found", "[subgroups]") {
  int found = 0;
  for (std::uint64_t trial = 0; trial < 100; ++trial) {
    const auto table = made(5000 + trial, 0, 0, 0.0015 + 0.0005 * static_cast<double>(trial % 20));
    if (!subgroups_of(table.table).found.empty()) ++found;
  }
  // The level is one in a hundred; four or more of a hundred are then rarer than one in fifty (binomial law).
  CHECK(found <= 3);
}

TEST_CASE("two rules are found one after the other", "[subgroups]") {
  Shares dice(5);
  std::vector<Compared> items;
  std::vector<std::array<bool, 6>> traits;
  for (std::size_t i = 0; i < 8000; ++i) {
    std::array<bool, 6> has{};
    for (auto& each : has) each = dice.next() < 0.2;
    Compared item;
    item.hit = (has[1] && has[2]) || has[4] ? dice.next() < 0.8 : dice.next() < 0.001;
    item.held_out = i / 40 % 2 == 0;
    item.bunch = static_cast<std::uint32_t>(i);
    items.push_back(item);
    traits.push_back(has);
  }
  BitTable table(items);
  for (std::uint32_t t = 0; t < 6; ++t) table.add({t, 1, 0, false}, [&](std::size_t i) { return traits[i][t]; });
  const auto groups = subgroups_of(table);
  REQUIRE(groups.found.size() == 2);
  CHECK(groups.found[0].traits == std::vector<std::uint32_t>{4});
  auto second = groups.found[1].traits;
  std::sort(second.begin(), second.end());
  CHECK(second == std::vector<std::uint32_t>{1, 2});
}

TEST_CASE("three bad spells that share what changes slowly prove nothing", "[subgroups]") {
  Shares dice(9);
  std::vector<Compared> items;
  std::vector<bool> warm;
  for (std::size_t i = 0; i < 6000; ++i) {
    Compared item;
    item.block = static_cast<std::uint32_t>(i / 50);
    const bool spell = item.block % 40 == 7;
    item.hit = spell && dice.next() < 0.9;
    item.held_out = item.block % 2 == 0;
    item.bunch = static_cast<std::uint32_t>(i);
    warm.push_back(item.block % 40 >= 6 && item.block % 40 <= 8);
    items.push_back(item);
  }
  for (auto& item : items) item.held_out = item.bunch % 2 == 0;
  for (const bool slow : {true, false}) {
    BitTable table(items);
    table.add({0, 1, 0, slow}, [&](std::size_t i) { return warm[i]; });
    const auto groups = subgroups_of(table);
    CHECK(groups.found.empty() == slow);
    CHECK(groups.open.has_value() == slow);
  }
}

TEST_CASE("the exact test agrees with the hypergeometric law", "[subgroups]") {
  // Boost.Math 1.74, its own code for the law.
  for (const auto& [in, hits, others_in, others] :
       {std::array<unsigned, 4>{9, 10, 30, 100}, {3, 3, 5, 50}, {12, 40, 20, 90}, {0, 5, 3, 20}}) {
    const boost::math::hypergeometric_distribution<double> law(in + others_in, hits, hits + others);
    const double p = in == 0 ? 1.0 : boost::math::cdf(boost::math::complement(law, in - 1));
    CHECK(fisher_p(in, hits, others_in, others) == Catch::Detail::Approx(p).epsilon(1e-9));
  }
}

}  // namespace hopbench
