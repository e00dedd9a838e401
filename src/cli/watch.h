// Keeps an eye on a run in virtual time: progress for the person who waits, and Ctrl-C.
#pragma once

#include <chrono>
#include <cstdint>

#include "base/time.h"
#include "cli/progress_line.h"
#include "seen/ignoring_sink.h"

namespace hopbench {

/// Thrown into a run that cannot be stopped otherwise; the chain must not be used after it.
struct Interrupted {};

/// While it lives, SIGINT, SIGTERM and SIGHUP ask for an end; a second one ends the process at once. SIGHUP stays
/// ignored if it was (nohup). One at a time.
class EndSignals {
 public:
  EndSignals();
  ~EndSignals();
  EndSignals(const EndSignals&) = delete;
  EndSignals& operator=(const EndSignals&) = delete;
  [[nodiscard]] static bool came();

 private:
  bool keeps_on_ = false;
};

/// Listens along and shows on stderr how far the run is, if that is a terminal.
class Watch final : public IgnoringSink {
 public:
  /// Of `span` or `exchanges`, the one that is not 0 is what the run goes to. `throws`: Interrupted is thrown when a
  /// signal has come.
  Watch(Nanos span, std::uint64_t exchanges, bool throws);
  Watch(const Watch&) = delete;
  Watch& operator=(const Watch&) = delete;

  /// How far the run is; shows it if it is time to.
  void at(Nanos now);
  [[nodiscard]] std::uint64_t exchanges() const { return seen_; }

  void exchange(const ExchangeObs& obs, const ExchangeTruth*) override;
  [[nodiscard]] std::uint64_t whole_from() const override { return ~std::uint64_t{0}; }
  void again(std::span<const ExchangeObs> models, std::span<const Repeat> repeats) override;

 private:
  Nanos span_;
  std::uint64_t wanted_;
  std::uint64_t seen_ = 0;
  bool throws_;
  ProgressLine line_;
  std::chrono::steady_clock::time_point began_;
  std::chrono::steady_clock::time_point next_;
};

}  // namespace hopbench
