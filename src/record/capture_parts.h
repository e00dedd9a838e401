// A capture cut to a span of time, and such parts put together again.
#pragma once

#include <cstdint>
#include <limits>
#include <string>
#include <vector>

#include "record/capture_reader.h"

namespace hopbench {

/// What came of making a capture from others.
struct Copied {
  std::uint64_t records = 0;         // in it, head, build and end left out
  std::uint64_t repeated = 0;        // that were in two parts, and were taken once
  std::vector<std::string> remarks;  // what whoever asked for it should know, a sentence each
  CaptureDamage damage;              // of what was read, all together
  bool incomplete = false;           // a stretch of the run is in none of the parts: a remark says which
  enum class Trouble : std::uint8_t { none, bad_input, file } trouble = Trouble::none;
  std::string why;  // of the trouble; then nothing was made
};

/// From `from` on, until before `to`. A record belongs where the exchange or tally after which it comes does; these
/// belong where they are closed. So spans that meet share no record and miss none.
struct CutSpan {
  Nanos from = std::numeric_limits<Nanos>::min();
  Nanos to = std::numeric_limits<Nanos>::max();
};

/// Makes `out` from the span of the capture at `path`, with all its files. Records are copied as they are. What lies
/// before is told of in a record that says `cut`, so that nobody takes it for silence.
Copied cut_capture(const std::string& path, const std::string& out, const CutSpan& span);

/// Makes `out` from parts of one run, in the order of the run: files of a capture in several, or cuts of it. One path
/// alone stands for all files of that capture. Parts may overlap. Files of one capture that follow each other are held
/// against each other as where they lie side by side. A file that is named twice, by whatever names, is taken once.
Copied join_captures(const std::string& out, const std::vector<std::string>& paths);

/// What a Dropped record says that stands for what a cut left out.
inline constexpr const char* cut_reason = "cut";

}  // namespace hopbench
