// Which exchanges a picture shows.
#pragma once

#include <cstdint>
#include <optional>
#include <string>
#include <vector>

#include "seen/observation.h"

namespace hopbench {

/// An exchange is shown if it has all that is asked for.
struct Filter {
  std::optional<std::uint16_t> link;  // it was damaged there
  std::optional<std::uint16_t> node;  // it was with this one
  std::optional<std::string> topic;
  std::optional<Outcome> outcome;  // of the exchange
  std::optional<Symptom> symptom;  // one of its frames had it
  bool failed = false;             // one of its tries came to nothing

  [[nodiscard]] bool any() const;
  [[nodiscard]] bool shows(const ExchangeObs& obs, const RunInfo& run) const;
  /// As parse() reads it; "" if everything is shown.
  [[nodiscard]] std::string text(const RunInfo& run) const;
  /// Words in pairs: "hop 5", "node a7", "topic readings", "outcome late", "symptom check", and "failed". Nothing
  /// shows everything. None, with one line in `why`, if it cannot be read.
  static std::optional<Filter> parse(const std::string& text, const RunInfo& run, std::string& why);
};

}  // namespace hopbench
