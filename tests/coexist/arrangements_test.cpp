#include "coexist/arrangements.h"

#include <algorithm>
#include <limits>
#include <set>

#include "support/catch.h"

namespace hopbench {
namespace {

/// Looked at the long way: every two places, every two kinds.
bool covers_pairs(const std::vector<KindOrder>& orders, std::uint16_t kinds, std::size_t length) {
  for (std::size_t a = 0; a < length; ++a) {
    for (std::size_t b = 0; b < length; ++b) {
      if (a == b) continue;
      for (std::uint16_t i = 0; i < kinds; ++i) {
        for (std::uint16_t j = 0; j < kinds; ++j) {
          const auto has = [&](const KindOrder& order) { return order[a] == i && order[b] == j; };
          if (std::none_of(orders.begin(), orders.end(), has)) return false;
        }
      }
    }
  }
  return true;
}

}  // namespace

TEST_CASE("coexist: a pairwise set has every pair of kinds at every two places") {
  for (const std::uint16_t kinds : {std::uint16_t{2}, std::uint16_t{3}, std::uint16_t{4}}) {
    for (const std::size_t length : {2U, 3U, 5U, 9U, 16U, 33U}) {
      INFO(kinds << " kinds, " << length << " nodes");
      const auto orders = pairwise(kinds, length);
      CHECK(covers_pairs(orders, kinds, length));
      CHECK(orders.size() >= std::size_t{kinds} * kinds);
      // One that is taken away leaves a hole, or it was not needed: the looking itself can find holes.
      CHECK_FALSE(covers_pairs({orders.begin(), orders.begin() + 1}, kinds, length));
      for (const auto& order : orders) CHECK(order.size() == length);
    }
  }
}

TEST_CASE("coexist: a pairwise set is not much larger than the smallest ones known") {
  // Smallest covering arrays of strength 2 with two symbols: 4 rows up to 3 columns, 5 up to 4, 6 up to 10, 7 up to 15,
  // 8 up to 35 (Kleitman and Spencer 1973, Katona 1973: the most columns of N rows are C(N - 1, ceil(N / 2)); from
  // memory). A greedy set may have twice as many.
  CHECK(pairwise(2, 3).size() <= 2 * 4);
  CHECK(pairwise(2, 10).size() <= 2 * 6);
  CHECK(pairwise(2, 35).size() <= 2 * 8);
}

TEST_CASE("coexist: every order of short chains is tried, and the edges of long ones") {
  const Orders orders = orders_of(3, {4, 2000, 12});
  const std::set<KindOrder> all(orders.tried.begin(), orders.tried.end());
  CHECK(all.size() == orders.tried.size());
  for (std::size_t length = 1; length <= 4; ++length) {
    const auto count = std::count_if(all.begin(), all.end(), [&](const auto& order) { return order.size() == length; });
    std::ptrdiff_t every = 1;
    for (std::size_t i = 0; i < length; ++i) every *= 3;
    CHECK(count == every);
  }
  for (const std::size_t length : {8U, 12U}) {
    CHECK(all.contains(KindOrder(length, 0)));
    CHECK(all.contains(KindOrder(length, 1)));
    CHECK(all.contains(KindOrder(length, 2)));
    for (std::size_t place = 0; place < length; ++place) {
      KindOrder order(length, 2);
      order[place] = new_kind;
      CHECK(all.contains(order));
    }
  }
  // 3 + 9 + ... + 3^12.
  CHECK(orders.possible == (531'441ULL * 3 - 3) / 2);
  CHECK(orders_of(2, {3, 2000, 100}).possible == std::numeric_limits<std::uint64_t>::max());
}

TEST_CASE("coexist: a bound on orders holds, and a short chain has all there are") {
  const Orders few = orders_of(4, {6, 100, 6});
  const auto of = [&](std::size_t length) {
    return std::count_if(few.tried.begin(), few.tried.end(), [&](const auto& order) { return order.size() == length; });
  };
  CHECK(of(3) == 64);
  CHECK(of(4) == 0);
  CHECK(of(6) > 0);
  CHECK(of(6) < 100);
  const Orders two = orders_of(2, {4, 2000, 2});
  CHECK(two.tried.size() == 6);
  CHECK(two.possible == 6);
}

TEST_CASE("coexist: what an order is there for") {
  CHECK(class_of({1, 2, 1}) == OrderClass::all_old);
  CHECK(class_of({0}) == OrderClass::all_new);
  CHECK(class_of({0, 1}) == OrderClass::one_new);
  CHECK(class_of({1, 0, 2, 0}) == OrderClass::alternating);
  CHECK(class_of({1, 0, 0, 2}) == OrderClass::mixed);
}

}  // namespace hopbench
