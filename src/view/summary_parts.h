// The parts of a summary's text that have files of their own.
#pragma once

#include <cstddef>
#include <cstdint>
#include <optional>
#include <string>
#include <vector>

#include "view/run_summary.h"

namespace hopbench {

/// A table of so many rows or fewer shows each, whatever it is of.
inline constexpr std::size_t rows_never_folded = 8;

/// A row for each hop; neighbours that are not among the worst share one, unless the style wants all. `worst`: the one
/// to mark.
std::string hop_table(const Summary& summary, std::optional<std::size_t> worst, const TableStyle& style);

/// Round trips and failures by node, those that failed most first; the others share a row, unless the style wants all.
std::string node_table(const Summary& summary, const TableStyle& style);

/// What is amiss with the capture, and how well the run was covered; empty if there is nothing to say.
std::string trouble_text(const Summary& summary);

/// Lost frames of the link.
inline std::uint64_t lost(const LinkMeasures& link) { return link.frames_in - link.frames_out; }

/// Share of the time seen in which frames were on the link, 0..1. A frame that was not heard well counts as long as
/// those that were did on average, which is known to within 0.4 % of itself. None if no frame was heard well.
std::optional<double> used_share(const Summary& summary, const LinkMeasures& link);

/// Behind so many of something.
inline const char* are(std::uint64_t number) { return number == 1 ? "is" : "are"; }
inline const char* were(std::uint64_t number) { return number == 1 ? "was" : "were"; }

/// "a, b, c".
std::string listed(const std::vector<std::string>& parts);

}  // namespace hopbench
