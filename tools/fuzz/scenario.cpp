// Any bytes as a scenario and as a bus description: either they load, or every problem has a file and a line to show.
// As a libFuzzer target this is the whole program; the tests replay tests/text/corpus through the same function.
#include <cstddef>
#include <cstdint>
#include <cstdlib>
#include <string>
#include <vector>

#include "text/bus.h"
#include "text/checked.h"
#include "text/parse.h"
#include "text/scenario.h"

namespace hopbench {

void fuzz_scenario(const std::uint8_t* data, std::size_t size) {
  const TextFile file{"fuzz.txtpb", std::string(reinterpret_cast<const char*>(data), size)};
  const auto sound = [](bool loaded, const std::vector<Problem>& problems) {
    if (loaded == has_errors(problems)) std::abort();
    for (const Problem& problem : problems) {
      if (problem.file.empty() || problem.what.empty() || problem.line < 0) std::abort();
      if (render(problem).find(problem.what) == std::string::npos) std::abort();
    }
  };
  (void)kind_of(file);
  std::vector<Problem> bus_problems;
  sound(load_bus(file, bus_problems).has_value(), bus_problems);
  // No file is read: whatever bus is named, it is the first that comes with the bench.
  const auto bus = shipped_bus("bench-frame");
  std::vector<Problem> problems;
  sound(load_scenario(file, stored_bus(bus ? bus->text : ""), problems).has_value(), problems);
}

}  // namespace hopbench

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
  hopbench::fuzz_scenario(data, size);
  return 0;
}
