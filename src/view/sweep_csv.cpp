#include <fmt/format.h>

#include <vector>

#include "base/plain_text.h"
#include "view/json_text.h"
#include "view/sweep_report.h"

namespace hopbench {
namespace {

/// In quotes where it needs them.
std::string field_text(const std::string& text) {
  const std::string shown = harmless(text);
  if (shown.find_first_of(",\"") == std::string::npos) return shown;
  std::string out = "\"";
  for (const char c : shown) out += c == '"' ? std::string("\"\"") : std::string(1, c);
  return out + '"';
}

std::string line_of_fields(const std::vector<std::string>& fields) {
  std::string line;
  for (std::size_t i = 0; i < fields.size(); ++i) line += (i == 0 ? "" : ",") + field_text(fields[i]);
  return line + "\n";
}

/// Every cause that this program knows, in the order of their numbers.
std::vector<Cause> known_causes() {
  std::vector<Cause> causes;
  for (unsigned i = 1; i < 256; ++i) {
    const auto cause = static_cast<Cause>(i);
    if (cause_named(name_of(cause))) causes.push_back(cause);
  }
  return causes;
}

std::string seconds_text(Nanos span) { return fmt::format("{}", static_cast<double>(span) / 1e9); }
std::string micros_text(std::optional<Nanos> span) {
  return span ? fmt::format("{}", static_cast<double>(*span) / 1e3) : "";
}

std::vector<std::string> heads_of(const SweepPlan& plan, const std::vector<Cause>& causes) {
  std::vector<std::string> heads;
  for (const Vary& vary : plan.varied) heads.push_back(vary.path);
  for (const char* head : {"problem", "runs", "runs_with_failures", "simulated_seconds", "asked", "failed",
                           "failed_share", "failed_low", "failed_high", "interval"}) {
    heads.emplace_back(head);
  }
  for (std::size_t i = 0; i < outcome_count; ++i) heads.emplace_back(name_of(static_cast<Outcome>(i)));
  for (const char* head : {"tries", "longest_burst", "round_trip_p50_us", "round_trip_p99_us", "round_trip_max_us",
                           "unseen_seconds", "unseen_never_read", "unseen_node", "unseen_cell", "unseen_seed"}) {
    heads.emplace_back(head);
  }
  for (const Cause cause : causes) heads.push_back("cause_" + std::string(name_of(cause)));
  return heads;
}

std::vector<std::string> fields_of_row(const SweepRow& row, const std::vector<Cause>& causes) {
  std::vector<std::string> fields = row.values;
  const auto number = [&](std::uint64_t value) { fields.push_back(std::to_string(value)); };
  fields.push_back(problem_of(row));
  number(row.runs);
  number(row.failed_runs);
  fields.push_back(seconds_text(row.covered));
  number(row.asked);
  number(row.failed);
  const auto& share = row.share.share;
  for (const auto part : {&Share::value, &Share::low, &Share::high})
    fields.push_back(share ? fmt::format("{}", rounded((*share).*part)) : "");
  fields.emplace_back(!share ? "" : row.share.by_seeds ? "seeds" : "exact");
  for (const std::uint64_t count : row.outcomes) number(count);
  number(row.tries);
  number(row.longest_burst);
  for (const auto& span : {row.median, row.within_99, row.longest}) fields.push_back(micros_text(span));
  if (row.unseen) {
    fields.push_back(seconds_text(row.unseen->span));
    fields.emplace_back(row.unseen->never ? "1" : "0");
    fields.push_back(row.unseen->node);
    number(row.unseen->cell);
    number(row.unseen_seed);
  } else {
    fields.insert(fields.end(), 5, "");
  }
  for (const Cause cause : causes) {
    std::uint64_t tries = 0;
    for (const auto& each : row.causes) tries += each.first == cause ? each.second : 0;
    number(tries);
  }
  return fields;
}

/// Of a point without a run: nothing is known but its values. `all`: so many fields.
std::vector<std::string> fields_not_run(std::vector<std::string> values, std::size_t all) {
  values.emplace_back("not run yet");
  values.emplace_back("0");
  values.resize(all, "");
  return values;
}

}  // namespace

std::string problem_of(const SweepRow& row) {
  if (row.end == SweepEnd::impossible) return row.why;
  return row.end == SweepEnd::stuck ? "the chain is stuck at one instant (events without end)" : "";
}

std::string sweep_csv(const Sweep& sweep) {
  const auto causes = known_causes();
  const auto heads = heads_of(sweep.plan, causes);
  std::string out = line_of_fields(heads);
  std::size_t row = 0;
  for (std::size_t point = 0; point < sweep.plan.points(); ++point) {
    if (row < sweep.rows.size() && sweep.rows[row].point == point) {
      out += line_of_fields(fields_of_row(sweep.rows[row++], causes));
    } else {
      out += line_of_fields(fields_not_run(sweep.plan.values_at(point), heads.size()));
    }
  }
  return out;
}

}  // namespace hopbench
