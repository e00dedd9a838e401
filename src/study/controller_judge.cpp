#include "study/controller_judge.h"

#include <fmt/format.h>

#include <algorithm>
#include <boost/math/distributions/binomial.hpp>
#include <cmath>
#include <optional>

#include "study/words.h"

namespace hopbench {
namespace {

constexpr double margin = 0.05;     // of a share, on top of what runs left
constexpr double least_known = 10;  // failures with a mark, for a share of it
constexpr double level = 0.001;
constexpr double about = 6;            // times as many or as few
constexpr std::size_t least_runs = 3;  // that left failures of the kind; fewer show too little of what it can do

struct Range {
  double low = 1;
  double high = 0;
  std::size_t runs = 0;
};

/// Shares with a mark over the runs that left enough failures of the kind, and about as many of all tries: what runs
/// leave in which far more or far fewer fail says nothing of bursts.
Range range_of(const std::vector<Left>& runs, const Leavings& seen, Family family, std::size_t mark) {
  Range range;
  for (const Left& run : runs) {
    const auto found = run.by_family.find(family);
    if (found == run.by_family.end() || found->second.known[mark] < 3) continue;
    if (found->second.rate > about * seen.rate || found->second.rate * about < seen.rate) continue;
    const double n = found->second.known[mark];
    const double share = found->second.share[mark];
    const double off = 2 * std::sqrt(std::max(share * (1 - share), 1 / (n + 1)) / n);
    range.low = std::min(range.low, share - off);
    range.high = std::max(range.high, share + off);
    ++range.runs;
  }
  range.low = std::clamp(range.low, 0.0, 1.0);
  range.high = std::clamp(range.high, 0.0, 1.0);
  return range;
}

/// Chance of at least `hits` of `n`, at this share.
double tail(double hits, double n, double share) {
  if (hits <= 0) return 1;
  const boost::math::binomial_distribution<double> chance(n, std::clamp(share, 0.0, 1.0));
  return boost::math::cdf(boost::math::complement(chance, std::max(0.0, std::round(hits) - 1)));
}

std::string kind_of(Family family) {
  switch (family) {
    case Family::late:
      return "a reply after the time-out";
    case Family::refused:
      return "a refusal";
    case Family::mismatched:
      return "a reply to another request";
    case Family::truncated:
      return "a reply without all the values";
    case Family::wire:
      return "a damaged reply at the controller";
    case Family::unseen:
      return "a missing reply";
    case Family::no_room:
    case Family::swallowed:
    case Family::changed:
    case Family::ignored:
    case Family::bad_value:
    case Family::bad_ask:
    case Family::collided:
      break;
  }
  return "such a failure";
}

/// The mark by which a candidate fails, if any.
std::optional<Rejected> by_marks(Mechanism mechanism, const Leavings& seen, const std::vector<Left>& runs,
                                 Family family) {
  for (std::size_t i = 0; i < mark_count; ++i) {
    const double n = seen.known[i];
    if (n < least_known) continue;
    const auto range = range_of(runs, seen, family, i);
    if (range.runs < least_runs) continue;
    const double share = seen.share[i];
    // The rest may be of something else.
    const double most = std::min(1.0, (1 - least_part) + least_part * range.high + margin);
    const double least = std::max(0.0, least_part * range.low - margin);
    const auto mark = static_cast<Mark>(i);
    const auto text = [&](const char* limit, double of) {
      return fmt::format("{} of these failures {}; in its {} simulations on this chain {} {}", words::share(share),
                         phrase_of(mark), range.runs, limit, words::share(of));
    };
    if (share > most) {
      const double p = tail(share * n, n, most);
      if (p < level) return Rejected{mechanism, text("at most", range.high), p};
    }
    if (share < least) {
      const double p = tail((1 - share) * n, n, 1 - least);
      if (p < level) return Rejected{mechanism, text("at least", range.low), p};
    }
  }
  return std::nullopt;
}

double closeness(const Leavings& seen, const std::vector<Left>& runs, Family family, std::size_t& alike) {
  double best = 1e9;
  alike = 0;
  for (const Left& run : runs) {
    const auto found = run.by_family.find(family);
    if (found == run.by_family.end() || found->second.failures < 3) continue;
    double off = 0;
    for (std::size_t i = 0; i < mark_count; ++i) {
      if (seen.known[i] < least_known || found->second.known[i] < 3) continue;
      off = std::max(off, std::abs(seen.share[i] - found->second.share[i]));
    }
    best = std::min(best, off);
    if (off < 0.25) ++alike;
  }
  return best;
}

/// What is impossible for a mechanism on whatever chain.
std::optional<Rejected> impossible(Mechanism mechanism, const Leavings& seen, const Evidence& evidence) {
  const auto above = [&](Mark mark, const std::string& why) -> std::optional<Rejected> {
    const auto i = static_cast<std::size_t>(mark);
    const double n = seen.known[i];
    if (n < least_known || seen.share[i] <= 1 - least_part + margin) return std::nullopt;
    const double p = tail(seen.share[i] * n, n, 1 - least_part + margin);
    if (p >= level) return std::nullopt;
    return Rejected{mechanism,
                    fmt::format("{} of these failures {}: {}", words::share(seen.share[i]), phrase_of(mark), why), p};
  };
  const double rate =
      static_cast<double>(evidence.failures) / static_cast<double>(std::max<std::uint64_t>(1, evidence.tries));
  switch (mechanism) {
    case Mechanism::charger:
      return above(Mark::without_charge, "without it the charger makes no ripple");
    case Mechanism::bleed_edges:
      return above(Mark::without_bleed, "then nothing is chopped");
    case Mechanism::bit_noise:
      // Each try is hit by itself.
      if (rate < 0.2) return above(Mark::in_long_run, "single bits strike each try by itself");
      break;
    case Mechanism::cable:
      return above(Mark::alone, "an open cable lets nothing through for longer than one try");
    default:
      break;
  }
  return std::nullopt;
}

}  // namespace

bool can_leave(Mechanism mechanism, Family family) {
  if (mechanism == Mechanism::balancing) return false;
  switch (family) {
    case Family::late:
      return mechanism == Mechanism::measurement || mechanism == Mechanism::busy_node ||
             mechanism == Mechanism::controller || mechanism == Mechanism::injected;
    case Family::truncated:
      return mechanism == Mechanism::room || mechanism == Mechanism::injected;
    case Family::bad_ask:
      return mechanism == Mechanism::controller;
    default:
      return true;
  }
}

Judged judged_at_controller(const Evidence& evidence, const Case& which, const Reproduced* reproduced) {
  Judged out;
  const auto seen = trace_of(evidence, which);
  const bool ran = reproduced != nullptr && reproduced->runs > 0 && !reproduced->stopped;
  for (const Mechanism mechanism : mechanisms()) {
    if (mechanism == Mechanism::balancing) continue;
    // Who puts in faults says so. They may be anything.
    if (mechanism == Mechanism::injected) {
      if (evidence.run.faults.empty()) continue;
      out.candidates.push_back({mechanism, -1, "the run says that faults are put in on purpose", {}});
      continue;
    }
    const auto& runs = ran ? reproduced->left[static_cast<std::size_t>(mechanism)] : std::vector<Left>{};
    const auto left = static_cast<std::size_t>(
        std::count_if(runs.begin(), runs.end(), [&](const Left& run) { return run.by_family.contains(which.family); }));
    const auto struck = static_cast<std::size_t>(
        std::count_if(runs.begin(), runs.end(), [](const Left& run) { return !run.by_family.empty(); }));
    if (ran && left == 0 && (runs.empty() || struck >= least_runs || !can_leave(mechanism, which.family))) {
      out.rejected.push_back({mechanism,
                              runs.empty() ? std::string{"this chain cannot have it"}
                                           : fmt::format("none of its {} simulations on this chain left {}",
                                                         runs.size(), kind_of(which.family)),
                              0});
      continue;
    }
    if (!ran && !can_leave(mechanism, which.family)) {
      out.rejected.push_back({mechanism, fmt::format("it does not leave {}", kind_of(which.family)), 0});
      continue;
    }
    auto rejected = impossible(mechanism, seen, evidence);
    if (!rejected && ran) rejected = by_marks(mechanism, seen, runs, which.family);
    if (rejected) {
      out.rejected.push_back(std::move(*rejected));
      continue;
    }
    if (!ran || left == 0) {
      out.candidates.push_back({mechanism,
                                ran ? -1.0 : 0.0,
                                ran ? "its simulations on this chain left too few failures to reject it"
                                    : "nothing that was seen speaks against it",
                                {}});
      continue;
    }
    std::size_t alike = 0;
    const double off = closeness(seen, runs, which.family, alike);
    out.candidates.push_back({mechanism,
                              -off,
                              fmt::format("{} of its {} simulations on this chain leave such failures, {} of them much "
                                          "the same",
                                          left, runs.size(), alike),
                              {}});
  }
  std::stable_sort(out.candidates.begin(), out.candidates.end(),
                   [](const Candidate& a, const Candidate& b) { return a.score > b.score; });
  out.tied = out.candidates.size();
  return out;
}

}  // namespace hopbench
