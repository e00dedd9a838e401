// Writes a capture while the run goes on.
#pragma once

#include <cstdint>
#include <functional>
#include <optional>
#include <string>

#include "record/record_codec.h"
#include "record/segment_writer.h"
#include "record/writer_thread.h"
#include "seen/whole_sink.h"

namespace hopbench {

/// Identity of a run in virtual time: the same scenario, bus and seed give the same one.
std::uint64_t run_id_of(const std::string& scenario_text, const std::string& bus_text, std::uint64_t seed);

/// Records whatever it is told. Trouble with the file never stops the run: the first error is kept, what could not
/// be written is counted. Called from one thread, which makes the records; another, its own, writes them. What is
/// promised of a record when is told in docs/capture-format.md.
class CaptureWriter final : public WholeSink {
 public:
  /// Makes the file (see FileOps::open_new); error() tells if that failed. `ops`, and what `plan` points to, must
  /// outlive the writer.
  CaptureWriter(FileOps& ops, const std::string& path, CaptureOrigin origin, const WritePlan& plan);

  void begin(const RunInfo& run) override;
  void exchange(const ExchangeObs& obs, const ExchangeTruth* truth) override;
  void stray(const Stray& stray) override;
  void arrival(const Arrival& arrival) override;
  /// Writes the end, asks for all of it to be on the disk, and waits for that.
  void end(Nanos until, const Lateness& lateness) override;
  void tally(const Tally& tally) override;
  void state(const State& state) override;
  void gap(const Gap& gap) override;
  void dropped(const Dropped& dropped) override;
  void command(const Remark& command) override;
  void note(const Remark& note) override;

  /// Looks at the plan's clock: hands over what has waited long enough. To be called now and then when no records come.
  void tick();
  /// Hands over everything so far; a reader of the file sees it soon.
  void flush();
  /// The same, and waits until it is written.
  void drain();

  /// Bytes that its files take once all of it is written, within a thousandth and what heads of further files take.
  [[nodiscard]] std::uint64_t bytes() const { return bytes_; }
  /// The counts are up to date after drain() and end().
  [[nodiscard]] WriterThread::Counts counts() const;
  /// 0, or the errno of what went wrong first.
  [[nodiscard]] int error() const;
  /// Records that are in no file.
  [[nodiscard]] std::uint64_t dropped() const { return counts().dropped; }
  /// Records that were handed to the operating system whole: they outlive this process.
  [[nodiscard]] std::uint64_t acknowledged() const { return counts().files.written; }
  /// Records that are on the disk.
  [[nodiscard]] std::uint64_t synced() const { return counts().files.synced; }

 private:
  void append(RecordKind kind, std::span<const std::uint8_t> payload, Nanos from, Nanos to, Nanos closed = 0);

  RecordEncoder encoder_;
  std::function<Nanos()> clock_;
  Nanos hand_over_every_;
  CaptureOrigin origin_;
  SegmentWriter segments_;
  int thread_error_ = 0;
  std::optional<WriterThread> thread_;
  Nanos last_flush_;
  std::uint64_t records_ = 0;
  std::uint64_t bytes_ = 0;
};

}  // namespace hopbench
