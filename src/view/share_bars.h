// Shares as bars of characters on a common logarithmic scale: they differ by powers of ten.
#pragma once

#include <cstddef>
#include <string>

#include "judge/limits.h"

namespace hopbench {

class ShareBars {
 public:
  /// The longest bar has so many characters.
  explicit ShareBars(std::size_t columns) : columns_(columns) {}

  /// Widens the scale, in whole powers of ten, so that the share and its upper limit lie on it; of a share of 0 the
  /// limit. First all that are to be shown, then the rest.
  void fit(const Share& share);
  /// What the two ends of the scale mean, over the whole width.
  [[nodiscard]] std::string ends() const;
  /// "#" up to the share, "-" on to its upper limit.
  [[nodiscard]] std::string bar(const Share& share) const;

 private:
  [[nodiscard]] std::size_t place(double share) const;

  std::size_t columns_;
  int low_ = -1;  // powers of ten
  int high_ = 0;
  bool empty_ = true;
};

}  // namespace hopbench
