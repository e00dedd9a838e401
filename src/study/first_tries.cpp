#include "study/first_tries.h"

#include <algorithm>

namespace hopbench {
namespace {

constexpr Nanos first_span = 10 * second;

}  // namespace

void FirstTries::begin(std::size_t entries) {
  begun_ = false;
  span_ = first_span;
  blocks_.clear();
  lengths_.assign(entries <= most_entries ? entries : 0, {});
}

void FirstTries::asked(std::uint32_t entry, Nanos at, std::uint32_t weight, bool failed, bool after_good) {
  if (entry >= lengths_.size()) return;
  if (!begun_) from_ = at;
  begun_ = true;
  const Nanos since = std::max<Nanos>(0, at - from_);
  while (since / span_ >= static_cast<Nanos>(most_blocks)) {
    span_ *= 2;
    for (std::size_t i = 1; i < blocks_.size(); ++i) {
      auto& sum = blocks_[i / 2];
      if (i % 2 == 0) {
        sum = blocks_[i];
        continue;
      }
      for (std::size_t e = 0; e < sum.size(); ++e) {
        sum[e].asked += blocks_[i][e].asked;
        sum[e].failed += blocks_[i][e].failed;
        sum[e].failed_after_good += blocks_[i][e].failed_after_good;
      }
    }
    blocks_.resize((blocks_.size() + 1) / 2);
  }
  const auto block = static_cast<std::size_t>(since / span_);
  while (blocks_.size() <= block) blocks_.emplace_back(lengths_.size());
  Count& count = blocks_[block][entry];
  count.asked += weight;
  if (!failed) return;
  ++count.failed;
  if (after_good) ++count.failed_after_good;
}

void FirstTries::said(std::uint32_t entry, std::size_t ask, std::size_t answer) {
  if (entry < lengths_.size()) lengths_[entry] = {static_cast<std::uint32_t>(ask), static_cast<std::uint32_t>(answer)};
}

}  // namespace hopbench
