// Everything that listens to a chain behind a port: measures, causes, and the capture if one is asked for.
#pragma once

#include <memory>
#include <optional>
#include <string>

#include "cli/capture_options.h"
#include "measure/causes.h"
#include "measure/fan_out.h"
#include "measure/measures.h"
#include "measure/rounds.h"
#include "measure/thinner.h"
#include "record/ack_lines.h"
#include "record/capture_writer.h"

namespace hopbench {

class Listeners {
 public:
  /// `round_entry`: name of the plan entry that tells rounds (see measure/rounds.h); empty: none.
  explicit Listeners(const std::string& round_entry);
  Listeners(const Listeners&) = delete;
  Listeners& operator=(const Listeners&) = delete;

  /// Adds a capture, before the chain is made, if one is asked for. Returns false, and says why, if the file cannot be
  /// made. `plan`: apply() has been at it.
  bool record_to(const CaptureOptions& options, CaptureOrigin origin, WritePlan plan);

  [[nodiscard]] Sink& sink() { return all_; }
  /// To be called now and then, so that readers of the capture get what there is.
  void tick();
  /// Waits until the capture is written. Says so on stderr if records are missing from the capture,
  /// or may be. Returns false then.
  [[nodiscard]] bool capture_is_whole();
  /// The summary on stdout, as a table or as JSON. `all_rows`: a row for each hop and node, also where many are
  /// healthy.
  void print_summary(bool json, bool all_rows) const;

 private:
  MeasureFold fold_;
  CauseFold causes_;
  RoundFold rounds_;
  std::string capture_path_;
  std::optional<AckLines> ack_;
  std::optional<CaptureWriter> capture_;
  std::optional<Thinner> thinner_;
  FanOut all_;
};

}  // namespace hopbench
