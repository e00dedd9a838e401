// Random chains with one or two mechanisms hidden in them.
#pragma once

#include <cstdint>
#include <optional>
#include <string>
#include <vector>

#include "plant.h"

namespace hopbench::rates {

/// Seeds from here on are for reports; those below are for shaping what explain does.
inline constexpr std::uint64_t first_to_report = 900'001;
/// A mechanism counts if at least so many tries failed because of it.
inline constexpr std::uint64_t enough_failures = 50;

struct Hidden {
  Mechanism mechanism = Mechanism::bit_noise;
  std::string name;  // of the plant
  Planted planted;
  std::uint64_t failures = 0;  // tries, by the truth
};

struct HiddenCase {
  std::uint64_t seed = 0;
  std::string text;  // of the scenario
  std::vector<Hidden> hidden;
  bool as_told = false;  // conditions are those that the traffic tells, also for who sees every hop
};

/// The case of this seed. Strengths are drawn, and drawn again where the truth shows too few failures or a chain that
/// hardly works; what explain says of it plays no part. `only`: name of the one plant that is hidden; empty: one or
/// two, drawn. `log`: why drawings were given up; null: nobody wants to know. Nothing if no drawing came to anything.
std::optional<HiddenCase> hidden_case(std::uint64_t seed, const std::string& only = {},
                                      std::vector<std::string>* log = nullptr);

}  // namespace hopbench::rates
