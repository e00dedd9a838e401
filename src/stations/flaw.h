// A mistake in the design of a node, to try a test against: what it does otherwise than a sound node, and what it
// remembers for that. Which mistake is what: proto/scenario.proto, message Flaw.
#pragma once

#include <cstdint>
#include <optional>
#include <vector>

#include "base/archive.h"
#include "base/time.h"
#include "bus/protocol.h"
#include "scenario/description.h"

namespace hopbench {

/// An exchange with such a node may not be told again from a recording: what it answers hangs on its number, on the
/// answer before, or on values that are not those of the cells asked for.
[[nodiscard]] bool spoils_answers(Flaw mistake);

class DesignFlaw {
 public:
  /// Both must outlive it.
  DesignFlaw(const FlawSpec& spec, const Protocol& protocol);

  [[nodiscard]] bool any() const { return spec_->mistake != Flaw::none; }
  [[nodiscard]] bool is(Flaw mistake) const { return spec_->mistake == mistake; }
  /// What it does again it does so much later.
  [[nodiscard]] Nanos again_after() const { return spec_->after; }

  /// The address that a node which was given this one goes by.
  [[nodiscard]] std::uint64_t kept_address(std::uint64_t given) const;
  /// It does not pass frames of this topic on.
  [[nodiscard]] bool forgets(const Frame& frame) const;
  /// A frame that it would pass on, as it is now, and its bytes as it passes them on; none if these are what they
  /// should be.
  [[nodiscard]] std::optional<Content> rewritten(const Frame& frame) const;
  /// A good frame that hangs it.
  [[nodiscard]] bool chokes_on(const Frame& frame) const;
  /// Names the answer to `ask` as it would. Returns whether that is otherwise than it should.
  bool misname(Frame& answer, const Frame& ask);

  /// The voltages of all its cells that it measured for its last answer.
  struct Snapshot {
    Nanos taken_at = never;  // never: none since it was set up or reset
    std::vector<std::int64_t> cell_uv;
  };
  [[nodiscard]] const Snapshot& snapshot() const { return snapshot_; }
  void take(Snapshot snapshot) { snapshot_ = std::move(snapshot); }

  [[nodiscard]] bool hung() const { return hung_; }
  void hang() { hung_ = true; }
  /// It begins anew.
  void reset();
  void keep(Archive& archive);

 private:
  const FlawSpec* spec_;
  const Protocol* protocol_;
  std::optional<std::uint32_t> topic_;            // forgotten
  std::optional<std::uint64_t> own_value_;        // of the field that it rewrites
  std::size_t field_ = 0;                         // and its place in a frame
  std::optional<std::uint64_t> number_answered_;  // last
  Snapshot snapshot_;
  bool hung_ = false;
};

}  // namespace hopbench
