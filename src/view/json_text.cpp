#include "view/json_text.h"

#include <fmt/format.h>

#include <algorithm>
#include <boost/json/src.hpp>  // the library itself: this is the only file that includes it

namespace hopbench {
namespace {

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
      out += boost::json::serialize(member.key());
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
