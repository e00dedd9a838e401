#include "study/clauses.h"

#include <algorithm>
#include <bit>
#include <cmath>
#include <map>
#include <numeric>
#include <unordered_map>

namespace hopbench {
namespace {

constexpr std::size_t few_values = 24;  // each is named, and is a place to cut
constexpr std::size_t most_cuts = 12;
constexpr std::size_t most_names = 24;
constexpr unsigned most_bits = 16;
constexpr std::int64_t most_odd_modulus = 64;  // above it powers of two
constexpr std::int64_t most_modulus = 4096;
constexpr std::size_t most_remainders = 12;
constexpr double frequent = 0.1;          // of the hits: a value that is named
constexpr std::size_t most_places = 64;   // bytes of a frame
constexpr std::size_t farthest_pair = 3;  // bytes from one to the other
constexpr double many_times = 3;          // as frequent among hits as among others: a remainder, a byte

/// Weights of one value, hits and others as shares of their sums.
struct Both {
  double hits = 0;
  double others = 0;
};

/// Of the half that is searched.
template <typename Value>
std::map<std::int64_t, Both> spread_of(const BitTable& table, Value value) {
  std::map<std::int64_t, Both> spread;
  Both all;
  for (std::size_t i = 0; i < table.items().size(); ++i) {
    const Compared& item = table.items()[i];
    if (item.held_out) continue;
    (item.hit ? all.hits : all.others) += item.weight;
    const std::int64_t is = value(i);
    if (is == no_value) continue;
    Both& both = spread[is];
    (item.hit ? both.hits : both.others) += item.weight;
  }
  for (auto& [is, both] : spread) {
    both.hits /= std::max(1.0, all.hits);
    both.others /= std::max(1.0, all.others);
  }
  return spread;
}

/// Values by how far their shares are apart, the farthest first.
std::vector<std::int64_t> by_contrast(const std::map<std::int64_t, Both>& spread) {
  std::vector<std::pair<double, std::int64_t>> order;
  for (const auto& [value, both] : spread) order.emplace_back(-std::abs(both.hits - both.others), value);
  std::sort(order.begin(), order.end());
  std::vector<std::int64_t> values;
  for (const auto& [contrast, value] : order) values.push_back(value);
  return values;
}

}  // namespace

Clauses::Clauses(BitTable& table, const std::vector<Facet>& facets, const ContentFacets& bytes, bool rows, Nanos block,
                 Nanos gap)
    : table_(&table),
      all_facets_(&facets),
      blocks_a_gap_(static_cast<double>(gap) / static_cast<double>(std::max<Nanos>(1, block))) {
  std::vector<std::uint32_t> order(facets.size());
  std::iota(order.begin(), order.end(), 0U);
  std::stable_sort(order.begin(), order.end(), [&](auto a, auto b) { return facets[a].rank < facets[b].rank; });
  for (const auto facet : order) {
    const Facet& one = facets[facet];
    const auto before = clauses_.size();
    if (one.values.empty()) {
      add_bytes(facet, bytes, rows);
    } else if (one.named) {
      add_names(facet);
    } else if (!one.counts && one.id != FacetId::period && one.id != FacetId::since_start) {
      add_cuts(facet);
    }
    if (one.bits) add_bits(facet);
    if (one.counts) add_remainders(facet);
    if (clauses_.size() > before) ++facets_with_any_;
  }
}

void Clauses::put(std::uint32_t facet, const Clause& clause, bool slow) {
  const Facet& one = (*all_facets_)[facet];
  // Numbers that go up with time are the same thing by several names.
  const bool periodic = clause.relation == Relation::remainder || clause.relation == Relation::phase;
  table_->add({facet, one.rank, periodic ? 1U : 0U, slow}, [&](std::size_t item) {
    const auto value = one.values[item];
    return value != no_value && holds(clause, value);
  });
  clauses_.push_back(clause);
}

void Clauses::add_names(std::uint32_t facet) {
  const Facet& one = (*all_facets_)[facet];
  const auto spread = spread_of(*table_, [&](std::size_t item) { return one.values[item]; });
  if (spread.size() < 2) return;
  std::size_t taken = 0;
  for (const auto value : by_contrast(spread)) {
    if (++taken > most_names) break;
    const Both& both = spread.at(value);
    if (both.hits > both.others) add(facet, {facet, Relation::is, value}, one.slow);
    if (both.hits < both.others && spread.size() > 2) add(facet, {facet, Relation::is_not, value}, one.slow);
  }
}

void Clauses::add_cuts(std::uint32_t facet) {
  const Facet& one = (*all_facets_)[facet];
  const auto spread = spread_of(*table_, [&](std::size_t item) { return one.values[item]; });
  if (spread.size() < 2) return;
  const std::size_t places = one.rank >= 8 ? most_cuts / 2 : most_cuts;  // where there are many facets
  std::vector<std::int64_t> cuts;
  if (spread.size() <= (one.rank >= 8 ? most_cuts : few_values)) {
    for (const auto& [value, both] : spread) cuts.push_back(value);
    cuts.pop_back();
  } else {
    // Where hits and others part most, and quantiles of both together.
    double sum = 0;
    double step = 0;
    double most_apart = -1;
    double apart = 0;
    std::int64_t parting = 0;
    double least_apart = 1;
    std::int64_t parting_down = 0;
    double all = 0;
    for (const auto& [value, both] : spread) all += both.hits + both.others;
    for (const auto& [value, both] : spread) {
      sum += both.hits + both.others;
      apart += both.hits - both.others;
      if (apart > most_apart) {
        most_apart = apart;
        parting = value;
      }
      if (apart < least_apart) {
        least_apart = apart;
        parting_down = value;
      }
      if (sum >= step + all / static_cast<double>(places) && sum < all) {
        cuts.push_back(value);
        step = sum;
      }
    }
    cuts.push_back(parting);
    cuts.push_back(parting_down);
    std::sort(cuts.begin(), cuts.end());
    cuts.erase(std::unique(cuts.begin(), cuts.end()), cuts.end());
  }
  // A retry is what a failure brings: that failures are among retries says nothing of them.
  const bool follows = one.id == FacetId::attempt;
  for (const auto cut : cuts) {
    add(facet, {facet, Relation::at_most, cut}, one.slow);
    if (!follows) add(facet, {facet, Relation::more_than, cut}, one.slow);
  }
  if (follows) return;
  std::size_t named = 0;
  for (const auto value : by_contrast(spread)) {
    const Both& both = spread.at(value);
    if (spread.size() > 2 && both.hits >= frequent && both.hits > both.others && named++ < 4) {
      add(facet, {facet, Relation::is, value}, one.slow);
    }
  }
}

void Clauses::add_bits(std::uint32_t facet) {
  const Facet& one = (*all_facets_)[facet];
  std::uint64_t ever = 0;
  std::uint64_t always = ~std::uint64_t{0};
  for (const auto value : one.values) {
    if (value == no_value) continue;
    ever |= static_cast<std::uint64_t>(value);
    always &= static_cast<std::uint64_t>(value);
  }
  const std::uint64_t changing = ever & ~always;
  if (std::popcount(changing) < 2) return;  // a value of two is named already
  for (unsigned bit = 0; bit < most_bits; ++bit) {
    if ((changing >> bit & 1U) == 0) continue;
    const bool slow = one.counts ? blocks_a_gap_ * static_cast<double>(2U << bit) > 0.25 : one.slow;
    add(facet, {facet, Relation::bit_set, bit}, slow);
    add(facet, {facet, Relation::bit_clear, bit}, slow);
  }
}

void Clauses::add_remainders(std::uint32_t facet) {
  const Facet& one = (*all_facets_)[facet];
  std::vector<std::int64_t> moduli;
  for (std::int64_t modulus = 3; modulus <= most_odd_modulus; ++modulus) moduli.push_back(modulus);
  for (std::int64_t modulus = 2 * most_odd_modulus; modulus <= most_modulus; modulus *= 2) moduli.push_back(modulus);
  std::vector<std::pair<double, Clause>> worth;
  for (const auto modulus : moduli) {
    const auto spread = spread_of(*table_, [&](std::size_t item) {
      return one.values[item] == no_value ? no_value : one.values[item] % modulus;
    });
    std::size_t taken = 0;
    for (const auto value : by_contrast(spread)) {
      const Both& both = spread.at(value);
      if (++taken > 2) break;
      if (both.hits < frequent || both.hits < many_times * both.others) continue;
      const double gain = both.hits * std::log(both.hits / (both.others + 0.25 / static_cast<double>(modulus)));
      worth.push_back({-gain, {facet, Relation::remainder, value, modulus}});
    }
  }
  std::stable_sort(worth.begin(), worth.end(), [](const auto& a, const auto& b) { return a.first < b.first; });
  for (std::size_t i = 0; i < std::min(most_remainders, worth.size()); ++i) add(facet, worth[i].second, false);
}

void Clauses::add_bytes(std::uint32_t facet, const ContentFacets& bytes, bool rows) {
  const FacetId id = (*all_facets_)[facet].id;
  if (id == FacetId::byte_at || id == FacetId::byte_pair) return add_places(facet, bytes.frames);
  std::vector<HeldBytes> sets = id == FacetId::asked_byte ? bytes.asked : bytes.replied;
  if (id == FacetId::frame_byte) {
    for (std::size_t i = 0; i < sets.size(); ++i) {
      sets[i] = {};
      for (const auto byte : bytes.frames[i]) sets[i].set(byte);
    }
  }
  // A request's bytes are in a frame only if it is the request.
  const auto& legs = all_facets_->front().values;
  std::vector<bool> counts;
  for (std::size_t i = 0; i < sets.size(); ++i) {
    const bool own = !rows || id == FacetId::frame_byte || (legs[i] == 1) == (id == FacetId::reply_byte);
    counts.push_back(own && sets[i].any());
  }
  add_held(facet, sets, counts);
}

void Clauses::add_held(std::uint32_t facet, const std::vector<HeldBytes>& sets, const std::vector<bool>& counts) {
  for (std::int64_t byte = 0; byte < 256; ++byte) {
    const auto place = static_cast<std::size_t>(byte);
    Both has;
    Both all;
    for (std::size_t i = 0; i < table_->items().size(); ++i) {
      const Compared& item = table_->items()[i];
      if (item.held_out || !counts[i]) continue;
      (item.hit ? all.hits : all.others) += item.weight;
      if (sets[i].test(place)) (item.hit ? has.hits : has.others) += item.weight;
    }
    if (all.hits <= 0 || all.others <= 0) break;
    const double hits = has.hits / all.hits;
    const double others = has.others / all.others;
    const bool more = hits >= 2 * frequent && hits > 1.3 * others;
    if (!more || clauses_.size() >= most) continue;
    table_->add({facet, (*all_facets_)[facet].rank, 0, true},
                [&](std::size_t item) { return counts[item] && sets[item].test(place); });
    clauses_.push_back({facet, Relation::contains, byte});
  }
}

/// Bytes at a place of the frame, or two of them some way apart: of the many that there are those by which hits and
/// others differ most.
void Clauses::add_places(std::uint32_t facet, const std::vector<std::vector<std::uint8_t>>& frames) {
  const bool pairs = (*all_facets_)[facet].id == FacetId::byte_pair;
  const auto key = [](std::size_t far, std::uint8_t one, std::uint8_t other) {
    return static_cast<std::uint32_t>(far << 16U | std::size_t{one} << 8U | other);
  };
  // Each of a frame once, rising.
  const auto keys_of = [&](const std::vector<std::uint8_t>& frame, std::vector<std::uint32_t>& keys) {
    keys.clear();
    for (std::size_t i = 0; i < frame.size(); ++i) {
      if (!pairs) {
        if (i < most_places) keys.push_back(key(i + 1, frame[i], 0));
        continue;
      }
      for (std::size_t far = 1; far <= farthest_pair && i + far < frame.size(); ++far) {
        keys.push_back(key(far, frame[i], frame[i + far]));
      }
    }
    std::sort(keys.begin(), keys.end());
    keys.erase(std::unique(keys.begin(), keys.end()), keys.end());
  };
  std::unordered_map<std::uint32_t, Both> spread;
  Both all;
  std::vector<std::uint32_t> keys;
  for (const bool hits : {true, false}) {  // only what hits have is of use
    for (std::size_t i = 0; i < table_->items().size(); ++i) {
      const Compared& item = table_->items()[i];
      if (item.held_out || item.hit != hits || frames[i].empty()) continue;
      (hits ? all.hits : all.others) += item.weight;
      keys_of(frames[i], keys);
      for (const auto each : keys) {
        if (hits) {
          spread[each].hits += item.weight;
        } else if (const auto found = spread.find(each); found != spread.end()) {
          found->second.others += item.weight;
        }
      }
    }
    if (hits) std::erase_if(spread, [&](const auto& each) { return each.second.hits < 2 * frequent * all.hits; });
  }
  if (all.hits <= 0 || all.others <= 0) return;
  std::vector<std::pair<double, std::uint32_t>> order;
  for (const auto& [each, both] : spread) {
    const double hits = both.hits / all.hits;
    const double others = both.others / all.others;
    if (hits > 1.3 * others) order.emplace_back(others - hits, each);
  }
  std::sort(order.begin(), order.end());
  if (order.size() > most_names) order.resize(most_names);
  for (const auto& [contrast, each] : order) {
    if (clauses_.size() >= most) return;
    const std::size_t far = each >> 16U;
    const auto first = static_cast<std::uint8_t>(each >> 8U & 0xffU);
    const auto then = static_cast<std::uint8_t>(each & 0xffU);
    table_->add({facet, (*all_facets_)[facet].rank, 0, true}, [&, pairs](std::size_t item) {
      const auto& frame = frames[item];
      if (!pairs) return far <= frame.size() && frame[far - 1] == first;
      for (std::size_t i = 0; i + far < frame.size(); ++i) {
        if (frame[i] == first && frame[i + far] == then) return true;
      }
      return false;
    });
    const auto at = static_cast<std::int64_t>(far);
    clauses_.push_back(pairs ? Clause{facet, Relation::contains, first, then, at}
                             : Clause{facet, Relation::contains, first, at, 0});
  }
}

}  // namespace hopbench
