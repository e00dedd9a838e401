#include "study/facets.h"

#include <algorithm>
#include <functional>
#include <map>

namespace hopbench {
namespace {

using Value = std::function<std::int64_t(const Specimen&)>;

class Facets {
 public:
  explicit Facets(std::span<const Specimen* const> specimens) : specimens_(specimens) {}

  Facet& add(FacetId id, std::uint32_t rank, const Value& value) {
    Facet facet;
    facet.id = id;
    facet.rank = rank;
    facet.values.reserve(specimens_.size());
    for (const Specimen* each : specimens_) facet.values.push_back(value(*each));
    all_.push_back(std::move(facet));
    return all_.back();
  }
  std::vector<Facet> take() { return std::move(all_); }

 private:
  std::span<const Specimen* const> specimens_;
  std::vector<Facet> all_;
};

std::int64_t known(Nanos span) { return span == unknown_span ? no_value : span; }
std::int64_t known(std::uint8_t bin) { return bin == unknown_bin ? no_value : std::int64_t{bin}; }

}  // namespace

std::vector<Facet> outer_facets(const RunInfo& run, std::span<const Specimen* const> specimens, bool rows,
                                std::span<const Condition> told) {
  Facets facets(specimens);
  std::map<std::string, std::int64_t> topics;
  for (const auto& entry : run.entries) topics.emplace(entry.topic, static_cast<std::int64_t>(topics.size()));
  const auto topic_of = [&](std::uint32_t entry) {
    return entry < run.entries.size() ? topics.at(run.entries[entry].topic) : no_value;
  };
  const auto node_of = [](std::uint16_t node) { return node == no_station ? no_value : std::int64_t{node}; };
  if (rows) {
    facets.add(FacetId::leg, 0, [](const auto& each) { return each.answering ? 1 : 0; }).named = true;
    facets.add(FacetId::hop, 1, [](const auto& each) { return each.link; }).named = true;
    facets.add(FacetId::length, 3, [](const auto& each) { return each.chars > 0 ? each.chars : no_value; });
    facets.add(FacetId::since_frame, 4, [](const auto& each) { return known(each.since_frame); });
    facets.add(FacetId::length_before, 6,
               [](const auto& each) { return each.chars_before > 0 ? each.chars_before : no_value; });
    facets.add(FacetId::held, 5, [](const auto& each) { return known(each.held); });
    auto& sender = facets.add(FacetId::sender_heat, 6, [](const auto& each) { return known(each.sender_heat); });
    sender.slow = true;
    auto& receiver = facets.add(FacetId::receiver_heat, 6, [](const auto& each) { return known(each.receiver_heat); });
    receiver.slow = true;
  }
  facets.add(FacetId::node, 1, [&](const auto& each) { return node_of(each.node); }).named = true;
  facets.add(FacetId::topic, 1, [&](const auto& each) { return topic_of(each.entry); }).named = true;
  facets.add(FacetId::attempt, 2, [](const auto& each) { return each.attempt; });
  facets.add(FacetId::entry, 3, [](const auto& each) { return each.entry; }).named = true;
  facets.add(FacetId::distance, 3,
             [&](const auto& each) { return each.node == no_station ? no_value : std::int64_t{each.node} + 1; });
  facets.add(FacetId::node_before, 4, [&](const auto& each) { return node_of(each.node_before); }).named = true;
  facets.add(FacetId::topic_before, 4, [&](const auto& each) { return topic_of(each.entry_before); }).named = true;
  facets
      .add(FacetId::same_node, 4,
           [](const auto& each) {
             if (each.node == no_station || each.node_before == no_station) return no_value;
             return std::int64_t{each.node == each.node_before};
           })
      .named = true;
  facets.add(FacetId::in_round, 5,
             [](const auto& each) { return each.in_round == ~0U ? no_value : std::int64_t{each.in_round}; });
  facets.add(FacetId::since_exchange, 4, [](const auto& each) { return known(each.since_exchange); });
  facets.add(FacetId::since_node, 4, [](const auto& each) { return known(each.since_node); });
  for (const auto condition : told) {
    auto& facet = facets.add(FacetId::condition, 2,
                             [&](const auto& each) { return known(each.bins[static_cast<std::size_t>(condition)]); });
    facet.condition = condition;
    facet.slow = true;
  }
  const auto counter = [&](FacetId id, std::uint32_t rank, const Value& value) {
    auto& facet = facets.add(id, rank, value);
    facet.bits = true;
    facet.counts = true;
  };
  counter(FacetId::number, 7, [](const auto& each) { return static_cast<std::int64_t>(each.number); });
  counter(FacetId::count, 8, [](const auto& each) { return each.count; });
  if (!rows) counter(FacetId::node_count, 8, [](const auto& each) { return each.node_count; });
  counter(FacetId::turn, 9, [](const auto& each) { return each.turn; });
  return facets.take();
}

}  // namespace hopbench
