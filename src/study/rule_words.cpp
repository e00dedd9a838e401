#include "study/rule_words.h"

#include <fmt/format.h>

#include <algorithm>
#include <cctype>

#include "study/words.h"

namespace hopbench {
namespace {

std::string span_at(std::int64_t value) { return words::span(value); }

/// A value of a field by its scale, or a difference of two.
std::string scaled(const Facet& facet, std::int64_t raw, bool difference = false) {
  const FieldSpec& field = *facet.field;
  Scale scale = field.scale;
  if (difference) scale.offset = 0;
  std::string text;
  if (scale.num == 1 && scale.den <= 1) {
    text = fmt::format("{}", raw + scale.offset);
  } else {
    const double value = static_cast<double>(raw) * static_cast<double>(scale.num) /
                             static_cast<double>(std::max<std::uint64_t>(1, scale.den)) +
                         static_cast<double>(scale.offset);
    text = fmt::format("{:.6g}", value);
  }
  return field.unit.empty() ? text : text + " " + field.unit;
}

std::string topic_named(const RunInfo& run, std::int64_t number) {
  std::vector<std::string> topics;
  for (const auto& entry : run.entries) topics.push_back(entry.topic);
  std::vector<std::string> seen;
  for (const auto& topic : topics) {
    if (std::find(seen.begin(), seen.end(), topic) == seen.end()) seen.push_back(topic);
  }
  const auto place = static_cast<std::size_t>(number);
  return place < seen.size() ? seen[place] : "?";
}

std::string node_named(const RunInfo& run, std::int64_t node) {
  const auto place = static_cast<std::size_t>(node);
  return place < run.nodes.size() ? run.nodes[place] : "?";
}

std::string value_text(const RulePart& part, const Facet& facet, const Evidence& evidence) {
  const RunInfo& run = evidence.run;
  const Clause& clause = part.clause;
  if (clause.relation == Relation::bit_set || clause.relation == Relation::bit_clear ||
      clause.relation == Relation::remainder) {
    return std::to_string(clause.value);
  }
  switch (part.facet) {
    case FacetId::leg:
      return clause.value == 1 ? "reply" : "request";
    case FacetId::node:
    case FacetId::node_before:
      return node_named(run, clause.value);
    case FacetId::distance:
      return node_named(run, clause.value - 1);
    case FacetId::topic:
    case FacetId::topic_before:
      return topic_named(run, clause.value);
    case FacetId::hop:
      return words::hop(run, static_cast<std::uint16_t>(clause.value));
    case FacetId::entry:
      return static_cast<std::size_t>(clause.value) < run.entries.size()
                 ? run.entries[static_cast<std::size_t>(clause.value)].name
                 : "?";
    case FacetId::since_frame:
    case FacetId::since_exchange:
    case FacetId::since_node:
    case FacetId::held:
    case FacetId::period:
    case FacetId::since_start:
      return span_at(clause.value);
    case FacetId::condition:
      return clause.relation == Relation::is ? bin_text(facet.condition, static_cast<std::size_t>(clause.value))
                                             : bin_to(facet.condition, static_cast<std::size_t>(clause.value));
    case FacetId::sender_heat:
    case FacetId::receiver_heat:
      return clause.relation == Relation::is ? bin_text(Condition::temperature, static_cast<std::size_t>(clause.value))
                                             : bin_to(Condition::temperature, static_cast<std::size_t>(clause.value));
    case FacetId::asked_byte:
    case FacetId::reply_byte:
    case FacetId::frame_byte:
    case FacetId::byte_at:
    case FacetId::byte_pair:
      return fmt::format("0x{:02X}", clause.value);
    case FacetId::asked_field:
    case FacetId::reply_field:
    case FacetId::before_field:
      return scaled(facet, clause.value);
    case FacetId::reply_change:
      return scaled(facet, clause.value, true);
    default:
      return std::to_string(clause.value);
  }
}

/// What a number or a bin is held against: "above 40", "at most 40", "40".
std::string against(const RulePart& part) {
  switch (part.clause.relation) {
    case Relation::at_most:
      return "at most " + part.value;
    case Relation::more_than:
      return "above " + part.value;
    case Relation::is_not:
      return "not " + part.value;
    default:
      return part.value;
  }
}

/// What a number has: "bit 3 of X set", "X that leaves 5 when divided by 64", "X above 7".
std::string number_words(const RulePart& part, const std::string& name) {
  const Clause& clause = part.clause;
  switch (clause.relation) {
    case Relation::bit_set:
      return fmt::format("with bit {} of {} set", clause.value, name);
    case Relation::bit_clear:
      return fmt::format("with bit {} of {} clear", clause.value, name);
    case Relation::remainder:
      return fmt::format("once in {} ({} leaves {} when divided by {})", clause.modulus, name, clause.value,
                         clause.modulus);
    case Relation::phase:
      return fmt::format("{} of every {} by {}", clause.width, clause.modulus, name);
    default:
      return fmt::format("with {} {}", name, against(part));
  }
}

bool leg_is(const std::vector<RulePart>& all, std::int64_t leg) {
  return std::any_of(all.begin(), all.end(), [&](const RulePart& part) {
    return part.facet == FacetId::leg && (part.clause.relation == Relation::is) && part.clause.value == leg;
  });
}

std::string silence_words(const RulePart& part, const std::string& where) {
  if (part.clause.relation == Relation::at_most)
    return fmt::format("within {} of the one before {}", part.value, where);
  return fmt::format("after a silence of more than {} {}", part.value, where);
}

std::string hour_words(const RulePart& part, const std::string& of) {
  const auto hour = part.clause.value;
  switch (part.clause.relation) {
    case Relation::at_most:
      return fmt::format("up to {:02}:59 of each day ({})", hour, of);
    case Relation::more_than:
      return fmt::format("from {:02}:00 of each day ({})", hour + 1, of);
    default:
      return fmt::format("from {:02}:00 to {:02}:59 of each day ({})", hour, hour, of);
  }
}

std::string words_of(const RulePart& part, const Facet& facet, const std::vector<RulePart>& all) {
  const Clause& clause = part.clause;
  const bool no = clause.relation == Relation::is_not;
  const char* const to = leg_is(all, 0) ? "to" : leg_is(all, 1) ? "of" : "with";
  switch (part.facet) {
    case FacetId::leg:
      return {};
    case FacetId::node:
      return no ? fmt::format("{} nodes other than {}", to, part.value) : fmt::format("{} {}", to, part.value);
    case FacetId::distance:
      return clause.relation == Relation::more_than ? fmt::format("{} nodes beyond {}", to, part.value)
             : clause.relation == Relation::at_most ? fmt::format("{} nodes up to {}", to, part.value)
                                                    : fmt::format("{} {}", to, part.value);
    case FacetId::topic:
      return fmt::format("with {}topic {}", no ? "another topic than " : "", part.value);
    case FacetId::entry:
      return fmt::format("{}plan entry {}", no ? "not of " : "of ", part.value);
    case FacetId::hop:
      return fmt::format("{}on {}", no ? "not " : "", part.value);
    case FacetId::attempt:
      return clause.relation == Relation::at_most && clause.value == 0 ? "of first tries"
             : clause.relation == Relation::more_than ? (clause.value == 0 ? "of retries" : "of later retries")
                                                      : "of early tries";
    case FacetId::length:
      return clause.relation == Relation::more_than ? fmt::format("longer than {} characters", part.value)
                                                    : fmt::format("of {} characters", against(part));
    case FacetId::node_before:
      return fmt::format("{}right after an exchange with {}", no ? "not " : "", part.value);
    case FacetId::topic_before:
      return fmt::format("{}right after an exchange with topic {}", no ? "not " : "", part.value);
    case FacetId::in_round:
      return fmt::format("at place {} after the plan's first entry", against(part));
    case FacetId::since_frame:
      return silence_words(part, "on the hop");
    case FacetId::since_exchange:
      return silence_words(part, "at the controller");
    case FacetId::since_node:
      return clause.relation == Relation::at_most
                 ? fmt::format("within {} of the request before to the same node", part.value)
                 : fmt::format("more than {} after the request before to the same node", part.value);
    case FacetId::held:
      return clause.relation == Relation::at_most
                 ? fmt::format("held for at most {} by the station before", part.value)
                 : fmt::format("held for more than {} by the station before", part.value);
    case FacetId::condition: {
      std::string name(phrase_of(facet.condition));
      return fmt::format("while {} is {}", name, against(part));
    }
    case FacetId::sender_heat:
      return fmt::format("while the sender's board is {}", against(part));
    case FacetId::receiver_heat:
      return fmt::format("while the receiver's board is {}", against(part));
    case FacetId::asked_field:
      return number_words(part, fmt::format("{} in the request", facet.label));
    case FacetId::reply_field:
      return number_words(part, fmt::format("{} in the reply ({})", facet.label, facet.known_from));
    case FacetId::before_field:
      return number_words(part, fmt::format("{} in the node's reply before", facet.label));
    case FacetId::asked_byte:
      return fmt::format("with the byte {} in the request", part.value);
    case FacetId::reply_byte:
      return fmt::format("with the byte {} in the reply ({})", part.value, facet.known_from);
    case FacetId::frame_byte:
      return fmt::format("with the byte {} in the frame", part.value);
    case FacetId::byte_at:
      return fmt::format("with {} as byte {} of the frame", part.value, clause.modulus);
    case FacetId::byte_pair:
      return fmt::format("with the bytes {} and, {} on, 0x{:02X} in the frame", part.value,
                         words::counted(static_cast<std::uint64_t>(clause.width), "byte"), clause.modulus);
    case FacetId::reply_change:
      return fmt::format("with {} changed by {} since the reply before ({})", facet.label,
                         clause.relation == Relation::more_than ? "more than " + part.value : against(part),
                         facet.known_from);
    case FacetId::since_start:
      return fmt::format("{} {} after the capture began", clause.relation == Relation::more_than ? "from" : "up to",
                         part.value);
    case FacetId::hour:
      return hour_words(part, facet.known_from);
    case FacetId::same_node:
      return clause.value == 1 ? "right after an exchange with the same node"
                               : "right after an exchange with another node";
    case FacetId::length_before:
      return clause.relation == Relation::more_than
                 ? fmt::format("right after a frame longer than {} characters on the hop", part.value)
                 : fmt::format("right after a frame of {} characters on the hop", against(part));
    case FacetId::changed:
      return clause.relation == Relation::at_most ? "with a reply that says the same as the one before"
                                                  : "with a reply that says something new";
    case FacetId::count:
      return number_words(part,
                          leg_is(all, 0) || leg_is(all, 1) ? "the frame's number on the hop" : "its running number");
    case FacetId::node_count:
      return number_words(part, "the running number of tries with the node");
    case FacetId::turn:
      return number_words(part, "the turn of the plan entry");
    case FacetId::number:
      return number_words(part, "the exchange's number");
    case FacetId::period:
      return fmt::format("in {} of every {}", words::span(clause.width), words::span(clause.modulus));
  }
  return {};
}

std::string number(std::uint64_t value) { return value == 0 ? "none" : words::count(value); }

std::string of_which(std::uint64_t part, std::uint64_t all) {
  if (part == all && all > 1) return fmt::format("all {}", words::count(all));
  return fmt::format("{} of {}", number(part), words::count(all));
}

}  // namespace

void say_part(RulePart& part, const Facet& facet, const Evidence& evidence, const std::vector<RulePart>& all) {
  part.label = facet.id == FacetId::condition ? std::string(name_of(facet.condition)) : facet.label;
  part.value = value_text(part, facet, evidence);
  part.words = words_of(part, facet, all);
}

std::string counts_of(const Rule& rule, const Evidence& evidence, const Case& which) {
  std::string noun = !rule.frames            ? "tries"
                     : leg_is(rule.parts, 1) ? "replies"
                     : leg_is(rule.parts, 0) ? "requests"
                                             : "frames";
  for (const RulePart& part : rule.parts) {
    if (!part.words.empty()) noun += " " + part.words;
  }
  std::string rest = rule.frames ? "frames" : "tries";
  if (rule.frames) rest += which.links.size() > 1 ? " on the same hops" : " " + words::place(evidence, which);
  const double share = static_cast<double>(rule.failed_in) / static_cast<double>(std::max<std::uint64_t>(1, rule.in));
  std::string text = rule.scaled ? "about " : "";
  text += fmt::format("{} {} failed", of_which(rule.failed_in, rule.in), noun);
  if (share < 0.995) text += fmt::format(" ({})", words::share(share));
  text += fmt::format("; {} of {} other {} did", number(rule.failed_out), words::count(rule.out), rest);
  if (rule.failed_out > 0) {
    text += fmt::format(" ({})", words::share(static_cast<double>(rule.failed_out) / static_cast<double>(rule.out)));
  }
  text.front() = static_cast<char>(std::toupper(static_cast<unsigned char>(text.front())));
  return text;
}

std::string sentence_of(const Rule& rule, const Evidence& evidence, const Case& which, bool first) {
  const std::string sure = fmt::format(" (p {}, on the half of the capture that was not searched).",
                                       rule.p < 0.0001 ? "below 0.0001" : words::chance(rule.p));
  return (first ? "" : "Of the rest: ") + counts_of(rule, evidence, which) + sure;
}

}  // namespace hopbench
