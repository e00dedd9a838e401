#include "study/when.h"

#include "support/catch.h"

using namespace hopbench;

TEST_CASE("conditions of which no two tries had one alike are parted by a fit with both") {
  // Each number of cells balancing has a temperature of its own and the other way round, so at equal values of one the
  // other never varies; but they do not rise in step. Failures follow balancing: 2, 4, ... 16 of 2000 tries.
  constexpr std::uint8_t temperature_of[] = {0, 2, 1, 4, 3, 6, 5, 7};
  Evidence evidence;
  evidence.cycles = 20;
  evidence.conditions_known = true;
  evidence.block_span = 60 * second;
  Case which;
  which.family = Family::wire;
  for (std::uint32_t cycle = 0; cycle < 20; ++cycle) {
    for (std::uint8_t balancing = 0; balancing < 8; ++balancing) {
      Moment moment;
      moment.cycle = cycle;
      moment.balancing = balancing;
      moment.temperature = temperature_of[balancing];
      moment.tries = 2000;
      moment.failures = 2ULL * (balancing + 1) + (cycle * 5 + balancing * 3) % 4;
      for (std::uint64_t i = 0; i < moment.failures; ++i) {
        Incident incident;
        incident.moment = static_cast<std::uint32_t>(evidence.moments.size());
        which.incidents.push_back(static_cast<std::uint32_t>(evidence.incidents.size()));
        evidence.incidents.push_back(incident);
      }
      evidence.moments.push_back(moment);
    }
  }
  const auto whens = whens_of(evidence, which);
  const auto standing = [&](Condition condition) -> std::optional<Standing> {
    for (const auto& when : whens.found) {
      if (when.condition == condition) return when.standing;
    }
    return std::nullopt;
  };
  REQUIRE(standing(Condition::balancing));
  REQUIRE(standing(Condition::temperature));  // it moves along, so it has an effect as far as one looks at it alone
  CHECK(*standing(Condition::balancing) == Standing::holds);
  CHECK(*standing(Condition::temperature) == Standing::cannot_tell);
}
