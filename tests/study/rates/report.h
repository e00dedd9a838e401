// Many cases, judged on all cores, as a table.
#pragma once

#include <cstdint>
#include <optional>
#include <string>
#include <vector>

#include "judge.h"

namespace hopbench::rates {

struct Wish {
  std::uint64_t from = 1;
  std::uint64_t cases = 100;
  unsigned threads = 1;
  bool hops = true;  // seats from which it is judged
  bool controller = true;
  Effort effort = Effort::quick;
  std::string only;  // name of the one plant that is hidden; empty: any
  std::string keep;  // folder for drawn scenarios, so that they need not be drawn again; empty: none
};

/// One case from both seats.
struct Judged {
  CaseJudgement hops;
  CaseJudgement controller;
  HiddenCase hidden;
  bool drawn = false;   // false: no drawing of this seed came to anything
  std::string trouble;  // it could not be run
};

/// In order of seeds, the same whatever the number of threads.
std::vector<Judged> judged_cases(const Wish& wish);
/// The case of a seed, from the folder if it is there, else drawn and put there.
std::optional<HiddenCase> kept_case(std::uint64_t seed, const std::string& only, const std::string& keep);

/// Markdown.
std::string hops_table(const std::vector<Judged>& cases);
std::string controller_table(const std::vector<Judged>& cases);
/// A paragraph for each case that is not right.
std::string list_of(const std::vector<Judged>& cases, Eyes eyes);

}  // namespace hopbench::rates
