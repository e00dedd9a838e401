// Records to payload bytes and back. The only users of the generated Protobuf code, with record/truth.cpp.
#pragma once

#include <memory>
#include <span>
#include <string>

#include "record/records.h"

namespace hopbench {

/// Makes payloads. What it returns is valid until the next call.
class RecordEncoder {
 public:
  RecordEncoder();
  ~RecordEncoder();
  RecordEncoder(const RecordEncoder&) = delete;
  RecordEncoder& operator=(const RecordEncoder&) = delete;

  /// `head.major`, `minor` and `descriptors` are filled in here.
  std::span<const std::uint8_t> head(const CaptureHead& head);
  /// Always of the same length.
  std::span<const std::uint8_t> build(const BuildInfo& build);
  std::span<const std::uint8_t> exchange(const ExchangeObs& obs, const ExchangeTruth* truth);
  /// Of the last exchange: clean_exchange or touched_exchange.
  [[nodiscard]] RecordKind exchange_kind() const { return exchange_kind_; }
  std::span<const std::uint8_t> stray(const Stray& stray);
  std::span<const std::uint8_t> arrival(const Arrival& arrival);
  std::span<const std::uint8_t> end(const EndRecord& end);
  std::span<const std::uint8_t> tally(const Tally& tally);
  std::span<const std::uint8_t> state(const State& state);
  std::span<const std::uint8_t> gap(const Gap& gap);
  std::span<const std::uint8_t> dropped(const Dropped& dropped);
  /// A command or a note.
  std::span<const std::uint8_t> remark(const Remark& remark);

 private:
  struct Messages;
  std::unique_ptr<Messages> messages_;
  RecordKind exchange_kind_ = RecordKind::clean_exchange;
};

/// Reads payloads. What is beyond the bounds (record/bounds.h) of the last head that it read is unreadable.
class RecordDecoder {
 public:
  RecordDecoder();
  ~RecordDecoder();
  RecordDecoder(const RecordDecoder&) = delete;
  RecordDecoder& operator=(const RecordDecoder&) = delete;

  enum class Result : std::uint8_t { good, unknown_kind, unreadable };
  /// Fills the member of `record` that `kind` names.
  Result decode(std::uint8_t kind, std::span<const std::uint8_t> payload, Record& record);

 private:
  struct Messages;
  std::unique_ptr<Messages> messages_;
};

}  // namespace hopbench
