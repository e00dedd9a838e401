#include "record/truth.h"

#include "capture.pb.h"

namespace hopbench {
namespace {

std::uint16_t short_minus_1(std::uint32_t value) { return static_cast<std::uint16_t>(value - 1); }

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
    if (truth.row(i) >= record.rows.size()) return false;
  }
  return attempts == 0 || static_cast<std::size_t>(attempts) == record.attempts.size();
}

}  // namespace

struct TruthReader::Message {
  capture::Truth truth;
};

TruthReader::TruthReader() : message_(std::make_unique<Message>()) {}
TruthReader::~TruthReader() = default;

const ExchangeTruth* TruthReader::of(const ExchangeRecord& record) {
  auto& truth = message_->truth;
  if (record.truth_ && record.truth_->empty()) {
    rows_.clear();
    attempts_.assign(record.attempts.size(), AttemptTruth{});
    strikes_.clear();
    truth_ = {rows_, attempts_, strikes_};
    return &truth_;
  }
  if (!record.truth_ || !truth.ParseFromString(*record.truth_) || !fits(truth, record)) return nullptr;
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
                        static_cast<std::uint8_t>(frame), (frame & 0x100U) != 0, static_cast<std::uint8_t>(frame >> 9U)});
  }
  truth_ = {rows_, attempts_, strikes_};
  return &truth_;
}

void replay(CaptureReader& reader, Sink& sink) {
  TruthReader truths;
  Replayer replayer(reader, sink);
  while (const Record* record = replayer.next()) {
    if (record->is_exchange()) {
      sink.exchange(record->exchange.seen(), truths.of(record->exchange));
    } else {
      pass_on(*record, sink);
    }
  }
}

}  // namespace hopbench
