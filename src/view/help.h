// How the inspector is read, and its keys.
#pragma once

#include "view/screen.h"

namespace hopbench {

Screen help_screen(int width, int height);

}  // namespace hopbench
