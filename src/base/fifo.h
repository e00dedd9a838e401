// First in, first out, in one piece of memory that is kept: once it has been as long as it gets, nothing is allocated
// any more. (A std::deque takes and gives back a block for every so many values that pass through it.)
#pragma once

#include <cstddef>
#include <utility>
#include <vector>

namespace hopbench {

template <class T>
class Fifo {
 public:
  using iterator = typename std::vector<T>::iterator;

  [[nodiscard]] bool empty() const { return begin_ == values_.size(); }
  [[nodiscard]] std::size_t size() const { return values_.size() - begin_; }
  [[nodiscard]] T& front() { return values_[begin_]; }
  [[nodiscard]] T& back() { return values_.back(); }
  [[nodiscard]] iterator begin() { return values_.begin() + static_cast<std::ptrdiff_t>(begin_); }
  [[nodiscard]] iterator end() { return values_.end(); }

  void push_back(T value) {
    // The places of values that are gone are used again as soon as they are half of all.
    if (values_.size() == values_.capacity() && 2 * begin_ >= values_.size() && begin_ > 0) close_up();
    values_.push_back(std::move(value));
  }
  void pop_front() { erase(begin()); }
  void erase(iterator place) {
    if (place != begin()) {
      values_.erase(place);
      return;
    }
    *place = T{};
    if (++begin_ == values_.size()) close_up();
  }

 private:
  void close_up() {
    values_.erase(values_.begin(), begin());
    begin_ = 0;
  }

  std::vector<T> values_;
  std::size_t begin_ = 0;
};

}  // namespace hopbench
