// Writes a capture while the run goes on.
#pragma once

#include <cstdint>
#include <string>

#include "record/block_writer.h"
#include "record/record_codec.h"

namespace hopbench {

/// Identity of a run in virtual time: the same scenario, bus and seed give the same one.
std::uint64_t run_id_of(const std::string& scenario_text, const std::string& bus_text, std::uint64_t seed);

/// What the chain itself does not know of a run.
struct CaptureOrigin {
  std::uint64_t run_id = 0;  // run_id_of() in virtual time, random in real time
  std::string scenario_text;
  std::string bus_text;
  BuildInfo build;
};

/// Records whatever it is told. Trouble with the file never stops the run: the first error is kept, what could not
/// be written is counted. Called from one thread; holds no clock and starts no thread.
class CaptureWriter final : public Sink {
 public:
  /// Makes the file (see FileOps::open_new). `ops` must outlive the writer.
  CaptureWriter(FileOps& ops, const std::string& path, CaptureOrigin origin);

  void begin(const RunInfo& run) override;
  void exchange(const ExchangeObs& obs, const ExchangeTruth* truth) override;
  void stray(const Stray& stray) override;
  void arrival(const Arrival& arrival) override;
  /// Writes the end, and asks for all of it to be on the disk.
  void end(Nanos until, const Lateness& lateness) override;
  void tally(const Tally& tally) override;
  void state(const State& state) override;
  void gap(const Gap& gap) override;
  void dropped(const Dropped& dropped) override;
  void command(const Remark& command) override;
  void note(const Remark& note) override;

  /// Hands everything so far to the operating system; a reader of the file sees it then.
  void flush() { blocks_.flush(); }
  /// flush() if `interval` has passed since the last time, on the caller's clock.
  void tick(Nanos now, Nanos interval);

  /// 0, or the errno of what went wrong first.
  [[nodiscard]] int error() const { return blocks_.error(); }
  /// Records that are not in the file because of it.
  [[nodiscard]] std::uint64_t dropped() const { return blocks_.dropped(); }
  /// Records that were handed to the operating system whole: they outlive this process.
  [[nodiscard]] std::uint64_t acknowledged() const { return blocks_.records_written(); }

 private:
  BlockWriter blocks_;
  RecordEncoder encoder_;
  CaptureOrigin origin_;
  Nanos last_flush_ = 0;
};

}  // namespace hopbench
