#include "coexist/arrangements.h"

#include <algorithm>
#include <limits>
#include <set>

namespace hopbench {
namespace {

/// As many as there are, or the most that can be told.
std::uint64_t power(std::uint64_t base, std::size_t exponent) {
  std::uint64_t result = 1;
  for (std::size_t i = 0; i < exponent; ++i) {
    if (result > std::numeric_limits<std::uint64_t>::max() / base) return std::numeric_limits<std::uint64_t>::max();
    result *= base;
  }
  return result;
}

/// Which pairs of kinds stand at which pairs of places in some order.
class Covered {
 public:
  Covered(std::uint16_t kinds, std::size_t length)
      : kinds_(kinds), length_(length), pairs_(length * length * kinds * kinds, false) {}

  [[nodiscard]] bool has(std::size_t a, std::uint16_t kind_a, std::size_t b, std::uint16_t kind_b) const {
    return pairs_[at(a, kind_a, b, kind_b)];
  }
  void take(const KindOrder& order) {
    for (std::size_t b = 1; b < length_; ++b) {
      for (std::size_t a = 0; a < b; ++a) pairs_[at(a, order[a], b, order[b])] = true;
    }
  }
  /// Pairs that a kind at a place would add with what stands before it.
  [[nodiscard]] std::size_t gain(const KindOrder& before, std::uint16_t kind) const {
    std::size_t gain = 0;
    for (std::size_t a = 0; a < before.size(); ++a) gain += has(a, before[a], before.size(), kind) ? 0 : 1;
    return gain;
  }

 private:
  [[nodiscard]] std::size_t at(std::size_t a, std::uint16_t kind_a, std::size_t b, std::uint16_t kind_b) const {
    return ((a * length_ + b) * kinds_ + kind_a) * kinds_ + kind_b;
  }
  std::size_t kinds_;
  std::size_t length_;
  std::vector<bool> pairs_;
};

struct Pair {
  std::size_t a;
  std::uint16_t kind_a;
  std::size_t b;
  std::uint16_t kind_b;
};

std::vector<Pair> all_pairs(std::uint16_t kinds, std::size_t length) {
  std::vector<Pair> pairs;
  for (std::size_t b = 1; b < length; ++b) {
    for (std::size_t a = 0; a < b; ++a) {
      for (std::uint16_t i = 0; i < kinds; ++i) {
        for (std::uint16_t j = 0; j < kinds; ++j) pairs.push_back({a, i, b, j});
      }
    }
  }
  return pairs;
}

/// With this pair in it, and at every other place the kind that adds most; of equals by turns, so that places differ.
KindOrder order_with(const Pair& pair, const Covered& covered, std::uint16_t kinds, std::size_t length,
                     std::size_t turn) {
  KindOrder order;
  for (std::size_t place = 0; place < length; ++place) {
    if (place == pair.a || place == pair.b) {
      order.push_back(place == pair.a ? pair.kind_a : pair.kind_b);
      continue;
    }
    // The bits of the place tell which comes first: two places that differ in one get different columns.
    std::uint16_t best = 0;
    std::size_t most = 0;
    for (std::uint16_t i = 0; i < kinds; ++i) {
      const auto kind = static_cast<std::uint16_t>((i + (place >> turn % 6U)) % kinds);
      const std::size_t gain = covered.gain(order, kind);
      if (i > 0 && gain <= most) continue;
      best = kind;
      most = gain;
    }
    order.push_back(best);
  }
  return order;
}

/// Those that matter in a chain of this length.
void add_edges(std::vector<KindOrder>& orders, std::uint16_t kinds, std::size_t length) {
  for (std::uint16_t old = 1; old < kinds; ++old) orders.emplace_back(length, old);
  orders.emplace_back(length, new_kind);
  for (std::uint16_t old = 1; old < kinds; ++old) {
    for (std::size_t place = 0; place < length; ++place) {
      KindOrder order(length, old);
      order[place] = new_kind;
      orders.push_back(std::move(order));
    }
    for (const std::size_t first : {std::size_t{0}, std::size_t{1}}) {
      KindOrder order(length, old);
      for (std::size_t place = first; place < length; place += 2) order[place] = new_kind;
      orders.push_back(std::move(order));
    }
  }
}

void add_every(std::vector<KindOrder>& orders, std::uint16_t kinds, std::size_t length) {
  KindOrder order(length, 0);
  for (std::uint64_t left = power(kinds, length); left > 0; --left) {
    orders.push_back(order);
    for (std::size_t place = length; place-- > 0;) {
      order[place] = static_cast<std::uint16_t>((order[place] + 1) % kinds);
      if (order[place] != 0) break;
    }
  }
}

}  // namespace

std::string_view name_of(OrderClass which) {
  switch (which) {
    case OrderClass::all_old:
      return "all old";
    case OrderClass::all_new:
      return "all new";
    case OrderClass::one_new:
      return "one new";
    case OrderClass::alternating:
      return "by turns";
    case OrderClass::mixed:
      break;
  }
  return "mixed";
}

OrderClass class_of(const KindOrder& order) {
  const auto news = static_cast<std::size_t>(std::count(order.begin(), order.end(), new_kind));
  if (news == 0) return OrderClass::all_old;
  if (news == order.size()) return OrderClass::all_new;
  if (news == 1) return OrderClass::one_new;
  for (std::size_t i = 1; i < order.size(); ++i) {
    if ((order[i] == new_kind) == (order[i - 1] == new_kind)) return OrderClass::mixed;
  }
  return OrderClass::alternating;
}

std::vector<KindOrder> pairwise(std::uint16_t kinds, std::size_t length) {
  std::vector<KindOrder> orders;
  Covered covered(kinds, length);
  for (const Pair& pair : all_pairs(kinds, length)) {
    if (covered.has(pair.a, pair.kind_a, pair.b, pair.kind_b)) continue;
    orders.push_back(order_with(pair, covered, kinds, length, orders.size()));
    covered.take(orders.back());
  }
  return orders;
}

Orders orders_of(std::uint16_t kinds, const OrderBounds& bounds) {
  Orders made;
  std::vector<KindOrder> orders;
  std::size_t every = 0;
  for (std::size_t length = 1; length <= bounds.longest; ++length) {
    const std::uint64_t of_this_length = power(kinds, length);
    made.possible = of_this_length > std::numeric_limits<std::uint64_t>::max() - made.possible
                        ? std::numeric_limits<std::uint64_t>::max()
                        : made.possible + of_this_length;
    if (length > bounds.every_up_to || of_this_length > bounds.most_orders || every + 1 != length) continue;
    add_every(orders, kinds, length);
    every = length;
  }
  for (const std::size_t length : {(every + bounds.longest + 1) / 2, bounds.longest}) {
    if (length <= every) continue;
    add_edges(orders, kinds, length);
    for (auto& order : pairwise(kinds, length)) orders.push_back(std::move(order));
  }
  std::set<KindOrder> seen;
  for (auto& order : orders) {
    if (seen.insert(order).second) made.tried.push_back(std::move(order));
  }
  return made;
}

}  // namespace hopbench
