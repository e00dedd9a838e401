#include "view/value_columns.h"

#include <algorithm>

#include "view/number_text.h"

namespace hopbench {
namespace {

constexpr std::size_t widest_value = 24;

std::string last_field(const std::string& path) {
  const std::size_t dot = path.rfind('.');
  return dot == std::string::npos ? path : path.substr(dot + 1);
}

}  // namespace

ValueColumns::ValueColumns(const SweepPlan& plan) {
  for (const Vary& vary : plan.varied) {
    const std::string name = last_field(vary.path);
    const auto same = std::count_if(plan.varied.begin(), plan.varied.end(),
                                    [&](const Vary& other) { return last_field(other.path) == name; });
    heads_.push_back(same > 1 ? vary.path : name);
    std::size_t size = characters_in(heads_.back());
    for (const std::string& value : vary.values) size = std::max(size, characters_in(value));
    sizes_.push_back(std::min(size, widest_value));
  }
}

std::string ValueColumns::line(const std::vector<std::string>& values) const {
  std::string out;
  for (std::size_t i = 0; i < sizes_.size(); ++i) out += "  " + fitted(values[i], sizes_[i]);
  return out;
}

}  // namespace hopbench
