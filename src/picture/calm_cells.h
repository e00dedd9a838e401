// Counts of many cells of which nearly all hold nothing but one number: that takes four bytes a cell, the rest is kept
// only where there is any.
#pragma once

#include <algorithm>
#include <cstdint>
#include <utility>
#include <vector>

namespace hopbench {

/// A count that stops at its largest value.
inline void raise(std::uint32_t& count, std::uint64_t by) {
  count = static_cast<std::uint32_t>(std::min<std::uint64_t>(count + std::min<std::uint64_t>(by, ~0U), ~0U));
}

/// `Cell` has a reference `usual()` to its one number, `add(other)`, and `is_usual()`: nothing but that number.
template <class Cell>
class CalmCells {
 public:
  [[nodiscard]] std::size_t size() const { return usual_.size(); }
  void resize(std::size_t size) { usual_.resize(size); }

  [[nodiscard]] Cell operator[](std::size_t index) const {
    const auto found = find(index);
    Cell cell = found != others_.end() && found->first == index ? found->second : Cell{};
    cell.usual() = usual_[index];
    return cell;
  }
  void set(std::size_t index, Cell cell) {
    usual_[index] = std::exchange(cell.usual(), 0);
    std::erase_if(others_, [&](const auto& entry) { return entry.first == index; });
    if (!cell.is_usual()) other(index) = cell;
  }
  /// More of the one number.
  void raise_usual(std::size_t index, std::uint64_t by) { raise(usual_[index], by); }
  /// What is to be counted beside it, whose usual() is not looked at.
  Cell& other(std::size_t index) {
    auto found = others_.begin() + (find(index) - others_.cbegin());
    if (found == others_.end() || found->first != index) {
      found = others_.insert(found, {static_cast<std::uint16_t>(index), Cell{}});
    }
    return found->second;
  }
  void add(const CalmCells& more) {
    if (usual_.size() < more.usual_.size()) usual_.resize(more.usual_.size());
    for (std::size_t i = 0; i < more.usual_.size(); ++i) {
      const std::uint32_t sum = usual_[i] + more.usual_[i];
      usual_[i] = sum < more.usual_[i] ? ~0U : sum;
    }
    for (const auto& [index, cell] : more.others_) other(index).add(cell);
  }
  friend bool operator==(const CalmCells&, const CalmCells&) = default;

 private:
  using Others = std::vector<std::pair<std::uint16_t, Cell>>;
  [[nodiscard]] typename Others::const_iterator find(std::size_t index) const {
    return std::lower_bound(others_.begin(), others_.end(), index,
                            [](const auto& entry, std::size_t wanted) { return entry.first < wanted; });
  }
  std::vector<std::uint32_t> usual_;
  Others others_;  // by index
};

}  // namespace hopbench
