// The causes that a simulated capture carries. Only code that may know them includes this; record/capture_reader.h
// gives observations alone.
#pragma once

#include <memory>
#include <vector>

#include "record/capture_reader.h"

namespace hopbench {

class TruthReader {
 public:
  TruthReader();
  ~TruthReader();
  TruthReader(const TruthReader&) = delete;
  TruthReader& operator=(const TruthReader&) = delete;

  /// Null if the record carries none, or none that fits it. Valid until the next call.
  const ExchangeTruth* of(const ExchangeRecord& record);

 private:
  struct Message;
  std::unique_ptr<Message> message_;
  std::vector<RowTruth> rows_;
  std::vector<AttemptTruth> attempts_;
  std::vector<FaultStrike> strikes_;
  ExchangeTruth truth_;
};

/// Tells `sink` all that the run told, causes included, as far as the reader gets.
void replay(CaptureReader& reader, Sink& sink);

}  // namespace hopbench
