// Orders in which old and new kinds of node may stand in a chain, and which of them are tried.
#pragma once

#include <cstddef>
#include <cstdint>
#include <string_view>
#include <vector>

namespace hopbench {

/// Kinds are told apart by number: 0 is the new one, 1 up to `kinds` - 1 are old ones.
using KindOrder = std::vector<std::uint16_t>;
inline constexpr std::uint16_t new_kind = 0;

/// What an order is there for. The first that fits is its class.
enum class OrderClass : std::uint8_t { all_old, all_new, one_new, alternating, mixed };
inline constexpr std::size_t order_class_count = 5;
std::string_view name_of(OrderClass which);
OrderClass class_of(const KindOrder& order);

struct OrderBounds {
  std::size_t every_up_to = 4;     // nodes: of chains up to here every order is tried
  std::size_t most_orders = 2000;  // but not of a length that has more than so many
  std::size_t longest = 16;        // nodes
};

struct Orders {
  std::vector<KindOrder> tried;  // shortest first; none twice
  std::uint64_t possible = 0;    // orders of chains of 1 up to the longest; saturated
};

/// Every order of short chains. Of the longest one, and of one between: all of each old kind, all new, one new node at
/// each place among each old kind, old and new by turns, and a set in which any two places have every pair of kinds.
/// `kinds`: at least 2. The same call makes the same orders.
Orders orders_of(std::uint16_t kinds, const OrderBounds& bounds);

/// A set of orders of `length` nodes in which every pair of places takes every pair of kinds at least once (a covering
/// array of strength 2; greedy, after Cohen, Dalal, Fredman and Patton, The AETG System, IEEE Transactions on Software
/// Engineering 23, 1997; cited from memory).
std::vector<KindOrder> pairwise(std::uint16_t kinds, std::size_t length);

}  // namespace hopbench
