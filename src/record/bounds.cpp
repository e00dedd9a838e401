#include "record/bounds.h"

#include <algorithm>

namespace hopbench {
namespace {

constexpr std::uint16_t nowhere = 0xffff;
constexpr std::uint32_t no_fault = 0xffffffff;

bool is_span(Nanos span) { return span >= 0 && span <= 2 * farthest_instant; }
bool is_span_or_none(Nanos span) { return span == -1 || is_span(span); }

bool is_lateness(const Lateness& lateness) {
  const auto counts = {lateness.sends, lateness.stalls, lateness.not_fetched, lateness.nobody_there};
  const auto spans = {lateness.worst,   lateness.total,       lateness.worst_stall,
                      lateness.stalled, lateness.port_median, lateness.port_99};
  return std::all_of(counts.begin(), counts.end(), [](std::uint64_t count) { return count <= Bounds::most_counted; }) &&
         std::all_of(spans.begin(), spans.end(), is_span);
}

}  // namespace

bool Bounds::take(const RunInfo& run) {
  const bool few_cells =
      std::all_of(run.cells.begin(), run.cells.end(), [](auto cells) { return cells <= Bounds::most_cells; });
  const bool cells_told = std::all_of(run.entries.begin(), run.entries.end(), [](const EntryInfo& entry) {
    return entry.first_cell <= Bounds::most_cells && entry.cells <= Bounds::most_cells;
  });
  if (!few_cells || !cells_told || (run.time_out && !is_span(*run.time_out))) return false;
  links_ = run.links.size();
  nodes_ = run.nodes.size();
  entries_ = run.entries.size();
  faults_ = run.faults.size();
  taken_ = true;
  return true;
}

bool Bounds::hold_exchange(const ExchangeRecord& record) const {
  const auto& fixed = record.fixed;
  if (fixed.entry >= entries_ || (fixed.node != nowhere && fixed.node >= nodes_)) return false;
  if (!is_instant(fixed.start) || !is_instant(fixed.decided) || !is_instant(fixed.closed)) return false;
  if (!is_span_or_none(fixed.round_trip) || !is_span_or_none(fixed.since_last) || !is_span(fixed.port_late))
    return false;
  if (record.attempts.size() > most_attempts) return false;
  const auto good_attempt = [](const Attempt& each) { return is_instant(each.start) && is_instant(each.ask_end); };
  const auto good_row = [links = links_](const HopRow& row) {
    return row.link < links && is_instant(row.start) && is_instant(row.end);
  };
  return std::all_of(record.attempts.begin(), record.attempts.end(), good_attempt) &&
         std::all_of(record.rows.begin(), record.rows.end(), good_row);
}

bool Bounds::hold(const Record& record) const {
  switch (record.kind) {
    case RecordKind::head:
    case RecordKind::build:
      return true;
    case RecordKind::clean_exchange:
    case RecordKind::touched_exchange:
      return hold_exchange(record.exchange);
    case RecordKind::stray:
      return is_instant(record.stray.fixed.at) && record.stray.fixed.link < links_;
    case RecordKind::arrival:
      return is_instant(record.arrival.fixed.at) && is_instant(record.arrival.fixed.late_from) &&
             is_instant(record.arrival.fixed.late_to) &&
             (record.arrival.flags.empty() || record.arrival.flags.size() == record.arrival.bytes.size());
    case RecordKind::end:
      return is_instant(record.end.until) && is_lateness(record.end.lateness);
    case RecordKind::tally:
      return is_instant(record.tally.fixed.from) && is_instant(record.tally.fixed.to) &&
             record.tally.fixed.exchanges <= most_counted;
    case RecordKind::state:
      return is_instant(record.state.fixed.at) &&
             (taken_ ? record.state.nodes.size() == nodes_ : record.state.nodes.size() <= nodes_);
    case RecordKind::gap:
      return is_instant(record.gap.from) && is_instant(record.gap.to);
    case RecordKind::hole:
    case RecordKind::dropped:
      return is_instant(record.dropped.from) && is_instant(record.dropped.to) && record.dropped.records <= most_counted;
    case RecordKind::command:
    case RecordKind::note:
      return is_instant(record.remark.at);
  }
  return true;
}

bool Bounds::hold(const ExchangeTruth& truth) const {
  const auto good_fault = [this](std::uint32_t fault) { return fault == no_fault || fault < faults_; };
  return std::all_of(truth.rows.begin(), truth.rows.end(),
                     [&](const RowTruth& row) { return good_fault(row.fault); }) &&
         std::all_of(truth.attempts.begin(), truth.attempts.end(),
                     [&](const AttemptTruth& attempt) {
                       return good_fault(attempt.fault) && (attempt.station == nowhere || attempt.station < nodes_) &&
                              (attempt.link == nowhere || attempt.link < links_);
                     }) &&
         std::all_of(truth.strikes.begin(), truth.strikes.end(), [this](const FaultStrike& strike) {
           return strike.fault < faults_ && (strike.link == nowhere || strike.link < links_);
         });
}

}  // namespace hopbench
