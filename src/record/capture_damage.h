// What is amiss with a capture.
#pragma once

#include <cstdint>
#include <optional>

namespace hopbench {

/// Up to where it has been read, over all its segments.
struct CaptureDamage {
  std::uint64_t bytes_skipped = 0;       // in the middle; none of them gave a record
  std::uint64_t records_missing = 0;     // at least; those after the last good block header cannot be counted
  std::uint64_t torn_bytes = 0;          // a last write that did not get through whole: normal after a crash
  std::uint64_t torn_before = 0;         // of these, in files that another follows: they stay
  std::uint64_t segments_missing = 0;    // files that must have been there, and are not, or hold nothing of this run
  std::uint64_t segments_misplaced = 0;  // files that hold another part of the run than their place says; not read
  std::uint64_t segments_cut = 0;        // files that break off although the next one goes on after them
  std::optional<std::uint32_t> first_bad_segment;  // number of the first of all these
  std::uint64_t causes_unreadable = 0;  // exchanges whose causes, which only a simulation knows, cannot be read
  bool unclosed = true;                 // no end: still growing, or its writer did not get to end it
  bool goes_on = false;                 // unclosed, for its last file says that the run goes on in another
  bool sum_disagrees = false;           // every fragment is good, yet they are not those that were written
  bool newer = false;                   // written by a newer version than this code can read

  [[nodiscard]] std::uint64_t bad_segments() const { return segments_missing + segments_misplaced + segments_cut; }
  [[nodiscard]] bool in_the_middle() const {
    return bytes_skipped > 0 || records_missing > 0 || bad_segments() > 0 || causes_unreadable > 0 || sum_disagrees ||
           newer;
  }
  /// Adds what was found further on: its end is the end of both.
  void add(const CaptureDamage& later);
  friend bool operator==(const CaptureDamage&, const CaptureDamage&) = default;
};

}  // namespace hopbench
