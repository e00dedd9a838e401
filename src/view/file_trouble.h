// What is wrong with the files of a capture in several, in words.
#pragma once

#include <string>

#include "record/capture_damage.h"

namespace hopbench {

/// "one of its files is missing, 2 hold another part of it than their names say: the first is number 3"; "" if nothing
/// is wrong. A file that lies there twice, or in the place of another, holds another part.
std::string file_trouble(const CaptureDamage& damage);

}  // namespace hopbench
