#include "cli/cautions.h"

#include <fmt/format.h>

#include "scenario/real_port.h"
#include "study/words.h"

namespace hopbench {

std::vector<std::string> emulate_cautions(bool real_port) {
  const std::string values =
      "CAUTION: the values are invented. A controller with a charger, load or contactor must not act on them.";
  if (!real_port) return {values};
  return {
      "CAUTION: an adapter that is not isolated ties nodes at different potentials together through the computer;",
      "across a battery that is a short circuit. Use an isolated adapter, and listen before you send.",
      values,
      "A fault injected into the chain of a working battery can blind its protection: have protection that does not",
      "depend on this chain. Follow local codes; leave work on the battery itself to people qualified for it.",
      "More: docs/safety.md",
  };
}

std::vector<std::string> missing_permissions(const ChainDescription& chain, const Permissions& given) {
  std::vector<std::string> missing;
  if (!given.send) missing.push_back(fmt::format("to let the chain send on a real port, say {}", send_option));
  std::vector<std::string> names;
  for (const Mechanism each : acting_at_real_port(chain)) names.emplace_back(name_of(each));
  if (!given.inject && !names.empty()) {
    const char* const them = names.size() == 1 ? "it" : "them";
    missing.push_back(
        fmt::format("this scenario has {}, which can make replies go missing, late or wrong; to let {} act on a real "
                    "port, say {} (or "
                    "leave {} out with --without)",
                    words::list(names), them, inject_option, them));
  }
  return missing;
}

}  // namespace hopbench
