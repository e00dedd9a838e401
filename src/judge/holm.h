// Many tests at once.
#pragma once

#include <span>
#include <vector>

namespace hopbench {

/// p values made larger so that the chance of calling any of them by mistake stays below the level that they are held
/// against (S. Holm, Scandinavian Journal of Statistics 6 (1979) 65-70, step-down). In the order given.
std::vector<double> holm(std::span<const double> p);

}  // namespace hopbench
