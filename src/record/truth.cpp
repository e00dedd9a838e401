#include "record/truth.h"

#include "capture.pb.h"

namespace hopbench {
namespace {

/// 0 on file is "none", which is 0xffff here.
std::uint16_t short_minus_1(std::uint32_t value) { return static_cast<std::uint16_t>(value - 1); }
bool is_short_plus_1(std::uint32_t value) { return value <= 0xffff; }
bool is_cause(std::uint32_t value) { return value <= 0xff; }

bool fits(const capture::Truth& truth, const ExchangeRecord& record) {
  const int rows = truth.row_size();
  const int attempts = truth.attempt_cause_size();
  if (truth.row_cause_size() != rows || truth.row_fault_plus_1_size() != rows || truth.row_bit_plus_1_size() != rows ||
      truth.row_undetected_size() != rows) {
    return false;
  }
  if (truth.attempt_station_plus_1_size() != attempts || truth.attempt_link_plus_1_size() != attempts ||
      truth.attempt_fault_plus_1_size() != attempts) {
    return false;
  }
  if (truth.strike_link_plus_1_size() != truth.strike_fault_size() ||
      truth.strike_frame_size() != truth.strike_fault_size()) {
    return false;
  }
  for (int i = 0; i < rows; ++i) {
    if (truth.row(i) >= record.rows.size() || !is_cause(truth.row_cause(i))) return false;
  }
  for (int i = 0; i < attempts; ++i) {
    if (!is_cause(truth.attempt_cause(i)) || !is_short_plus_1(truth.attempt_station_plus_1(i)) ||
        !is_short_plus_1(truth.attempt_link_plus_1(i))) {
      return false;
    }
  }
  return attempts == 0 || static_cast<std::size_t>(attempts) == record.attempts.size();
}

}  // namespace

struct TruthReader::Message {
  capture::Truth truth;
};

TruthReader::TruthReader() : message_(std::make_unique<Message>()) {}
TruthReader::~TruthReader() = default;

void TruthReader::begin(const RunInfo& run) { static_cast<void>(bounds_.take(run)); }

const ExchangeTruth* TruthReader::of(const ExchangeRecord& record) {
  auto& truth = message_->truth;
  misfit_ = false;
  if (record.truth_ && record.truth_->empty()) {
    rows_.clear();
    attempts_.assign(record.attempts.size(), AttemptTruth{});
    strikes_.clear();
    truth_ = {rows_, attempts_, strikes_};
    return &truth_;
  }
  if (!record.truth_) return nullptr;
  misfit_ = !truth.ParseFromString(*record.truth_) || !fits(truth, record);
  if (misfit_) return nullptr;
  rows_.clear();
  for (int i = 0; i < truth.row_size(); ++i) {
    rows_.push_back({truth.row(i), static_cast<Cause>(truth.row_cause(i)), truth.row_fault_plus_1(i) - 1,
                     truth.row_bit_plus_1(i) - 1, truth.row_undetected(i)});
  }
  attempts_.assign(record.attempts.size(), AttemptTruth{});
  for (int i = 0; i < truth.attempt_cause_size(); ++i) {
    attempts_[static_cast<std::size_t>(i)] = {
        static_cast<Cause>(truth.attempt_cause(i)), short_minus_1(truth.attempt_station_plus_1(i)),
        short_minus_1(truth.attempt_link_plus_1(i)), truth.attempt_fault_plus_1(i) - 1};
  }
  strikes_.clear();
  for (int i = 0; i < truth.strike_fault_size(); ++i) {
    const std::uint32_t frame = truth.strike_frame(i);
    strikes_.push_back({truth.strike_fault(i), short_minus_1(truth.strike_link_plus_1(i)),
                        static_cast<std::uint8_t>(frame), (frame & 0x100U) != 0,
                        static_cast<std::uint8_t>(frame >> 9U)});
  }
  truth_ = {rows_, attempts_, strikes_};
  misfit_ = !bounds_.hold(truth_);
  return misfit_ ? nullptr : &truth_;
}

void replay(CaptureReader& reader, Sink& sink) {
  TruthReader truths;
  Replayer replayer(reader, sink);
  while (const Record* record = replayer.next()) {
    if (record->is_exchange()) {
      const auto* truth = truths.of(record->exchange);
      if (truths.misfit()) reader.causes_unreadable();
      sink.exchange(record->exchange.seen(), truth);
    } else {
      if (record->kind == RecordKind::head) truths.begin(record->head.run);
      pass_on(*record, sink);
    }
  }
}

}  // namespace hopbench
