#include "text/path_walk.h"

#include <fmt/format.h>

#include <algorithm>
#include <charconv>
#include <optional>
#include <string_view>

#include "text/chain_loader.h"
#include "text/field_docs.h"
#include "text/hop_entries.h"
#include "text/node_list.h"
#include "text/parse.h"
#include "text/printed.h"
#include "text/set_value.h"
#include "text/suggest.h"

namespace hopbench {
namespace {

namespace pb = google::protobuf;
using pb::Descriptor;
using pb::FieldDescriptor;
using pb::Message;

constexpr std::string_view every_one = "*";
constexpr std::string_view another = "+";
/// Nodes of the chain by their own names, whatever entries of `nodes` they come from.
constexpr std::string_view node = "node";

bool is_message(const FieldDescriptor& field) { return field.cpp_type() == FieldDescriptor::CPPTYPE_MESSAGE; }

std::optional<int> number_of(std::string_view text) {
  int number = 0;
  const auto [end, error] = std::from_chars(text.data(), text.data() + text.size(), number);
  if (error != std::errc() || end != text.data() + text.size() || text.front() == '-') return std::nullopt;
  return number;
}

/// As a path from the top, with brackets where one of several has to be named.
std::string path_in_docs(std::string_view path) {
  std::string result;
  const Descriptor* type = text::Scenario::descriptor();
  path.remove_prefix(std::min(path.size(), std::string_view("scenario.").size()));
  while (!path.empty() && type != nullptr) {
    const std::string name(path.substr(0, path.find('.')));
    path.remove_prefix(std::min(path.size(), name.size() + 1));
    const FieldDescriptor* field = type->FindFieldByName(name);
    if (field == nullptr) break;
    result += (result.empty() ? "" : ".") + name +
              (field->is_repeated() && is_message(*field) && !path.empty() ? "[...]" : "");
    type = is_message(*field) ? field->message_type() : nullptr;
  }
  return result;
}

/// Where a field of this name does stand, as the end of a sentence; empty if nowhere in a scenario.
std::string stands_elsewhere(const std::string& name) {
  constexpr std::size_t most = 3;
  std::vector<std::string> places;
  for (const FieldDoc* doc : field_docs_named(name)) {
    for (const std::string& path : doc->paths) {
      if (path.starts_with("scenario.") && path.ends_with("." + name)) places.push_back(path_in_docs(path));
    }
  }
  std::string list;
  for (std::size_t i = 0; i < std::min(most, places.size()); ++i) list += (i == 0 ? "" : ", ") + places[i];
  if (places.size() > most) list += ", ...";
  if (places.size() == 1) return "; did you mean " + list + "?";
  return list.empty() ? "" : "; there are " + list;
}

class Walker {
 public:
  Walker(text::Scenario& scenario, WalkFor what) : scenario_(&scenario), what_(what) {}

  std::vector<PathEnd> follow(const std::vector<PathStep>& steps) {
    std::vector<Branch> branches{{scenario_, {}}};
    std::vector<PathEnd> ends;
    for (std::size_t i = 0; i < steps.size() && !branches.empty(); ++i) {
      const bool last = i + 1 == steps.size();
      const FieldDescriptor& field = field_of(*branches.front().message->GetDescriptor(), steps[i], i == 0);
      if (!last && !is_message(field))
        throw WrongEdit{fmt::format("{} has no fields of its own: the path ends with it", field.name())};
      std::vector<Branch> next;
      for (Branch& branch : branches) {
        if (what_ == WalkFor::looking || (what_ == WalkFor::setting && !last)) take_over_clock(*branch.message, field);
        for (const int index : elements(*branch.message, field, steps, i)) {
          auto place = branch.place;
          place.emplace_back(field.number(), index);
          if (last) {
            ends.push_back({branch.message, &field, index, std::move(place)});
          } else {
            next.push_back({inside(*branch.message, field, index), std::move(place)});
          }
        }
      }
      branches = std::move(next);
    }
    if (ends.empty()) throw WrongEdit{"nothing is stated there"};
    return ends;
  }

 private:
  struct Branch {
    Message* message;
    std::vector<std::pair<int, int>> place;
  };
  text::Scenario* scenario_;
  WalkFor what_;

  static const FieldDescriptor& field_of(const Descriptor& type, const PathStep& step, bool top) {
    if (top && step.field == node) return *type.FindFieldByName("nodes");
    if (const FieldDescriptor* field = type.FindFieldByName(step.field)) return *field;
    std::vector<std::string> known;
    for (int i = 0; i < type.field_count(); ++i) known.push_back(type.field(i)->name());
    if (top) known.emplace_back(node);
    std::string hint = suggestion(step.field, known);
    if (nearest(step.field, known).empty()) {
      const bool of_kind =
          &type == text::Nodes::descriptor() && text::Kind::descriptor()->FindFieldByName(step.field) != nullptr;
      const std::string elsewhere = stands_elsewhere(step.field);
      if (of_kind) {
        hint = fmt::format("; its kind has one: kind[...].{}", step.field);
      } else if (!elsewhere.empty()) {
        hint = elsewhere;
      }
    }
    throw WrongEdit{fmt::format("{} has no field {}{}", type.name(), in_quotes(step.field), hint)};
  }

  static Message* inside(Message& message, const FieldDescriptor& field, int index) {
    const auto* reflection = message.GetReflection();
    return field.is_repeated() ? reflection->MutableRepeatedMessage(&message, &field, index)
                               : reflection->MutableMessage(&message, &field);
  }

  /// A node's clock stands in place of its kind's, all of it.
  void take_over_clock(Message& message, const FieldDescriptor& field) const {
    if (message.GetDescriptor() != text::Nodes::descriptor() || field.number() != text::Nodes::kClockFieldNumber ||
        message.GetReflection()->HasField(message, &field))
      return;
    auto& entry = static_cast<text::Nodes&>(message);
    for (const text::Kind& kind : scenario_->kind()) {
      if (kind.name() == entry.kind() && kind.has_clock()) *entry.mutable_clock() = kind.clock();
    }
  }

  std::vector<int> elements(Message& message, const FieldDescriptor& field, const std::vector<PathStep>& steps,
                            std::size_t at) {
    const PathStep& step = steps[at];
    const bool last = at + 1 == steps.size();
    if (at == 0 && step.field == node) return nodes_named(step);
    const auto* reflection = message.GetReflection();
    if (!field.is_repeated()) {
      if (step.which) throw WrongEdit{fmt::format("{} is there once: leave [{}] out", field.name(), *step.which)};
      const bool there = what_ == WalkFor::setting || reflection->HasField(message, &field);
      return there ? std::vector<int>{whole_field} : std::vector<int>{};
    }
    const int size = reflection->FieldSize(message, &field);
    if (!step.which) {
      if (!last) throw WrongEdit{which_one(message, field)};
      return what_ == WalkFor::setting || size > 0 ? std::vector<int>{whole_field} : std::vector<int>{};
    }
    if (*step.which == every_one) {
      std::vector<int> all(static_cast<std::size_t>(size));
      for (int i = 0; i < size; ++i) all[static_cast<std::size_t>(i)] = i;
      return all;
    }
    if (*step.which == another) {
      if (!last || what_ != WalkFor::setting)
        throw WrongEdit{fmt::format("{0}[+] is one more: it is set as a whole, as in {0}[+]={{ ... }}", field.name())};
      return {one_more};
    }
    if (at == 0 && field.number() == text::Scenario::kHopFieldNumber && names_station(*step.which)) {
      const std::string condition = last ? std::string() : field_of(*field.message_type(), steps[1], false).name();
      return hop_entries(*scenario_, *step.which, condition, steps.size() > 2, what_);
    }
    return {element_named(message, field, *step.which)};
  }

  static std::vector<std::string> names(const Message& message, const FieldDescriptor& field) {
    std::vector<std::string> names;
    if (!is_message(field)) return names;
    for (int i = 0; i < message.GetReflection()->FieldSize(message, &field); ++i)
      names.push_back(name_of_element(message.GetReflection()->GetRepeatedMessage(message, &field, i)));
    return names;
  }

  static std::string which_one(const Message& message, const FieldDescriptor& field) {
    const int size = message.GetReflection()->FieldSize(message, &field);
    if (size == 0) return fmt::format("there is no {}", field.name());
    const std::string first = names(message, field).front();
    return fmt::format("which {0}? write {0}[{1}], or {0}[*] for all", field.name(), first.empty() ? "0" : first);
  }

  static int element_named(const Message& message, const FieldDescriptor& field, const std::string& which) {
    const std::vector<std::string> known = names(message, field);
    const int size = message.GetReflection()->FieldSize(message, &field);
    const auto count = std::count(known.begin(), known.end(), which);
    const auto first = std::find(known.begin(), known.end(), which);
    if (count == 1) return static_cast<int>(first - known.begin());
    if (count > 1)
      throw WrongEdit{fmt::format("{} {} are named {}: say which by its number, as in {}[{}]", count, field.name(),
                                  in_quotes(which), field.name(), first - known.begin())};
    if (const auto number = number_of(which)) {
      if (*number < size) return *number;
      if (size == 0) throw WrongEdit{fmt::format("there is no {}", field.name())};
      throw WrongEdit{
          fmt::format("there is no {}[{}]; there are {} of them, numbered from 0", field.name(), *number, size)};
    }
    if (field.message_type() == text::Hop::descriptor())
      throw WrongEdit{fmt::format("a hop has no name: write hop[into {}], or hop[0] for the first in the file", which)};
    const bool named = std::any_of(known.begin(), known.end(), [](const auto& name) { return !name.empty(); });
    if (size > 0 && !named)
      throw WrongEdit{fmt::format("{} is no number of a {}: they are numbered from 0 to {}", in_quotes(which),
                                  field.name(), size - 1)};
    throw WrongEdit{fmt::format("there is no {} {}{}", field.name(), in_quotes(which), suggestion(which, known))};
  }

  /// Entries of `nodes` that are single nodes afterwards.
  std::vector<int> nodes_named(const PathStep& step) {
    std::vector<ListedNode> listed = listed_nodes(*scenario_);
    if (listed.empty()) throw WrongEdit{"the chain has no nodes"};
    if (!step.which)
      throw WrongEdit{fmt::format("which node? write node[{}], or node[*] for all", listed.front().name)};
    const std::vector<std::size_t> picked = picked_nodes(*step.which, listed);
    std::vector<bool> apart(static_cast<std::size_t>(scenario_->nodes_size()), false);
    for (const std::size_t each : picked) apart[static_cast<std::size_t>(listed[each].entry)] = true;
    take_apart(*scenario_, [&](int entry) { return apart[static_cast<std::size_t>(entry)]; });
    listed = listed_nodes(*scenario_);
    std::vector<int> entries;
    for (const std::size_t each : picked) entries.push_back(listed[each].entry);
    return entries;
  }

  [[nodiscard]] std::vector<std::size_t> picked_nodes(const std::string& which,
                                                      const std::vector<ListedNode>& listed) const {
    const bool a_name =
        std::any_of(listed.begin(), listed.end(), [&](const ListedNode& each) { return each.name == which; });
    if (const auto number = number_of(which); number && !a_name) {
      if (static_cast<std::size_t>(*number) < listed.size()) return {static_cast<std::size_t>(*number)};
      throw WrongEdit{
          fmt::format("there is no node[{}]; there are {} of them, numbered from 0", *number, listed.size())};
    }
    const TextFile no_file;
    const Outline nowhere;
    Reporter reporter(no_file);
    pb::RepeatedPtrField<std::string> patterns;
    patterns.Add()->assign(which);
    const auto nodes = pick_nodes(patterns, node, Spot(nowhere, reporter), outline_of_chain(*scenario_));
    std::vector<Problem> problems;
    reporter.hand_over(problems);
    if (!problems.empty()) throw WrongEdit{problems.front().what};
    return {nodes.begin(), nodes.end()};
  }
};

void remove_one(const PathEnd& end) {
  const auto* reflection = end.owner->GetReflection();
  if (end.index == whole_field) {
    reflection->ClearField(end.owner, end.field);
    return;
  }
  for (int i = end.index; i + 1 < reflection->FieldSize(*end.owner, end.field); ++i)
    reflection->SwapElements(end.owner, end.field, i, i + 1);
  reflection->RemoveLast(end.owner, end.field);
}

}  // namespace

std::vector<PathEnd> walk(text::Scenario& scenario, const std::vector<PathStep>& steps, WalkFor what) {
  return Walker(scenario, what).follow(steps);
}

void remove_all(std::vector<PathEnd> ends) {
  // From the back, and parts before the whole, so that what is still to go stays where it is.
  std::sort(ends.begin(), ends.end(), [](const PathEnd& a, const PathEnd& b) { return b.place < a.place; });
  ends.erase(
      std::unique(ends.begin(), ends.end(), [](const PathEnd& a, const PathEnd& b) { return a.place == b.place; }),
      ends.end());
  for (const PathEnd& end : ends) remove_one(end);
}

}  // namespace hopbench
