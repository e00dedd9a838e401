#include "study/whens.h"

#include <array>

namespace hopbench {

std::string_view name_of(Standing standing) {
  constexpr std::array<std::string_view, 9> names{"proven",     "not_told_apart", "explained", "small",    "falls",
                                                  "not_proven", "never_other",    "too_few",   "not_known"};
  return names[static_cast<std::size_t>(standing)];
}

std::string_view name_of(Confounding confounding) {
  switch (confounding) {
    case Confounding::alone:
      return "alone";
    case Confounding::holds:
      return "holds";
    case Confounding::borrowed:
      return "gone";
    case Confounding::cannot_tell:
      break;
  }
  return "cannot_tell";
}

}  // namespace hopbench
