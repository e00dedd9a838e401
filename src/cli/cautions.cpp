#include "cli/cautions.h"

#include <fmt/format.h>

#include <algorithm>

namespace hopbench {

const std::vector<std::string>& real_port_cautions() {
  static const std::vector<std::string> lines{
      "CAUTION: an adapter that is not isolated ties nodes at different potentials together through the computer;",
      "across a battery that is a short circuit. Use an isolated adapter, and listen before you send.",
      "The values sent are invented, and a fault injected into the chain of a working battery can blind its "
      "protection:",
      "have protection that does not depend on this chain, and let nothing charge or discharge by these values.",
      "Follow local codes; leave work on the battery itself to people qualified for it. More: docs/safety.md",
  };
  return lines;
}

bool spoils_frames(const ChainDescription& chain) {
  const auto spoils = [](const LinkSpec& link) {
    return link.bit_error != 0 || link.burst.mean_good != 0 || link.contact.mean_between != 0 || !link.opens.empty();
  };
  return !chain.faults.empty() || std::any_of(chain.links.begin(), chain.links.end(), spoils);
}

std::vector<std::string> missing_permissions(const ChainDescription& chain, const Permissions& given) {
  std::vector<std::string> missing;
  if (!given.send) missing.push_back(fmt::format("to let the chain send on a real port, say {}", send_option));
  if (!given.inject && spoils_frames(chain)) {
    missing.push_back(
        fmt::format("this scenario has faults or line trouble; to have them on a real port, say {}", inject_option));
  }
  return missing;
}

}  // namespace hopbench
