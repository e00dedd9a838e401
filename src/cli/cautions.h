// What must be said before a real port is used, and what must be asked for.
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

/// The cautions for a real port, one line each; docs/safety.md says more.
const std::vector<std::string>& real_port_cautions();

/// The chain can damage, delay, swallow or forge frames: injected faults, or trouble on its lines.
bool spoils_frames(const ChainDescription& chain);

/// Which permissions are missing for a chain that answers on a real port, one line each; empty if none.
std::vector<std::string> missing_permissions(const ChainDescription& chain, const Permissions& given);

}  // namespace hopbench
