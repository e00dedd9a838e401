// docs/predictions.md: its tables hold the figures that candidates are judged by.
#include <fmt/format.h>

#include <array>
#include <cmath>
#include <fstream>
#include <limits>
#include <set>
#include <sstream>
#include <string>
#include <utility>
#include <vector>

#include "study/dependence.h"
#include "study/forms.h"
#include "study/signatures.h"
#include "study/words.h"
#include "support/catch.h"

namespace hopbench {
namespace {

using Row = std::vector<std::string>;

Row cells_of(const std::string& line) {
  Row row;
  std::istringstream in(line.substr(1));
  for (std::string cell; std::getline(in, cell, '|');) {
    const auto from = cell.find_first_not_of(' ');
    if (from == std::string::npos) {
      row.emplace_back();
      continue;
    }
    row.push_back(cell.substr(from, cell.find_last_not_of(' ') - from + 1));
  }
  return row;
}

/// The rows of the table of which the first head is this.
std::vector<Row> table_of(const std::string& head) {
  std::ifstream page(std::string(HOPBENCH_SOURCE_DIR) + "/docs/predictions.md");
  REQUIRE(page);
  std::vector<Row> rows;
  bool inside = false;
  for (std::string line; std::getline(page, line);) {
    if (line.starts_with("| " + head + " |")) {
      inside = true;
    } else if (inside && !line.starts_with("|")) {
      break;
    } else if (inside && !line.starts_with("| ---")) {
      rows.push_back(cells_of(line));
    }
  }
  REQUIRE_FALSE(rows.empty());
  return rows;
}

/// "supply, watchdog" as two rows, and without the cell that says in words which form it is.
std::multiset<std::string> row_for_each_name(const std::vector<Row>& rows, std::size_t words_at) {
  std::multiset<std::string> out;
  for (const Row& row : rows) {
    std::istringstream names(row.front());
    for (std::string name; std::getline(names >> std::ws, name, ',');) {
      std::string text = name;
      for (std::size_t i = 1; i < row.size(); ++i) {
        if (i != words_at) text += " | " + row[i];
      }
      out.insert(text);
    }
  }
  return out;
}
constexpr auto no_words = std::numeric_limits<std::size_t>::max();

std::string per_cent(double share) { return fmt::format("{:.4g}", 100 * share); }

std::string range(Allowed allowed) {
  if (allowed.high < 0) return "chance";
  if (allowed.low <= 0 && allowed.high >= 1) return "any";
  return per_cent(allowed.low) + " to " + per_cent(allowed.high);
}

std::vector<std::pair<std::string, double>> facts_of(const WireForm& form) {
  return {{"outage", form.long_run},
          {"content", form.content},
          {"silence", form.silence},
          {"distance", form.worn},
          {"clock", form.pace},
          {"ripple", form.ripple},
          {"off", form.off},
          {"everywhere", form.everywhere},
          {"charge", form.with.charge},
          {"balancing", form.with.balancing},
          {"temperature", form.with.temperature}};
}

std::string name(Mechanism mechanism) { return words::spaced(name_of(mechanism)); }

}  // namespace

TEST_CASE("docs/predictions.md holds the shares and chances of frames on a hop that the code holds") {
  const auto usual = facts_of(WireForm{});
  std::multiset<std::string> coded;
  for (const WireForm& form : wire_forms()) {
    std::string text = name(form.mechanism);
    for (const Allowed& share :
         {form.gone, form.cut, form.overrun, form.framing, form.check, form.straight, form.recovered, form.rate}) {
      text += " | " + range(share);
    }
    std::string own;
    const auto facts = facts_of(form);
    for (std::size_t i = 0; i < facts.size(); ++i) {
      if (facts[i].second != usual[i].second) {
        own += (own.empty() ? "" : ", ") + facts[i].first + " " + per_cent(facts[i].second);
      }
    }
    coded.insert(text + " | " + own);
  }
  CHECK(row_for_each_name(table_of("on a hop"), 1) == coded);

  std::multiset<std::string> chances;
  for (const auto& [fact, chance] : usual) chances.insert(fact + " | " + per_cent(chance));
  CHECK(row_for_each_name(table_of("fact"), 2) == chances);
}

TEST_CASE("docs/predictions.md holds the shares and chances of late replies that the code holds") {
  std::multiset<std::string> coded;
  for (const LateForm& form : late_forms()) {
    std::string text = name(form.mechanism);
    for (const Allowed& share : {form.at_node, form.between, form.hasty}) text += " | " + range(share);
    for (const double chance : {form.only_cells, form.same, form.grows, form.longer, form.every_time}) {
      text += " | " + per_cent(chance);
    }
    coded.insert(text);
  }
  CHECK(row_for_each_name(table_of("late"), no_words) == coded);
}

TEST_CASE("docs/predictions.md names the mechanisms that may be behind what ends at a station, as the code does") {
  constexpr std::array<std::pair<Family, const char*>, 10> kinds{{{Family::no_room, "no room"},
                                                                  {Family::swallowed, "swallowed"},
                                                                  {Family::changed, "changed"},
                                                                  {Family::ignored, "ignored"},
                                                                  {Family::refused, "refused"},
                                                                  {Family::mismatched, "mismatched"},
                                                                  {Family::bad_value, "bad value"},
                                                                  {Family::truncated, "truncated"},
                                                                  {Family::bad_ask, "bad request"},
                                                                  {Family::collided, "collided"}}};
  Evidence evidence;
  evidence.run.faults.emplace_back();  // or what is put in is out of the question
  const CaseFacts facts;
  std::multiset<std::string> coded;
  for (const auto& [family, kind] : kinds) {
    Case which;
    which.family = family;
    for (const Hypothesis& each : at_station({evidence, which, facts})) {
      // A fact that is so weighs the logarithm of twice its chance.
      const double chance = 0.5 * std::exp(each.predictions().front().score);
      coded.insert(fmt::format("{} | {} | {}", kind, name(each.mechanism()), per_cent(chance)));
    }
  }
  CHECK(row_for_each_name(table_of("at a station"), 3) == coded);
}

TEST_CASE("docs/predictions.md says what each mechanism may depend on, as the code does") {
  constexpr std::array<std::pair<FacetGroup, const char*>, 8> groups{{{FacetGroup::place, "place"},
                                                                      {FacetGroup::length, "length"},
                                                                      {FacetGroup::order, "order"},
                                                                      {FacetGroup::load, "load"},
                                                                      {FacetGroup::condition, "condition"},
                                                                      {FacetGroup::content, "content"},
                                                                      {FacetGroup::counting, "counting"},
                                                                      {FacetGroup::period, "period"}}};
  std::multiset<std::string> coded;
  for (const Mechanism mechanism : mechanisms()) {
    if (mechanism == Mechanism::balancing) continue;  // no mechanism by itself
    std::string list;
    for (const auto& [group, word] : groups) {
      if (may_depend(mechanism).contains(group)) list += (list.empty() ? "" : ", ") + std::string(word);
    }
    coded.insert(name(mechanism) + " | " + list);
  }
  CHECK(row_for_each_name(table_of("may depend"), no_words) == coded);
  std::multiset<std::string> words;
  for (const auto& [group, word] : groups) words.insert(word);
  CHECK(row_for_each_name(table_of("group"), 1) == words);
}

TEST_CASE("docs/predictions.md states the thresholds that candidates are judged by") {
  Hypothesis off(Mechanism::bit_noise);
  off.share(0, 1e6, {0.9, 1}, "");
  Hypothesis untrue(Mechanism::bit_noise);
  untrue.fact(true, 0, "");
  const std::vector<std::pair<std::string, double>> coded{{"trials", Hypothesis::most_trials},
                                                          {"anything else", 100 * std::exp(off.score())},
                                                          {"least chance", 100 * 0.5 * std::exp(untrue.score())},
                                                          {"level", 100 * Hypothesis::level},
                                                          {"named from", worth_naming},
                                                          {"tied within", told_apart},
                                                          {"rule, times as frequent", rule_lift},
                                                          {"rule, chance", 1e6 * rule_chance},
                                                          {"rule, share of the failures", 100 * share_under_rule}};
  std::multiset<std::string> figures;
  for (const auto& [what, value] : coded) figures.insert(what + " | " + fmt::format("{:.6g}", value));
  std::multiset<std::string> stated;
  for (const Row& row : table_of("threshold")) stated.insert(row.at(0) + " | " + row.at(1));
  CHECK(stated == figures);
}

}  // namespace hopbench
