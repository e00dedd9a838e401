#include <fmt/format.h>

#include <boost/json/array.hpp>
#include <boost/json/object.hpp>

#include "view/frame_report.h"
#include "view/json_text.h"

namespace hopbench {
namespace {

namespace json = boost::json;

std::string hex_of(std::span<const std::uint8_t> bytes) {
  std::string text;
  for (const std::uint8_t byte : bytes) text += fmt::format("{:02x}", byte);
  return text;
}

template <class Number>
json::value or_null(const std::optional<Number>& number) {
  return number ? json::value(*number) : json::value(nullptr);
}

constexpr const char* role_names[] = {"ask", "answer", "refusal", "notice"};
constexpr const char* damage_names[] = {"none", "check", "too_short", "too_long", "malformed"};
constexpr const char* part_kinds[] = {"field", "value", "check", "rest"};

json::object part_json(const SpelledPart& part) {
  json::object object;
  object["kind"] = part_kinds[static_cast<std::size_t>(part.what)];
  object["name"] = part.name;
  object["bit"] = part.bit;
  object["bits"] = part.bits;
  object["bytes"] = hex_of(part.bytes);
  object["raw"] = or_null(part.raw);
  object["value"] = or_null(part.value);
  object["unit"] = part.unit;
  object["expected"] = or_null(part.expected);
  object["wrong"] = part.wrong.empty() ? json::value(nullptr) : json::value(part.wrong);
  return object;
}

}  // namespace

std::string frames_json(const Protocol& protocol, const std::vector<FrameLook>& looks) {
  const BusDescription& bus = protocol.description();
  json::object document;
  document["schema"] = "hopbench.frame/1";
  document["bus"] = bus.name;
  json::array& frames = document["frames"].emplace_array();
  for (const FrameLook& look : looks) {
    json::object object;
    object["at"] = look.wire_at;
    object["wire"] = hex_of(look.wire);
    object["fits"] = fits(look);
    object["damage"] = damage_names[static_cast<std::size_t>(look.damage)];
    object["wrong_at"] = or_null(wrong_at(protocol, look));
    if (!look.has_content) {
      object["trouble"] = look.trouble;
      frames.push_back(std::move(object));
      continue;
    }
    const Spelled& spelled = look.spelled;
    object["content"] = hex_of(look.content);
    object["role"] = role_names[static_cast<std::size_t>(spelled.role)];
    object["topic"] = spelled.topic ? json::value(bus.topics[*spelled.topic].name) : json::value(nullptr);
    object["shape"] = spelled.shape == 0 ? "" : bus.shapes[spelled.shape - 1].name;
    json::array& parts = object["parts"].emplace_array();
    for (const SpelledPart& part : spelled.parts) parts.push_back(part_json(part));
    frames.push_back(std::move(object));
  }
  return json_text(document);
}

}  // namespace hopbench
