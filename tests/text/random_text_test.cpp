// Scenarios drawn from a number are good ones, or the tests that work with them would look at nothing.
#include "bench.h"
#include "support/scenario_text.h"

namespace hopbench {

TEST_CASE("scenarios drawn as text load") {
  for (std::uint64_t number = 0; number < 400; ++number) {
    INFO(number);
    bench::load_good(scenario_text(number));
  }
}

}  // namespace hopbench
