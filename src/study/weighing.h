// The scales on which a case's candidates are weighed. Inner part of the signatures.
#pragma once

#include <string>
#include <utility>
#include <vector>

#include "study/candidate.h"
#include "study/case_facts.h"
#include "study/words.h"

namespace hopbench {

/// Points for and against one mechanism, and the sentence that goes with it.
class Weighing {
 public:
  Weighing(const Evidence& evidence, const Case& which, const CaseFacts& facts, std::vector<Candidate>& out)
      : evidence_(evidence), which_(which), facts_(facts), out_(out) {}

  void weigh(Mechanism mechanism, double points, std::string why) {
    // Who puts in faults says so.
    if (mechanism == Mechanism::injected && evidence_.run.faults.empty()) return;
    if (points <= 0) return;
    for (auto& other : out_) {
      if (other.mechanism != mechanism) continue;
      if (points > other.score) other = {mechanism, points, std::move(why), {}, 0, {}};
      return;
    }
    out_.push_back({mechanism, points, std::move(why), {}, 0, {}});
  }
  [[nodiscard]] const CaseFacts& f() const { return facts_; }
  [[nodiscard]] const Evidence& e() const { return evidence_; }
  [[nodiscard]] const Case& c() const { return which_; }
  [[nodiscard]] std::string where() const { return words::place(evidence_, which_); }

 private:
  const Evidence& evidence_;
  const Case& which_;
  const CaseFacts& facts_;
  std::vector<Candidate>& out_;
};

/// How many of the first candidates cannot be told apart: those within a point of the best.
std::size_t tied_at_top(const std::vector<Candidate>& candidates);

/// What counts against mechanisms that no condition matters to, and that leave some frames whole.
/// Share of a link's frames lost that chance alone never comes to.
inline constexpr double always = 0.97;
double conditions_matter(const CaseFacts& facts);
/// Points for a mechanism that hangs on a condition.
double effect_points(const Effect& effect);
/// Whether it does, in words. `what`: the condition; `others`: what was held equal.
std::string effect_words(const Effect& effect, const char* what, const char* others);

/// The signatures, by what went wrong. Each puts what it finds on the scales.
void weigh_restarts(Weighing& scale);
void weigh_station(Weighing& scale);  // everything else that happens at a station

}  // namespace hopbench
