// What a soak has to say on each requirement, and on all of them.
#pragma once

#include <cstdint>
#include <optional>
#include <span>

#include "base/archive.h"
#include "base/time.h"
#include "judge/limits.h"
#include "judge/sequential.h"
#include "soak/cells_unread.h"
#include "soak/stretches.h"
#include "text/requirement.h"

namespace hopbench {

/// A share cannot be accepted or rejected before the chain went through so many of its cycles (unless none at all is
/// acceptable: then the first hit rejects).
inline constexpr std::uint64_t least_cycles = 3;

/// Of fewer hits nobody can tell whether they are spread evenly over time.
inline constexpr std::uint64_t least_hits = 10;

/// What a decision on a share stands on.
struct Grounds {
  SoakCount counted;     // where the chain goes through cycles: in whole ones
  double together = 1;   // so many fail together on average, at most; what is assumed as long as none did
  bool bunched = false;  // hits were not independent of each other
  double few_runs = 1;   // chance of so few bursts, if they were
  double uneven = 1;     // chance of so uneven stretches, if they were; corrected for the lengths that were tried
  /// So many of the last stretches, one after the other, had at least the rejectable share.
  std::size_t lasting = 0;
  /// So many trials are worth one: 1 if they may be independent. 0: they are not, and what they are worth is not known
  /// yet.
  double worth = 1;

  [[nodiscard]] bool usable() const { return worth > 0; }
  [[nodiscard]] double hits() const { return static_cast<double>(counted.hits) / worth; }
  [[nodiscard]] double trials() const { return static_cast<double>(counted.trials) / worth; }
};

/// `so_far`: up to now; where there are cycles only what came up to the last border counts.
/// `bunch`: exchanges or frames that are assumed to fail together as long as too few did to tell.
Grounds grounds_of(const Stretches& stretches, std::size_t requirement, const SoakCount& so_far, std::uint32_t bunch,
                   double rejectable);

SharePlan share_plan(const Requirement& requirement);

/// A failure that does not end: all has been worse than rejectable for so long that a chain at the acceptable share
/// would not show it. (What bursts are worth says nothing of one that goes on.) A stretch of such a chain is at or
/// above the rejectable share with a chance of acceptable / rejectable at most (Markov's inequality); as many in a row,
/// wherever they end, with that to their number times the stretches there are.
bool lasts(const Stretches& stretches, const Grounds& grounds, const SharePlan& plan);

/// Decided once; what comes later changes nothing.
struct Decided {
  Ruling decision = Ruling::undecided;
  Nanos at = 0;
  SoakCount counted;  // then
  void keep(Archive& archive);
};

/// How one requirement stands.
struct RequirementState {
  /// Decided, and the 95 % interval of all that was counted since speaks against it.
  bool contradicted = false;
  /// Of a share: rejected because it does not end.
  bool lasting = false;
  Decided decided;
  Grounds grounds;                      // of a share
  std::optional<Share> share;           // with 95 % limits, from as many trials as they are worth
  std::optional<std::uint64_t> figure;  // of a limit: what it is compared with, in its unit; none: nothing to compare
  std::uint64_t of = 0;                 // of a limit on a number: among so many
  std::optional<CellsUnread> unread;    // of a limit on `unseen`: which cells, and when
};

/// Rejected if any is; accepted if all are.
Ruling verdict_of(std::span<const RequirementState> states);

}  // namespace hopbench
