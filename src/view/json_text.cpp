#include "view/json_text.h"

#include <fmt/format.h>

#include <algorithm>
#include <boost/json/src.hpp>  // the library itself: this is the only file that includes it

#include "base/plain_text.h"

namespace hopbench {
namespace {

/// Always UTF-8, and never a character that acts on a terminal: JSON is printed there as well.
std::string quoted(std::string_view text) {
  std::string out = "\"";
  while (!text.empty()) {
    const auto point = first_code_point(text);
    if (point.value == U'"' || point.value == U'\\') {
      out += '\\';
      out += static_cast<char>(point.value);
    } else if (!point.good || acts_on_terminal(point.value)) {
      out += fmt::format("\\u{:04x}", static_cast<std::uint32_t>(point.value));
    } else {
      out += text.substr(0, point.bytes);
    }
    text.remove_prefix(point.bytes);
  }
  return out + '"';
}

bool is_leaf(const boost::json::value& value) { return !value.is_object() && !value.is_array(); }

bool is_small(const boost::json::object& object) {
  return object.size() <= 4 &&
         std::all_of(object.begin(), object.end(), [](const auto& member) { return is_leaf(member.value()); });
}

void write(const boost::json::value& value, std::size_t depth, std::string& out) {
  const auto indent = [&](std::size_t levels) { out.append(2 * levels, ' '); };
  if (const auto* object = value.if_object(); object != nullptr && !object->empty()) {
    const bool small = is_small(*object);
    out += small ? "{" : "{\n";
    bool first = true;
    for (const auto& member : *object) {
      if (!first) out += small ? ", " : ",\n";
      first = false;
      if (!small) indent(depth + 1);
      out += quoted(member.key());
      out += ": ";
      write(member.value(), depth + 1, out);
    }
    if (!small) {
      out += '\n';
      indent(depth);
    }
    out += '}';
  } else if (const auto* array = value.if_array(); array != nullptr && !array->empty()) {
    out += "[\n";
    for (std::size_t i = 0; i < array->size(); ++i) {
      if (i > 0) out += ",\n";
      indent(depth + 1);
      write((*array)[i], depth + 1, out);
    }
    out += '\n';
    indent(depth);
    out += ']';
  } else if (const auto* text = value.if_string()) {
    out += quoted(*text);
  } else if (const auto* number = value.if_double()) {
    out += fmt::format("{}", *number);
  } else {
    out += boost::json::serialize(value);
  }
}

}  // namespace

std::string json_text(const boost::json::value& value) {
  std::string out;
  write(value, 0, out);
  out += '\n';
  return out;
}

void put_reality(boost::json::object& document, Reality reality) {
  const auto caution = caution_of(reality);
  document["reality"] = name_of(reality);
  document["caution"] = caution.empty() ? boost::json::value(nullptr) : boost::json::value(caution);
}

double rounded(double value) { return std::strtod(fmt::format("{:.6g}", value).c_str(), nullptr); }

}  // namespace hopbench
