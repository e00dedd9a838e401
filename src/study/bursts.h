// How failed tries follow one another: lengths of runs of them in the order in which they were asked, and the longest
// times without a good answer. All that is said of bursts comes from here.
#pragma once

#include <array>
#include <cstdint>
#include <vector>

#include "base/time.h"
#include "study/ending.h"
#include "study/first_tries.h"

namespace hopbench {

/// From one good answer to the next one, or from where the capture or a gap in it begins, or to where it ends.
struct Stretch {
  Nanos from = 0;
  Nanos until = 0;
  std::uint64_t failed = 0;  // tries, of those that were asked meanwhile
  [[nodiscard]] Nanos length() const { return until - from; }
};

/// Runs of tries that failed one after another.
struct RunLengths {
  static constexpr std::size_t places = 32;
  std::array<std::uint64_t, places> failures{};  // by length of the run that they are in: 1, 2 to 3, 4 to 7, ...
  std::uint64_t runs = 0;                        // that hold any
  std::uint64_t longest = 0;                     // tries
  Nanos longest_from = 0;                        // start of its first and of its last try
  Nanos longest_until = 0;

  void add(std::uint64_t length, std::uint64_t failed, Nanos from, Nanos until);
  void add(const RunLengths& other);
  [[nodiscard]] std::uint64_t total() const;
  [[nodiscard]] std::uint64_t alone() const { return failures[0]; }
  /// Failures in runs at least this long, a power of two.
  [[nodiscard]] std::uint64_t from_length(std::uint64_t length) const;
};

struct Bursts {
  /// By ending: runs of tries with any node that failed in any way, and how many of each ending are in them.
  std::array<RunLengths, ending_count> all{};
  /// The same of runs among tries with one node; over all nodes.
  std::array<RunLengths, ending_count> with_node{};
  Stretch longest;                // without a good answer from any node, if any try failed in it
  std::vector<Stretch> of_nodes;  // the same by node
  FirstTries first_tries;
};

/// Counts tries as exchanges are told. Exchanges may close in another order than they were asked in.
class BurstFold {
 public:
  void begin(std::size_t nodes, std::size_t entries);
  /// A try, as far as it is known before what became of it.
  struct Asked {
    std::uint64_t number = 0;  // of its exchange
    std::uint32_t entry = 0;
    std::uint32_t weight = 1;  // of exchanges that it stands for
    std::uint16_t node = no_station;
    std::uint8_t attempt = 0;
    Nanos start = 0;
  };
  void failed(const Asked& asked, Ending ending);
  /// `good`: when the answer had come.
  void answered(const Asked& asked, Nanos good);
  /// Something is missing here, or stands as a sum.
  void cut(Nanos from, Nanos to);
  void end(Nanos until);
  void said(std::uint32_t entry, std::size_t ask, std::size_t answer) { bursts_.first_tries.said(entry, ask, answer); }
  [[nodiscard]] const Bursts& bursts() const { return bursts_; }

 private:
  /// Exchanges that may be open at once; a window for late answers is longer than few of them.
  static constexpr std::size_t most_pending = 256;
  struct Try {
    Asked asked;
    bool good = false;
    Ending ending = Ending::no_answer;
    Nanos until = 0;  // good: when the answer had come
  };
  struct Run {
    std::array<std::uint64_t, ending_count> failed{};
    std::uint64_t length = 0;
    Nanos from = 0;
    Nanos until = 0;
  };
  struct Waiting {
    Run run;
    Stretch stretch;
    bool begun = false;
  };

  void take(const Try& one);
  void count(const Try& one);
  void flush();
  static void close(Waiting& waiting, std::array<RunLengths, ending_count>& lengths);
  static void keep(Waiting& waiting, Nanos until, Stretch& longest);

  Bursts bursts_;
  std::vector<Try> pending_;  // in the order of asking
  Waiting any_;
  std::vector<Waiting> node_;
  Nanos seen_ = 0;
};

}  // namespace hopbench
