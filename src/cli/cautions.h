// What must be said before a controller meets the chain, and what must be asked for.
#pragma once

#include <string>
#include <vector>

#include "scenario/description.h"

namespace hopbench {

/// What the user has asked for in so many words, this time.
struct Permissions {
  bool send = false;
  bool inject = false;
};

inline constexpr const char* send_option = "--send-on-real-port";
inline constexpr const char* inject_option = "--inject-on-real-port";
inline constexpr const char* inject_help =
    "With --serial: what makes replies go missing in the scenario may act on this real port";

/// The cautions that `emulate` says before anything else, one line each: one always, and those for a real port.
/// docs/safety.md says more.
std::vector<std::string> emulate_cautions(bool real_port);

/// Which permissions are missing for a chain that answers on a real port, one line each; empty if none.
std::vector<std::string> missing_permissions(const ChainDescription& chain, const Permissions& given);

}  // namespace hopbench
