// What `hopbench coexist` has found: as text for people, as JSON, and as reports for programs that collect tests.
#pragma once

#include <cstdint>
#include <string>
#include <vector>

#include "coexist/coexist.h"

namespace hopbench {

struct CoexistReport {
  const Coexistence& found;
  std::string scenario;  // its name
  std::uint64_t seed = 0;
  std::vector<std::string> kinds;  // names, by KindOrder's numbers: the new one first
  std::string asked_as;            // kind in whose way the new one is asked; empty: the plan asks it itself
  std::string command;             // that repeats a breach, up to the promise: "hopbench coexist FILE --new block"
};

/// "coexist FILE --new block --promise passes-on --order solo1,block"
std::string command_of(const CoexistReport& report, const Breach& breach);

std::string coexist_text(const CoexistReport& report);
/// One document with a line end.
std::string coexist_json(const CoexistReport& report);
/// A test suite with a case for each promise in each class of orders, as programs read it that show what tests came to
/// (JUnit's XML, as its readers take it; there is no standard).
std::string coexist_junit(const CoexistReport& report);
/// The same as Test Anything Protocol, version 13.
std::string coexist_tap(const CoexistReport& report);

}  // namespace hopbench
