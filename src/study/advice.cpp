#include "study/advice.h"

namespace hopbench {

std::string_view battery_caution() {
  return "Live cells: use isolated instruments, follow local codes, leave it to qualified people.";
}

std::string_view watch_cells() {
  return "Meanwhile watch every cell's voltage with an instrument that does not use this chain; stop at the first cell "
         "that reaches a limit of its maker.";
}

}  // namespace hopbench
