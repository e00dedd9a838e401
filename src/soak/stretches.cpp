#include "soak/stretches.h"

namespace hopbench {
namespace {

void keep_counted(Archive& archive, Counted& counted) {
  // Counts: whole, and below 2^53.
  auto hits = static_cast<std::uint64_t>(counted.hits);
  auto trials = static_cast<std::uint64_t>(counted.trials);
  archive.number("hits", hits);
  archive.number("trials", trials);
  counted = {static_cast<double>(hits), static_cast<double>(trials)};
}

}  // namespace

void SoakCount::keep(Archive& archive) {
  archive.number("hits", hits);
  archive.number("trials", trials);
  archive.number("runs", runs);
}

Stretches::Stretches(std::size_t requirements, Nanos start, Nanos cycle)
    : rows_(requirements), cycles_(cycle > 0), start_(start), unit_(cycle > 0 ? cycle : 60 * second) {}

void Stretches::pass_border(std::span<const SoakCount> so_far) {
  bool tested = false;
  for (std::size_t i = 0; i < rows_.size(); ++i) {
    Row& row = rows_[i];
    row.counted.push_back({static_cast<double>(so_far[i].hits - row.at_border.hits),
                           static_cast<double>(so_far[i].trials - row.at_border.trials)});
    tested = tested || row.counted.back().trials > 0;
    row.at_border = so_far[i];
  }
  if (!tested && !rows_.empty()) untested_ += std::uint64_t{1} << doublings_;
  ++count_;
  if (count_ == most) {
    for (Row& row : rows_) {
      for (std::size_t i = 0; i < most / 2; ++i) {
        const Counted& next = row.counted[2 * i + 1];
        row.counted[i] = row.counted[2 * i];
        row.counted[i].hits += next.hits;
        row.counted[i].trials += next.trials;
      }
      row.counted.resize(most / 2);
    }
    count_ = most / 2;
    ++doublings_;
  }
}

void Stretches::keep(Archive& archive) {
  archive.number("stretches", count_, std::size_t{0}, most - 1);
  // So that no run is long enough for more.
  archive.number("doublings", doublings_, 0U, 20U);
  archive.number("untested", untested_, std::uint64_t{0}, std::uint64_t{count_} << doublings_);
  archive.all("requirement", rows_, [&](Row& row) {
    row.at_border.keep(archive);
    archive.list("stretch", row.counted, [&](Counted& counted) { keep_counted(archive, counted); });
    if (archive.good() && row.counted.size() != count_) archive.refuse("stretch", "not as many as there are");
  });
}

}  // namespace hopbench
