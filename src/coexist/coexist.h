// Whether a new kind of node can share chains with old ones: each promise tried in every arrangement that matters, and
// for each breach the smallest chain that shows it.
#pragma once

#include <array>
#include <cstdint>
#include <functional>
#include <optional>
#include <string>
#include <vector>

#include "coexist/arrangements.h"
#include "coexist/promise.h"
#include "coexist/trial.h"
#include "work/workers.h"

namespace hopbench {

struct CoexistPlan {
  OrderBounds bounds;
  std::vector<PromiseNumber> promises;  // empty: all
  std::optional<KindOrder> only;        // this order alone
};

/// A promise in the orders of one class.
struct CoexistCell {
  std::uint64_t tried = 0;  // trials with something to try
  std::uint64_t broken = 0;
};

struct Breach {
  PromiseNumber promise = PromiseNumber::old_answers;  // that was tried; of `balancing` the one that failed with it
  KindOrder order;                                     // the smallest chain found
  bool balancing = false;                              // every cell was bled meanwhile
  std::string chain;                                   // its nodes in words
  std::string sentence;                                // what goes wrong there
};

struct PromiseFinding {
  PromiseNumber promise = PromiseNumber::old_answers;
  std::string not_tried;  // why it was not tried at all; or empty
  std::array<CoexistCell, order_class_count> by_class{};
  TrialCounts counts;
  std::optional<Breach> breach;      // the first, in the order of trying, that needs a new node
  std::optional<Breach> old_breach;  // the first that comes without new nodes as well: not the new kind's doing
  std::string note;                  // of the chain for which it says most; or empty
  Nanos note_weight = 0;

  [[nodiscard]] bool broken() const { return breach.has_value(); }
  [[nodiscard]] std::uint64_t tried() const;
};

struct Coexistence {
  bool stopped = false;                  // the rest means nothing then
  std::uint64_t orders = 0;              // tried
  std::uint64_t possible = 0;            // of that length and shorter
  std::size_t longest = 0;               // nodes
  std::uint64_t trials = 0;              // those made while reducing apart
  std::vector<PromiseFinding> promises;  // in order of their numbers

  /// A promise was broken that without new nodes is not.
  [[nodiscard]] bool broken() const;
  /// Any promise was tried in any chain.
  [[nodiscard]] bool tried() const;
};

/// The result does not depend on the number of workers. `stop` is asked from any thread; `progress` may be empty.
Coexistence coexistence(const TrialGround& ground, const CoexistPlan& plan, Workers& workers, const StopAsked& stop,
                        const Workers::Progress& progress);

}  // namespace hopbench
