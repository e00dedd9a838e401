#include "text/hop_entries.h"

#include <fmt/format.h>

#include <algorithm>
#include <optional>
#include <string_view>

#include "scenario/link_table.h"
#include "text/chain_loader.h"
#include "text/node_list.h"
#include "text/parse.h"

namespace hopbench {
namespace {

using google::protobuf::FieldDescriptor;
using google::protobuf::RepeatedPtrField;

constexpr std::string_view into = "into ";
constexpr std::string_view homeward = " homeward";

bool speaks_of_place(const FieldDescriptor& field) { return field.name() == "into" || field.name() == "homeward"; }

/// The hops of a scenario as links.
class Hops {
 public:
  explicit Hops(text::Scenario& scenario) : scenario_(&scenario), chain_(outline_of_chain(scenario)) {
    for (const text::Hop& hop : scenario.hop()) {
      const auto way = hop.has_homeward() ? std::optional{hop.homeward()} : std::nullopt;
      std::string ignored;
      links_.push_back(links_of(hop.into(), way, ignored));
    }
  }

  /// Throws WrongEdit if there are none.
  [[nodiscard]] std::vector<std::uint16_t> named(const std::string& which) const {
    std::string_view station = std::string_view(which).substr(into.size());
    const bool home = station.ends_with(homeward);
    if (home) station.remove_suffix(homeward.size());
    RepeatedPtrField<std::string> patterns;
    patterns.Add()->assign(station);
    std::string why;
    auto links = links_of(patterns, home ? std::optional{true} : std::nullopt, why);
    if (!why.empty()) throw WrongEdit{why};
    return links;
  }

  [[nodiscard]] bool only(int entry, std::uint16_t link) const {
    const auto& links = links_[static_cast<std::size_t>(entry)];
    return links.size() == 1 && links.front() == link;
  }

  /// Whether this entry has a say in what holds of the condition on this link. Low levels become longer or shorter:
  /// either takes the place of both.
  [[nodiscard]] bool decides(int entry, std::uint16_t link, const FieldDescriptor& condition) const {
    const auto& links = links_[static_cast<std::size_t>(entry)];
    if (std::find(links.begin(), links.end(), link) == links.end()) return false;
    const text::Hop& hop = scenario_->hop(entry);
    const bool lows = condition.name().starts_with("lows_");
    return states(hop, condition) || (lows && (!hop.lows_longer().empty() || !hop.lows_shorter().empty()));
  }

  static bool states(const text::Hop& hop, const FieldDescriptor& field) {
    const auto* reflection = hop.GetReflection();
    return field.is_repeated() ? reflection->FieldSize(hop, &field) > 0 : reflection->HasField(hop, &field);
  }

  /// States the condition in `to` as it holds on the link.
  void take_over(std::uint16_t link, const FieldDescriptor& condition, text::Hop& to) const {
    const text::Hop* from = &scenario_->every_hop();
    for (int i = 0; i < static_cast<int>(links_.size()); ++i) {
      if (decides(i, link, condition)) from = &scenario_->hop(i);
    }
    if (!states(*from, condition)) return;
    text::Hop alone = *from;
    std::vector<const FieldDescriptor*> fields;
    alone.GetReflection()->ListFields(alone, &fields);
    for (const FieldDescriptor* field : fields) {
      if (field != &condition) alone.GetReflection()->ClearField(&alone, field);
    }
    to.MergeFrom(alone);
  }

  int add(std::uint16_t link) {
    text::Hop& hop = *scenario_->add_hop();
    const LinkTable table(chain_.shape, chain_.nodes.size());
    const LinkTable::Entry& entry = table[link];
    hop.add_into(entry.to == nobody ? chain_.controller.name : chain_.nodes[entry.to].name);
    if (entry.homeward && entry.to != nobody) hop.set_homeward(true);
    links_.push_back({link});
    return scenario_->hop_size() - 1;
  }

 private:
  text::Scenario* scenario_;
  ChainDescription chain_;
  std::vector<std::vector<std::uint16_t>> links_;  // of each entry

  std::vector<std::uint16_t> links_of(const RepeatedPtrField<std::string>& patterns, std::optional<bool> way,
                                      std::string& why) const {
    if (chain_.nodes.empty()) {
      why = "the chain has no nodes";
      return {};
    }
    const TextFile no_file;
    const Outline nowhere;
    Reporter reporter(no_file);
    std::vector<std::uint16_t> links;
    try {
      links = pick_links(patterns, way, Spot(nowhere, reporter), chain_);
    } catch (const TooManyProblems&) {
      // One is enough.
    }
    std::vector<Problem> problems;
    reporter.hand_over(problems);
    if (!problems.empty()) why = problems.front().what;
    return links;
  }
};

}  // namespace

bool names_station(const std::string& which) { return which.starts_with(into); }

std::vector<int> hop_entries(text::Scenario& scenario, const std::string& which, const std::string& condition,
                             bool deep, WalkFor what) {
  const FieldDescriptor* field = text::Hop::descriptor()->FindFieldByName(condition);
  if (field != nullptr && speaks_of_place(*field)) {
    throw WrongEdit{
        fmt::format("a hop is found by {0}; to change that name it by its number, as in hop[0].{0}", condition)};
  }
  if (field == nullptr && what == WalkFor::setting) {
    throw WrongEdit{
        fmt::format("hop[{0}] takes no value as a whole; set one of its conditions, as in hop[{0}].bit_error", which)};
  }
  Hops hops(scenario);
  std::vector<int> entries;
  for (const std::uint16_t link : hops.named(which)) {
    const int size = scenario.hop_size();
    if (what == WalkFor::removing) {
      for (int i = 0; i < size; ++i) {
        if (hops.only(i, link) && (field == nullptr || Hops::states(scenario.hop(i), *field))) entries.push_back(i);
      }
      continue;
    }
    int entry = -1;
    for (int i = 0; i < size && what == WalkFor::setting; ++i) {
      if (hops.only(i, link)) {
        entry = i;
      } else if (hops.decides(i, link, *field)) {
        entry = -1;
      }
    }
    if (entry < 0) entry = hops.add(link);
    text::Hop& hop = *scenario.mutable_hop(entry);
    for (int i = 0; i < text::Hop::descriptor()->field_count(); ++i) {
      const FieldDescriptor* each = text::Hop::descriptor()->field(i);
      const bool wanted =
          field != nullptr ? each == field && (deep || what == WalkFor::looking) : !speaks_of_place(*each);
      if (wanted && !Hops::states(hop, *each)) hops.take_over(link, *each, hop);
    }
    entries.push_back(entry);
  }
  return entries;
}

}  // namespace hopbench
