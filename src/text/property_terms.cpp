// The grammar of properties.
#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <utility>

#include "base/decimal.h"
#include "base/duration.h"
#include "seen/observation.h"
#include "text/property_terms.h"
#include "text/suggest.h"

namespace hopbench {
namespace {

using What = PropertyTerm::What;
using Scope = PropertyTerm::Scope;

/// Longer ones are refused: nobody writes them.
constexpr std::size_t longest_text = 4096;

constexpr std::array<std::pair<std::string_view, What>, 8> plain{{
    {"asked", What::asked},
    {"failed", What::failed},
    {"tries", What::tries},
    {"round_trip", What::round_trip},
    {"unseen", What::unseen},
    {"bursts", What::bursts},
    {"longest_burst", What::longest_burst},
    {"undetected", What::undetected},
}};

/// The number times a factor, if it is one and comes out whole.
std::optional<std::int64_t> scaled(std::string_view digits, std::uint64_t factor) {
  std::int64_t result = 0;
  if (scale_decimal(digits, factor, false, result) != DecimalFault::none) return std::nullopt;
  return result;
}

struct Word {
  std::string_view text;
  std::size_t column = 1;
};

struct Refused {
  PropertyError error;
};

[[noreturn]] void refuse(const Word& word, std::string what) { throw Refused{{word.column, std::move(what)}}; }

bool is_blank(char c) { return c == ' ' || c == '\t'; }
bool is_sign(char c) { return c == '<' || c == '>' || c == '='; }

/// Words are parted by blanks; runs of < > = are words of their own.
std::vector<Word> words_of(std::string_view text) {
  std::vector<Word> words;
  std::size_t i = 0;
  while (i < text.size()) {
    if (is_blank(text[i])) {
      ++i;
      continue;
    }
    const std::size_t from = i;
    const bool sign = is_sign(text[i]);
    while (i < text.size() && !is_blank(text[i]) && is_sign(text[i]) == sign) ++i;
    words.push_back({text.substr(from, i - from), from + 1});
  }
  words.push_back({{}, text.size() + 1});
  return words;
}

class Parser {
 public:
  explicit Parser(std::string_view text) : words_(words_of(text)) {}

  std::vector<PropertyTerm> all() {
    std::vector<PropertyTerm> terms{one()};
    while (!word().text.empty()) {
      if (word().text != "and") refuse(word(), fmt::format("expected \"and\" or the end, not {}", quoted(word())));
      ++at_;
      terms.push_back(one());
    }
    return terms;
  }

 private:
  std::vector<Word> words_;
  std::size_t at_ = 0;

  [[nodiscard]] const Word& word() const { return words_[at_]; }
  const Word& take() {
    const Word& taken = words_[at_];
    if (!taken.text.empty()) ++at_;
    return taken;
  }
  static std::string quoted(const Word& word) { return word.text.empty() ? "the end" : in_quotes(word.text); }

  PropertyTerm one() {
    PropertyTerm made;
    read_measure(made);
    read_operator(made);
    read_value(made);
    read_scope(made);
    return made;
  }

  void read_measure(PropertyTerm& made) {
    const Word& name = take();
    const auto found =
        std::find_if(plain.begin(), plain.end(), [&](const auto& each) { return each.first == name.text; });
    if (found != plain.end()) {
      made.what = found->second;
      if (made.what == What::round_trip) read_percentile(made);
      return;
    }
    if (name.text == "cause") {
      const Word& cause = take();
      const auto named = cause_named(cause.text);
      if (!named || *named == Cause::none) refuse(cause, fmt::format("there is no cause {}", quoted(cause)));
      made.what = What::cause;
      made.which = static_cast<std::uint8_t>(*named);
      return;
    }
    if (const auto outcome = outcome_named(name.text)) {
      made.what = What::outcome;
      made.which = static_cast<std::uint8_t>(*outcome);
      return;
    }
    const auto symptom = symptom_named(name.text == "check_failures" ? "check" : name.text);
    if (symptom && *symptom != Symptom::none) {
      made.what = What::symptom;
      made.which = static_cast<std::uint8_t>(*symptom);
      return;
    }
    refuse(name, fmt::format("expected something to count, such as lost, late, failed, check_failures, unseen or "
                             "round_trip p99, not {}",
                             quoted(name)));
  }

  void read_percentile(PropertyTerm& made) {
    const Word& which = take();
    if (which.text == "max") {
      made.parts_per_million = 1'000'000;
      return;
    }
    const auto part = which.text.starts_with('p') ? scaled(which.text.substr(1), 10'000) : std::nullopt;
    if (!part || *part <= 0 || *part > 1'000'000)
      refuse(which, fmt::format("expected p50, p99, p99.9 or the like, or max, not {}", quoted(which)));
    made.parts_per_million = static_cast<std::uint32_t>(*part);
  }

  void read_operator(PropertyTerm& made) {
    constexpr std::array<std::pair<std::string_view, PropertyOperator>, 5> operators{{
        {">", PropertyOperator::more},
        {">=", PropertyOperator::at_least},
        {"<", PropertyOperator::less},
        {"<=", PropertyOperator::at_most},
        {"=", PropertyOperator::equal},
    }};
    const Word& sign = take();
    const auto found =
        std::find_if(operators.begin(), operators.end(), [&](const auto& each) { return each.first == sign.text; });
    if (found == operators.end()) refuse(sign, fmt::format("expected >, >=, <, <= or =, not {}", quoted(sign)));
    made.comparison = found->second;
  }

  void read_value(PropertyTerm& made) {
    const Word& value = take();
    if (made.what == What::round_trip || made.what == What::unseen) {
      const auto span = parse_duration(value.text);
      if (!span || *span < 0) refuse(value, fmt::format("expected a duration, such as 30s, not {}", quoted(value)));
      made.value = static_cast<std::uint64_t>(*span);
      return;
    }
    std::string_view digits = value.text;
    const bool can_share = made.what == What::failed || made.what == What::outcome || made.what == What::symptom ||
                           made.what == What::undetected;
    if (can_share && digits.ends_with('%')) {
      digits.remove_suffix(1);
      made.share = true;
    }
    const auto number = scaled(digits, made.share ? 10'000'000'000'000U : 1U);
    if (!number || *number < 0 || (made.share && *number > 1'000'000'000'000'000))
      refuse(value, fmt::format("expected a whole number{}, not {}", can_share ? " or a share of 0% to 100%" : "",
                                quoted(value)));
    made.value = static_cast<std::uint64_t>(*number);
  }

  void read_scope(PropertyTerm& made) {
    const Word& how = word();
    const bool on_links = made.what == What::symptom || made.what == What::undetected;
    const bool by_node = !on_links && made.what != What::cause;
    const bool by_topic =
        by_node && made.what != What::unseen && made.what != What::bursts && made.what != What::longest_burst;
    const auto fits = [&](bool can) {
      if (!can) refuse(how, fmt::format("{} does not go with what is counted here", quoted(how)));
      ++at_;
    };
    if (how.text == "at") {
      fits(by_node);
      made.scope = Scope::node;
      made.name = name("a node");
    } else if (how.text == "for") {
      fits(by_topic);
      made.scope = Scope::topic;
      made.name = name("a topic");
    } else if (how.text == "into") {
      fits(on_links);
      made.scope = Scope::into;
      made.name = name("a station");
    } else if (how.text == "on") {
      fits(on_links);
      const Word& hop = take();
      if (hop.text != "hop") refuse(hop, fmt::format("expected \"hop\", not {}", quoted(hop)));
      const Word& which = take();
      const auto number = scaled(which.text, 1);
      if (!number || *number < 1 || *number > 1000)
        refuse(which, fmt::format("expected the number of a hop, not {}", quoted(which)));
      made.scope = Scope::hop;
      made.hop = static_cast<std::uint16_t>(*number);
    }
  }

  std::string name(const char* of_what) {
    const Word& taken = take();
    if (taken.text.empty()) refuse(taken, fmt::format("expected the name of {}", of_what));
    return std::string(taken.text);
  }
};

}  // namespace

std::variant<std::vector<PropertyTerm>, PropertyError> parse_property(std::string_view text) {
  if (text.size() > longest_text) return PropertyError{longest_text + 1, "too long"};
  try {
    return Parser(text).all();
  } catch (const Refused& refused) {
    return refused.error;
  }
}

}  // namespace hopbench
