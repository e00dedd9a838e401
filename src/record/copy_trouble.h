// Why a capture could not be made from others, in words.
#pragma once

#include <string>

#include "record/capture_parts.h"

namespace hopbench {

Copied refused(Copied::Trouble trouble, std::string why);
/// Trouble with the file that was to be made.
Copied refused_file(const std::string& path, int error);

}  // namespace hopbench
