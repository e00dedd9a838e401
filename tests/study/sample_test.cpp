// With more failures than are kept a sample is looked at. What is told of it is scaled up and says so, or says that it
// is of the sample; totals stay what they are.
#include <algorithm>
#include <cctype>
#include <cmath>

#include "chain/chain.h"
#include "measure/fan_out.h"
#include "study/evidence_fold.h"
#include "study/explanation.h"
#include "support/catch.h"
#include "text/scenario.h"

using namespace hopbench;

namespace {

/// Nearly all fails, on several hops and in several ways. Invented.
const std::string scenario = R"(name: "fails" run_for: "40min" bus: "bench-frame" baud: 19200 shape: RING
kind { name: "k" }
nodes { name: "a" count: 4 kind: "k" }
hop { into: "a2" bit_error: "2e-3" }
hop { into: "a3" contact { mean_between: "20s" mean_open: "5s" } }
fault { name: "loss" class: LOSS nodes: "a4" leg: ANSWERS rate: "60%" }
controller { time_out: "300ms" gap: "5ms" retries: 1
  poll { name: "cells" topic: "readings" nodes: "*" with { field: "first" value: 0 } with { field: "count" own: CELLS } }
})";

struct Told {
  EvidenceFold fold;
  Explanation explanation;

  explicit Told(std::size_t most, std::uint64_t exchanges = 0) : fold(most) {
    std::vector<Problem> problems;
    const auto loaded = load_scenario({"sample.txtpb", scenario}, buses_beside("sample.txtpb"), problems);
    REQUIRE(loaded);
    const Protocol protocol(loaded->bus);
    Observed door(fold);
    Chain chain(protocol, loaded->chain, 1, Way::repeats, Seat::simulated, door);
    REQUIRE((exchanges > 0 ? chain.run_exchanges(exchanges) : chain.run_until(loaded->chain.run_for)));
    chain.finish({});
    explanation = explain(fold.evidence(), Reality::simulated);
  }
};

/// Whole numbers in a text as a person reads them, "1,234" as one; parts of names, decimals and spans are left out.
std::vector<std::uint64_t> numbers_in(const std::string& text) {
  std::vector<std::uint64_t> found;
  for (std::size_t i = 0; i < text.size(); ++i) {
    if (std::isdigit(static_cast<unsigned char>(text[i])) == 0) continue;
    const bool in_a_name = i > 0 && (std::isalnum(static_cast<unsigned char>(text[i - 1])) != 0 || text[i - 1] == '.');
    std::string digits;
    for (; i < text.size() && (std::isdigit(static_cast<unsigned char>(text[i])) != 0 || text[i] == ','); ++i) {
      if (text[i] == ',' && (i + 1 >= text.size() || std::isdigit(static_cast<unsigned char>(text[i + 1])) == 0)) break;
      if (text[i] != ',') digits += text[i];
    }
    const bool goes_on = i < text.size() && text[i] == '.' && i + 1 < text.size() &&
                         std::isdigit(static_cast<unsigned char>(text[i + 1])) != 0;
    const auto unit = text.substr(i, 3);
    const bool measured =
        unit == " s," || unit == " s." || unit == " mi" || unit == " ms" || unit == " % " || unit == " h";
    if (!in_a_name && !goes_on && !measured) found.push_back(std::stoull(digits));
  }
  return found;
}

std::vector<std::string> all_sentences(const Explanation& explanation) {
  std::vector<std::string> all{explanation.headline, explanation.when_note};
  for (const auto& hop : explanation.where.hops) all.push_back(hop.sentence);
  for (const auto& sentence : explanation.where.sentences) all.push_back(sentence);
  for (const auto& each : explanation.cases) {
    for (const auto& text : {each.title, each.symptoms, each.spread, each.verdict, each.not_enough})
      all.push_back(text);
    for (const auto& candidate : each.candidates) all.push_back(candidate.evidence);
  }
  return all;
}

}  // namespace

TEST_CASE("of a sample of the failures numbers are scaled up and say about, or are said to be of the sample") {
  const Told whole(1'000'000);
  const Told part(600);
  const auto& evidence = part.fold.evidence();
  const std::uint64_t one_in = evidence.one_incident_in;
  REQUIRE(whole.fold.evidence().one_incident_in == 1);
  REQUIRE(whole.fold.evidence().failures > 4000);
  REQUIRE(one_in >= 8);
  CHECK(part.explanation.headline == whole.explanation.headline);
  REQUIRE(part.explanation.cases.size() == whole.explanation.cases.size());
  for (std::size_t i = 0; i < part.explanation.cases.size(); ++i) {
    const auto& sampled = part.explanation.cases[i];
    const auto& true_one = whole.explanation.cases[i];
    CAPTURE(sampled.title, true_one.title, sampled.symptoms, true_one.symptoms);
    REQUIRE(sampled.which.links == true_one.which.links);
    CHECK(sampled.title.rfind("about ", 0) == 0);
    CHECK(sampled.spread.find(" of the sample") != std::string::npos);
    CHECK(sampled.symptoms.find(" about ") != std::string::npos);
    // Within four standard deviations of what drawing one in so many gives, and a sixth for good measure.
    const auto close = [&](std::uint64_t scaled, std::uint64_t number) {
      const double off = 4 * std::sqrt(static_cast<double>(number * one_in)) + static_cast<double>(one_in);
      return std::abs(static_cast<double>(scaled) - static_cast<double>(number)) < off;
    };
    CHECK(close(sampled.failures, true_one.failures));
    const auto scaled = numbers_in(sampled.title);
    const auto right = numbers_in(true_one.title);
    REQUIRE_FALSE(scaled.empty());
    CHECK(close(scaled.front(), right.front()));
    const auto by_symptom = numbers_in(sampled.symptoms);
    CHECK(by_symptom.size() >= 1);
    std::uint64_t sum = 0;
    for (const auto number : by_symptom) sum += number;
    CHECK(sum == sampled.failures);
  }
  // Read through: a number is a total that is told of the whole as well, or says "about", or its sentence is of the
  // sample.
  std::vector<std::uint64_t> totals;
  for (const auto& sentence : all_sentences(whole.explanation)) {
    for (const auto number : numbers_in(sentence)) totals.push_back(number);
  }
  bool named = false;
  for (auto sentence : all_sentences(part.explanation)) {
    CAPTURE(sentence);
    if (sentence.find("sample") != std::string::npos) {
      named = true;
      for (const auto number : numbers_in(sentence)) CHECK(number <= evidence.incidents.size());
      continue;
    }
    for (auto at = sentence.find("about "); at != std::string::npos; at = sentence.find("about ", at)) {
      sentence.erase(at, sentence.find_first_not_of("0123456789,", at + 6) - at);
    }
    for (const auto number : numbers_in(sentence)) {
      CAPTURE(number);
      CHECK(std::find(totals.begin(), totals.end(), number) != totals.end());
    }
  }
  CHECK(named);
  for (const auto& sentence : all_sentences(whole.explanation)) {
    CAPTURE(sentence);
    CHECK(sentence.find("sample") == std::string::npos);
    CHECK(sentence.find("about ") != 0);
  }
}

TEST_CASE("a share of fewer than ten tries makes no headline") {
  for (const std::uint64_t exchanges : {1U, 4U, 40U}) {
    const Told told(1'000'000, exchanges);
    const auto& evidence = told.fold.evidence();
    CAPTURE(evidence.tries, told.explanation.headline);
    CHECK((told.explanation.headline.find('%') != std::string::npos) == (evidence.tries >= 10));
    CHECK(told.explanation.headline.find(" failed") != std::string::npos);
  }
}
