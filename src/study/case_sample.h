// Failures of a case and what passed at the same places, as they are compared.
#pragma once

#include <algorithm>
#include <cstdint>
#include <span>
#include <unordered_map>
#include <vector>

#include "judge/bit_table.h"
#include "study/cases.h"
#include "study/rhythm.h"
#include "study/specimens.h"

namespace hopbench {

/// At most so many of each, thinned evenly. What it is made of must outlive it.
class CaseSample {
 public:
  static constexpr std::size_t most_failures = 4096;
  static constexpr std::size_t most_others = 8192;
  static constexpr Nanos most_halves = 32;  // at least so many blocks of time are dealt to the two halves

  CaseSample(const Evidence& evidence, const SpecimenFold& fold, const Case& which);

  [[nodiscard]] bool frames() const { return frames_; }
  [[nodiscard]] bool sampled() const { return sampled_; }
  [[nodiscard]] std::size_t hits() const { return hits_; }
  [[nodiscard]] std::size_t others() const { return others_; }
  [[nodiscard]] std::span<const Specimen* const> specimens() const { return specimens_; }
  /// Of the specimen with this index.
  [[nodiscard]] bool failed(std::size_t item) const { return kept_[item].hit; }
  [[nodiscard]] double weight(std::size_t item) const { return kept_[item].weight; }

  /// Instants from the beginning of the evidence, or numbers of frames or tries, of the specimens that `among` holds.
  /// Failures with nothing good between are one event, told by the first.
  template <typename Among>
  [[nodiscard]] Placed placed(bool numbers, Among among) const {
    Placed placed;
    for (std::size_t i = 0; i < kept_.size(); ++i) {
      if (!among(i)) continue;
      const Specimen& one = *kept_[i].specimen;
      const double at =
          numbers ? static_cast<double>(one.count) : static_cast<double>(std::max<Nanos>(0, one.at - evidence_->from));
      if (!kept_[i].hit) {
        placed.passed.push_back(at);
        continue;
      }
      placed.all_failed.push_back(at);
      if (begins_run(i)) placed.failed.push_back(at);
    }
    std::sort(placed.failed.begin(), placed.failed.end());
    std::sort(placed.all_failed.begin(), placed.all_failed.end());
    std::sort(placed.passed.begin(), placed.passed.end());
    return placed;
  }
  /// Something good came between it and the failure before it.
  [[nodiscard]] bool begins_run(std::size_t item) const;
  /// Frames of several links are not counted together.
  [[nodiscard]] bool counted() const {
    return std::all_of(specimens_.begin(), specimens_.end(),
                       [&](const Specimen* each) { return each->link == specimens_.front()->link; });
  }
  /// Of those that passed, so many stand behind each, on average.
  [[nodiscard]] double passed_each() const;
  [[nodiscard]] std::vector<Compared> items() const;

  /// Calls with the item and the incident of the case for each failure that was kept.
  template <typename Call>
  void each_incident(Call call) const {
    for (std::size_t i = 0; i < kept_.size(); ++i) {
      if (!kept_[i].hit) continue;
      const auto found = incidents_.find(key_of(*kept_[i].specimen));
      if (found != incidents_.end()) call(i, found->second);
    }
  }

 private:
  struct Kept {
    const Specimen* specimen = nullptr;
    double weight = 1;
    bool hit = false;
  };

  static std::uint64_t key_of(std::uint32_t entry, std::uint32_t turn, std::uint8_t attempt) {
    return (std::uint64_t{entry} << 40U) ^ (std::uint64_t{turn} << 8U) ^ attempt;
  }
  static std::uint64_t key_of(const Specimen& one) { return key_of(one.entry, one.turn, one.attempt); }
  static void thin(std::vector<Kept>& kept, std::size_t most);

  const Evidence* evidence_;
  const Case* which_;
  bool frames_;
  bool sampled_ = false;
  std::size_t hits_ = 0;
  std::size_t others_ = 0;
  std::unordered_map<std::uint64_t, std::uint32_t> incidents_;
  std::vector<Kept> kept_;
  std::vector<const Specimen*> specimens_;
};

}  // namespace hopbench
