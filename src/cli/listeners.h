// Everything that listens to a chain behind a port: measures, causes, and the capture if one is asked for.
#pragma once

#include <memory>
#include <optional>
#include <string>

#include "measure/causes.h"
#include "measure/fan_out.h"
#include "measure/measures.h"
#include "record/capture_writer.h"

namespace hopbench {

class Listeners {
 public:
  Listeners();
  Listeners(const Listeners&) = delete;
  Listeners& operator=(const Listeners&) = delete;

  /// Adds a capture, before the chain is made. Returns false, and says why, if the file cannot be made.
  bool record_to(const std::string& path, CaptureOrigin origin);

  [[nodiscard]] Sink& sink() { return all_; }
  /// Hands what there is to readers of the capture.
  void flush();
  /// Says so on stderr if records are missing from the capture. Returns false then.
  [[nodiscard]] bool capture_is_whole() const;
  /// The summary on stdout, as a table or as JSON.
  void print_summary(bool json) const;

 private:
  MeasureFold fold_;
  CauseFold causes_;
  std::string capture_path_;
  std::optional<CaptureWriter> capture_;
  FanOut all_;
};

}  // namespace hopbench
