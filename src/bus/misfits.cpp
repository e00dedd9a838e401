#include "bus/misfits.h"

#include <algorithm>
#include <array>
#include <set>

#include "bus/faults.h"
#include "bus/wire_misfits.h"

namespace hopbench {
namespace {

/// A field that is read at the far end as it was sent must not change on the way.
void check_rewrites(const BusDescription& bus, std::vector<Misfit>& misfits) {
  const RolesSpec& roles = bus.roles;
  const std::array<std::pair<std::string_view, std::string_view>, 6> kept{
      {{roles.destination, "says for whom a frame is"},
       {roles.source, "says whom a frame comes from"},
       {roles.exchange, "names the exchange"},
       {roles.topic, "names the topic"},
       {roles.tell_role == TellRole::by_field ? std::string_view(roles.role_field) : "", "tells asks from answers"},
       {roles.refusal_mark ? std::string_view(roles.refusal_mark->field) : "", "marks refusals"}}};
  for (std::size_t i = 0; i < bus.forward.rewrite.size(); ++i) {
    const RewriteSpec& rewrite = bus.forward.rewrite[i];
    const std::string path = "forward." + at("rewrite", i);
    for (const auto& [name, what] : kept) {
      if (name != rewrite.field) continue;
      misfits.push_back({path + ".field", quoted(rewrite.field) + " " + std::string(what) +
                                              ", so it must arrive as it was sent; leave it out of rewrite"});
      break;
    }
    if (rewrite.field == roles.distance && rewrite.add != -1) {
      misfits.push_back({path + ".add", quoted(rewrite.field) +
                                            " counts the nodes between, so each takes it down by one; write add: -1"});
    }
  }
}

/// A mark in a field that holds something else would turn good frames into refusals.
void check_mark(const BusDescription& bus, std::vector<Misfit>& misfits) {
  const RolesSpec& roles = bus.roles;
  if (!roles.refusal_mark) return;
  for (const std::string* name :
       {&roles.exchange, &roles.passes_left, &roles.distance, &roles.size, &bus.framing.size_again}) {
    if (name->empty() || *name != roles.refusal_mark->field) continue;
    misfits.push_back({"roles.refusal_mark.field",
                       quoted(*name) +
                           " takes every value in time, the mark among them, so good answers would be taken "
                           "for refusals; mark the topic or a field of its own"});
    return;
  }
}

void check_sources(const TopicSpec& topic, const std::string& path, bool registers, std::vector<Misfit>& misfits) {
  const auto filled = [](const FieldSpec& field) {
    return field.constant || !field.copied_from_ask.empty() || !field.quantity.empty() || !field.present_if.empty();
  };
  const auto say = [&](const std::string& here, const FieldSpec& field) {
    misfits.push_back({here,
                       "nothing fills " + quoted(field.name) + ", so a simulated node refuses every ask of " +
                           topic.name + "; give it a quantity, a constant or copied_from_ask",
                       false});
  };
  std::set<std::string> counts;
  for (const LayoutItem& item : topic.answer) {
    if (item.group) counts.insert(item.group->count_field);
  }
  for (std::size_t i = 0; i < topic.answer.size(); ++i) {
    const LayoutItem& item = topic.answer[i];
    const std::string here = path + "." + at("answer", i);
    if (item.field && !filled(*item.field) && !counts.contains(item.field->name)) say(here + ".field", *item.field);
    if (!item.group || (registers && item.group->name == topic.values_group)) continue;
    for (std::size_t f = 0; f < item.group->fields.size(); ++f) {
      if (!filled(item.group->fields[f])) say(here + ".group." + at("fields", f), item.group->fields[f]);
    }
  }
}

}  // namespace

std::vector<Misfit> misfits_of(const BusDescription& bus) {
  std::vector<Misfit> misfits;
  check_characters(bus, misfits);
  check_markers(bus, misfits);
  check_rewrites(bus, misfits);
  check_mark(bus, misfits);
  for (std::size_t i = 0; i < bus.topics.size(); ++i) {
    check_sources(bus.topics[i], at("topics", i), !bus.registers.empty(), misfits);
  }
  return misfits;
}

}  // namespace hopbench
