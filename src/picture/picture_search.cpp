// Exchanges that are looked for in a capture.
#include <algorithm>

#include "picture/look_times.h"
#include "picture/picture.h"
#include "seen/healthy.h"

namespace hopbench {

void Picture::copy(const Record& record, FoundExchange& found) {
  found.record = record.exchange;
  const auto* truth = truth_.of(found.record);
  found.truth_known = truth != nullptr;
  found.row_truths.clear();
  found.attempt_truths.clear();
  if (truth == nullptr) return;
  found.row_truths.assign(truth->rows.begin(), truth->rows.end());
  found.attempt_truths.assign(truth->attempts.begin(), truth->attempts.end());
}

std::optional<FoundExchange> Picture::at(Nanos from, Nanos to, std::optional<MapPlace> place) {
  std::optional<FoundExchange> best;
  int best_rank = 0;
  look(from, to, [&](const Record& record) {
    if (!record.is_exchange()) return true;
    const auto obs = record.exchange.seen();
    if (!shows(obs)) return true;
    bool here = obs.start >= from && obs.start < to;
    const bool trouble = place && any_try_failed(obs) && slices_.stations().trouble_at(obs, *place);
    for (const auto& row : obs.rows) here = here || (trouble && row.start >= from && row.start < to);
    if (!here) return true;
    const int rank = trouble ? 3 : any_try_failed(obs) ? 2 : 1;
    if (rank > best_rank) {
      best_rank = rank;
      copy(record, best.emplace());
    }
    return best_rank < 3;
  });
  return best;
}

std::optional<FoundExchange> Picture::neighbour(const FoundExchange& of, bool backwards) {
  const auto number = of.record.fixed.number;
  const Nanos start = of.record.fixed.start;
  std::optional<FoundExchange> found;
  // Those that are open together are told when they are over: in nearly the order of their numbers.
  for (Nanos back = usual_open; !found && back <= one_day; back *= 16) {
    const Nanos low = backwards ? start - std::min(start + farthest_instant, back) : start - 2 * longest_open_;
    look(low, backwards ? start : later(start, back), [&](const Record& record) {
      if (!record.is_exchange()) return true;
      const auto here = record.exchange.fixed.number;
      if (backwards ? here >= number : here <= number) return true;
      const bool nearer = !found || (backwards ? here > found->record.fixed.number : here < found->record.fixed.number);
      if (nearer) copy(record, found.emplace());
      const auto step = backwards ? number - here : here - number;
      return step > 1;
    });
  }
  return found;
}

std::optional<FoundExchange> Picture::numbered(std::uint64_t number) {
  // Numbers rise with time, but for exchanges that are open together: one is told when it is over.
  constexpr std::uint64_t open_together = 4096;
  Nanos low = from();
  Nanos high = until();
  Nanos start = low;  // what is told by then is surely before it
  while (low <= high) {
    const Nanos middle = low + (high - low) / 2;
    std::optional<std::uint64_t> first;
    look(middle, middle, [&](const Record& record) {
      if (record.is_exchange()) first = record.exchange.fixed.number;
      return !first;
    });
    if (first && *first + open_together < number) {
      start = middle;
      low = middle + 1;
    } else {
      high = middle - 1;
    }
  }
  std::optional<FoundExchange> found;
  look(start, until(), [&](const Record& record) {
    if (!record.is_exchange()) return true;
    if (record.exchange.fixed.number == number) copy(record, found.emplace());
    return !found && record.exchange.fixed.number <= number + open_together;
  });
  return found;
}

std::optional<FoundExchange> Picture::next_failure(Nanos from, bool backwards, std::optional<MapPlace> place) {
  std::optional<FoundExchange> found;
  const auto consider = [&](const Record& record) {
    if (!record.is_exchange()) return true;
    const auto obs = record.exchange.seen();
    if (!any_try_failed(obs) || !shows(obs)) return true;
    if (place && !slices_.stations().trouble_at(obs, *place)) return true;
    if (backwards ? obs.start >= from : obs.start <= from) return true;
    copy(record, found.emplace());
    return backwards;  // the last one before, but the first one after
  };
  const auto wanted = [&](const Slice& slice) {
    return place ? troubles_at(slice, *place) > 0 : slice.tried.failed() > 0;
  };
  // A frame may be damaged in a later slice than that in which its exchange begins.
  const Nanos around = place ? std::clamp(2 * longest_open_, usual_open, one_minute) : 0;
  const Nanos start = backwards ? from : from - std::min(from + farthest_instant, around);
  std::optional<Nanos> slice = slices_.next(backwards ? later(from, around) : start, backwards, wanted);
  while (slice && !found) {
    look(*slice - around, *slice + slices_.slice_span(), consider);
    if (found) break;
    slice = slices_.next(backwards ? *slice - 1 : *slice + slices_.slice_span(), backwards, wanted);
  }
  if (!found && !backwards && !caught_up_) look(std::max(from, read_until().value_or(from)), until(), consider);
  return found;
}

}  // namespace hopbench
