#include "record/repeat_models.h"

#include <algorithm>

#include "capture.pb.h"
#include "record/row_columns.h"
#include "seen/healthy.h"

namespace hopbench {
namespace {

Nanos minus(Nanos a, Nanos b) {
  return static_cast<Nanos>(static_cast<std::uint64_t>(a) - static_cast<std::uint64_t>(b));
}

/// Models reach no farther from their start; so far from the ends of time no repeat of one can lie beyond them.
constexpr Nanos farthest_reach = 3600 * second;

bool is_near(Nanos at, Nanos start) {
  const Nanos apart = minus(at, start);
  return apart >= -farthest_reach && apart <= farthest_reach;
}

bool is_near(const ExchangeRecord& exchange) {
  const Nanos start = exchange.fixed.start;
  const auto near_row = [start](const HopRow& row) { return is_near(row.start, start) && is_near(row.end, start); };
  const auto& attempt = exchange.attempts.front();
  return is_near(exchange.fixed.decided, start) && is_near(exchange.fixed.closed, start) &&
         is_near(attempt.start, start) && is_near(attempt.ask_end, start) &&
         std::all_of(exchange.rows.begin(), exchange.rows.end(), near_row);
}

}  // namespace

struct RepeatModels::Message {
  capture::Exchange exchange;
};

RepeatModels::RepeatModels() : message_(std::make_unique<Message>()) {}
RepeatModels::~RepeatModels() = default;

bool RepeatModels::repeat_of(std::span<const std::uint8_t> payload, Repeat& repeat) {
  auto& message = message_->exchange;
  if (payload.size() > max_record_bytes || !message.ParseFromArray(payload.data(), static_cast<int>(payload.size()))) {
    return false;
  }
  if (message.entry() >= models_.size()) return false;
  const Model& model = models_[message.entry()];
  if (!model.known || message.node_plus_1() != model.node_plus_1 || message.rows() != model.columns ||
      message.decided_after_ns() != model.decided_after || message.closed_after_ns() != model.closed_after ||
      !message.has_round_trip_ns() || message.round_trip_ns() != model.round_trip || message.kept_one_in() > 1 ||
      message.ambiguous() || message.doubtful() || message.port_late_ns() != 0 ||
      message.outcome() != static_cast<std::uint32_t>(Outcome::answered) || message.attempt_size() != 1 ||
      !message.truth().empty()) {  // as the model, and its truth tells of nothing
    return false;
  }
  const auto& attempt = message.attempt(0);
  if (attempt.after_ns() != model.attempt.start || attempt.ask_took_ns() != model.attempt.ask_end ||
      attempt.outcome() != static_cast<std::uint32_t>(Outcome::answered)) {
    return false;
  }
  // What lies near the ends of time, or is no span, is for whoever reads it whole to refuse.
  constexpr Nanos farthest_start = farthest_instant - farthest_reach;
  if (message.start_ns() < -farthest_start || message.start_ns() > farthest_start) return false;
  if (message.since_last_ns() < -1 || message.since_last_ns() > farthest_instant) return false;
  repeat.model = message.entry();
  repeat.number = message.number();
  repeat.turn = message.turn();
  repeat.start = message.start_ns();
  repeat.since_last = message.has_since_last_ns() ? message.since_last_ns() : -1;
  return true;
}

void RepeatModels::learn(const Record& record) {
  const ExchangeRecord& exchange = record.exchange;
  const ExchangeObs& seen = exchange.fixed;
  if (!looks_healthy(exchange.seen()) || seen.entry >= most_models || exchange.rows.size() > most_rows ||
      seen.round_trip < 0 || seen.kept_one_in != 1 || !is_near(exchange)) {
    return;
  }
  if (seen.entry >= models_.size()) {
    models_.resize(seen.entry + 1);
    seen_.resize(seen.entry + 1);
  }
  Model& model = models_[seen.entry];
  model.known = true;
  model.node_plus_1 = seen.node == 0xffff ? 0 : seen.node + 1U;
  model.decided_after = minus(seen.decided, seen.start);
  model.closed_after = minus(seen.closed, seen.decided);
  model.round_trip = seen.round_trip;
  const Attempt& attempt = exchange.attempts.front();
  model.attempt = {minus(attempt.start, seen.start), minus(attempt.ask_end, attempt.start), attempt.outcome};
  model.columns.clear();
  encode_rows(exchange.rows, seen.start, model.columns);
  model.attempts = exchange.attempts;
  model.rows = exchange.rows;
  for (std::size_t i = 0; i < models_.size(); ++i) {  // their memory may have moved
    if (i == seen.entry) seen_[i] = seen;
    seen_[i].attempts = models_[i].attempts;
    seen_[i].rows = models_[i].rows;
  }
}

}  // namespace hopbench
