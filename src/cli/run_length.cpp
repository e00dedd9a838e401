#include "cli/run_length.h"

#include <fmt/format.h>

#include "base/duration.h"
#include "cli/commands.h"

namespace hopbench {

std::optional<Nanos> read_for(const std::string& text) {
  if (text.empty()) return 0;
  std::string why;
  const auto span = parse_duration(text, &why);
  if (span && *span > 0 && *span <= longest_run) return span;
  if (why.empty()) why = *span > 0 ? "a run lasts at most 36500d" : "must be longer than nothing";
  (void)bad_input(fmt::format("--for {}: {}", text, why));
  return std::nullopt;
}

Nanos length_of_run(Nanos asked, const ChainDescription& chain) {
  if (asked > 0) return asked;
  return chain.run_for > 0 ? chain.run_for : 3600 * second;
}

std::string round_entry(const ChainDescription& chain) {
  for (const PlanEntry& entry : chain.controller.plan) {
    if (entry.every <= 1) return entry.name;
  }
  return {};
}

}  // namespace hopbench
