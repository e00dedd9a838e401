// Things that are compared, and what is true of them, as rows of bits: one bit a thing, one row a trait. Weighed
// counts of rows laid over each other are what a search for subgroups is made of.
#pragma once

#include <cstdint>
#include <span>
#include <utility>
#include <vector>

namespace hopbench {

/// One of the things that are compared.
struct Compared {
  bool hit = false;          // one of those to be set apart from the others
  bool held_out = false;     // in the half that is not searched, on which is tested what the search found
  double weight = 1;         // how many such things it stands for, above 0
  std::uint32_t bunch = 0;   // hits of one bunch may be one event, and count as one trial
  std::uint32_t block = 0;   // of time: what changes slowly is one trial within it
  std::uint32_t window = 0;  // of time, so short that what changes slowly is the same for all items in it
};

/// What is true of some items.
struct Trait {
  std::uint32_t facet = 0;  // traits of one facet are answers to one question
  std::uint32_t rank = 0;   // of about equal descriptions that of the lower rank is told
  std::uint32_t kin = 0;    // not 0: of all with this number a description has one at most
  bool slow = false;        // it changes slowly in time, so that items near each other are no trials of their own
};

using Bits = std::vector<std::uint64_t>;

/// Hits and others, by weight.
struct Sides {
  double hits = 0;
  double others = 0;
};

class BitTable {
 public:
  /// In order of time. Keeps them.
  explicit BitTable(std::vector<Compared> items);

  /// The index of the new trait. `holds`: whether the item with this index has it.
  template <typename Holds>
  std::uint32_t add(const Trait& trait, Holds holds) {
    Bits bits(all_.size(), 0);
    for (std::size_t i = 0; i < items_.size(); ++i) {
      if (holds(i)) bits[place_[i] / 64] |= std::uint64_t{1} << (place_[i] % 64);
    }
    traits_.push_back(trait);
    bits_.push_back(std::move(bits));
    return static_cast<std::uint32_t>(traits_.size() - 1);
  }

  [[nodiscard]] const std::vector<Compared>& items() const { return items_; }
  [[nodiscard]] std::size_t traits() const { return traits_.size(); }
  [[nodiscard]] const Trait& trait(std::uint32_t index) const { return traits_[index]; }
  [[nodiscard]] const Bits& bits(std::uint32_t index) const { return bits_[index]; }
  [[nodiscard]] bool holds(const Bits& bits, std::size_t item) const {
    return (bits[place_[item] / 64] >> (place_[item] % 64) & 1U) != 0;
  }
  void clear(Bits& bits, std::size_t item) const {
    bits[place_[item] / 64] &= ~(std::uint64_t{1} << (place_[item] % 64));
  }
  /// Every item.
  [[nodiscard]] const Bits& all() const { return all_; }
  /// Items that have all these traits.
  [[nodiscard]] Bits all_of(std::span<const std::uint32_t> traits) const;
  /// Items in both, of the half that is searched or the one that is held out.
  [[nodiscard]] Sides count(const Bits& a, const Bits& b, bool held_out) const;

 private:
  /// Words that hold items of one kind and weight only.
  struct Stretch {
    std::size_t first = 0;
    std::size_t last = 0;  // not in it
    double weight = 1;
    bool hit = false;
    bool held_out = false;
  };

  std::vector<Compared> items_;
  std::vector<std::size_t> place_;  // bit of each item
  std::vector<Stretch> stretches_;
  std::vector<Trait> traits_;
  std::vector<Bits> bits_;
  Bits all_;
};

}  // namespace hopbench
