// Bursts of failures: exchanges that were not answered, one right after another in the order in which they closed.
#pragma once

#include <array>
#include <cstdint>
#include <optional>

#include "base/time.h"

namespace hopbench {

/// Some exchanges (all, or those with one node) as bursts. Parts of one run can be joined: a burst that goes on across
/// the border is one burst.
struct BurstMeasures {
  struct Burst {
    std::uint64_t length = 0;  // exchanges
    Nanos from = 0;            // start of its first exchange
    friend bool operator==(const Burst&, const Burst&) = default;
  };
  struct Longest {
    std::uint64_t length = 0;  // exchanges; after minus(): at most
    Nanos from = 0;            // start of its first exchange
    bool from_known = true;    // false after minus(), if it may have been before
    std::uint32_t run = 0;     // which of the runs that were merged, from 0
    friend bool operator==(const Longest&, const Longest&) = default;
  };
  /// Of how many exchanges: 1, 2, 3-4, 5-8, ..., and in the last 16385 or more.
  using Lengths = std::array<std::uint64_t, 16>;

  bool broken = false;  // an answered one came
  Burst head;           // failures before the first answered one
  Burst tail;           // failures since the last answered one; empty if none came
  Lengths closed{};     // bursts with an answered one before and after
  Longest longest;      // of those

  void answered() {
    if (tail.length > 0) close_tail();
    broken = true;
  }
  void failed(Nanos start) {
    auto& burst = broken ? tail : head;
    if (burst.length++ == 0) burst.from = start;
  }
  /// What came right after this in the same run.
  void append(const BurstMeasures& next);
  /// Closes the bursts at both ends: nothing will be joined to them.
  void close_ends();
  /// Another run; the ends of both are closed. Its runs get numbers after these `runs`.
  void merge(BurstMeasures other, std::uint32_t runs);
  /// Takes away an earlier state of this. A burst that was under way then is told whole, as one of what came after.
  void minus(const BurstMeasures& earlier);

  // Bursts at the ends, and one that still goes on, count like all others.
  [[nodiscard]] std::uint64_t count() const;
  [[nodiscard]] Lengths lengths() const;
  /// The first of the longest ones; none without failures.
  [[nodiscard]] std::optional<Longest> longest_of_all() const;
  /// Shortest and longest burst of a place in Lengths.
  static std::uint64_t shortest_in(std::size_t place);
  static std::uint64_t longest_in(std::size_t place);

  friend bool operator==(const BurstMeasures&, const BurstMeasures&) = default;

 private:
  void close(const Burst& burst);
  void close_tail();
  void end_head();  // what is still going on becomes the tail
};

}  // namespace hopbench
