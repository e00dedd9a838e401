#include "study/sweep_folder.h"

#include <charconv>
#include <variant>

#include "base/duration.h"
#include "text/edit.h"

namespace hopbench {
namespace {

const std::string as_stated = "as the scenario says";

std::string values_text(const Vary& vary) {
  std::string text = vary.path;
  for (std::size_t i = 0; i < vary.values.size(); ++i) text += (i == 0 ? "=" : ",") + vary.values[i];
  return text;
}

bool read_number(const std::string& text, std::uint64_t& number) {
  const auto [end, error] = std::from_chars(text.data(), text.data() + text.size(), number);
  return error == std::errc() && end == text.data() + text.size();
}

}  // namespace

std::vector<FolderPart> folder_parts(const SweepPlan& plan, const Scenario& base, const std::string& version) {
  std::vector<FolderPart> parts{{"version of hopbench", version},
                                {"name", plan.scenario},
                                {"first seed", std::to_string(plan.first_seed)},
                                {"number of seeds", std::to_string(plan.seeds)},
                                {"length of a run", plan.span > 0 ? format_duration(plan.span) : as_stated}};
  if (!plan.controller.empty()) parts.push_back({"controller", plan.controller});
  for (const Vary& vary : plan.varied) parts.push_back({"varied field", values_text(vary)});
  // Comments and the order of fields change no run.
  parts.push_back({"scenario", ScenarioTree(base).text()});
  parts.push_back({"bus description", base.bus_text});
  return parts;
}

std::optional<SweepPlan> plan_of_folder(const std::vector<FolderPart>& parts) {
  SweepPlan plan;
  std::uint64_t known = 0;
  for (const FolderPart& part : parts) {
    bool good = true;
    if (part.name == "name") {
      plan.scenario = part.value;
    } else if (part.name == "first seed") {
      good = read_number(part.value, plan.first_seed);
    } else if (part.name == "number of seeds") {
      good = read_number(part.value, plan.seeds);
    } else if (part.name == "length of a run") {
      const auto span = part.value == as_stated ? Nanos{0} : parse_duration(part.value);
      good = span.has_value();
      plan.span = span.value_or(0);
    } else if (part.name == "controller") {
      plan.controller = part.value;
      continue;
    } else if (part.name == "varied field") {
      auto vary = parse_vary(part.value);
      if (std::holds_alternative<EditProblem>(vary)) return std::nullopt;
      plan.varied.push_back(std::get<Vary>(std::move(vary)));
      continue;
    } else {
      continue;
    }
    if (!good) return std::nullopt;
    ++known;
  }
  constexpr std::uint64_t needed = 4;
  if (known != needed || plan.fault()) return std::nullopt;
  return plan;
}

}  // namespace hopbench
