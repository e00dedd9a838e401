// All records of a capture, for tests to compare.
#pragma once

#include <optional>
#include <string>
#include <vector>

#include "record/capture_reader.h"
#include "support/catch.h"

namespace hopbench {

struct CaptureRecords {
  CaptureHead head;
  std::vector<ExchangeRecord> exchanges;
  std::vector<StrayRecord> strays;
  std::vector<ArrivalRecord> arrivals;
  std::optional<EndRecord> end;

  /// Fails the test if the capture is damaged.
  static CaptureRecords read(const std::string& path);
};

}  // namespace hopbench
