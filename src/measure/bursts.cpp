#include "measure/bursts.h"

#include <algorithm>
#include <bit>
#include <limits>

namespace hopbench {
namespace {

std::size_t place_of(std::uint64_t length) {
  return std::min<std::size_t>(static_cast<std::size_t>(std::bit_width(length - 1)),
                               BurstMeasures::Lengths{}.size() - 1);
}

}  // namespace

std::uint64_t BurstMeasures::shortest_in(std::size_t place) {
  return place == 0 ? 1 : (std::uint64_t{1} << (place - 1)) + 1;
}

std::uint64_t BurstMeasures::longest_in(std::size_t place) {
  return place + 1 >= Lengths{}.size() ? std::numeric_limits<std::uint64_t>::max() : std::uint64_t{1} << place;
}

void BurstMeasures::close(const Burst& burst) {
  if (burst.length == 0) return;
  ++closed[place_of(burst.length)];
  if (burst.length > longest.length) longest = {burst.length, burst.from, true, 0};
}

void BurstMeasures::close_tail() {
  close(tail);
  tail = {};
}

void BurstMeasures::append(const BurstMeasures& next) {
  auto& end = broken ? tail : head;
  if (end.length == 0) end.from = next.head.from;
  end.length += next.head.length;
  if (!next.broken) return;
  if (broken) close_tail();
  broken = true;
  for (std::size_t i = 0; i < closed.size(); ++i) closed[i] += next.closed[i];
  if (next.longest.length > longest.length) longest = next.longest;
  tail = next.tail;
}

void BurstMeasures::end_head() {
  if (!broken) {
    tail = head;
    broken = true;
  } else if (head.length > 0) {
    ++closed[place_of(head.length)];
    // It came before all others: of equals, the first is told.
    if (head.length >= longest.length) longest = {head.length, head.from, true, 0};
  }
  head = {};
}

void BurstMeasures::close_ends() {
  end_head();
  close_tail();
}

void BurstMeasures::merge(BurstMeasures other, std::uint32_t runs) {
  close_ends();
  other.close_ends();
  for (std::size_t i = 0; i < closed.size(); ++i) closed[i] += other.closed[i];
  if (other.longest.length <= longest.length) return;
  longest = other.longest;
  longest.run += runs;
}

void BurstMeasures::minus(const BurstMeasures& earlier) {
  BurstMeasures before = earlier;
  before.end_head();
  end_head();
  // An answered exchange would have closed it: a burst that is as long as it was has seen nothing since.
  if (closed == before.closed && tail.length <= before.tail.length) tail = {};
  std::optional<std::size_t> highest;
  for (std::size_t i = 0; i < closed.size(); ++i) {
    closed[i] -= std::min(closed[i], before.closed[i]);
    if (closed[i] > 0) highest = i;
  }
  if (!highest) {
    longest = {};
  } else if (longest.length <= before.longest.length) {
    // Perhaps that of before: the bucket says how long it can be at most.
    longest = {std::min(longest.length, longest_in(*highest)), 0, false, longest.run};
  }
}

BurstMeasures::Lengths BurstMeasures::lengths() const {
  Lengths all = closed;
  for (const auto& burst : {head, tail}) {
    if (burst.length > 0) ++all[place_of(burst.length)];
  }
  return all;
}

std::uint64_t BurstMeasures::count() const {
  std::uint64_t sum = 0;
  for (const auto count : lengths()) sum += count;
  return sum;
}

std::optional<BurstMeasures::Longest> BurstMeasures::longest_of_all() const {
  BurstMeasures all = *this;
  all.close_ends();
  if (all.longest.length == 0) return std::nullopt;
  return all.longest;
}

}  // namespace hopbench
