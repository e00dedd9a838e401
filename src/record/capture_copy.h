// Writes a new capture from records of captures that are there already.
#pragma once

#include <cstdint>
#include <optional>
#include <span>
#include <string>
#include <vector>

#include "record/block_reader.h"
#include "record/block_writer.h"
#include "record/capture_reader.h"
#include "record/record_codec.h"
#include "seen/whole_sink.h"

namespace hopbench {

/// The first two records of a capture, as they are in the file.
struct Opening {
  CaptureHead head;
  std::vector<std::uint8_t> head_bytes;
  std::vector<std::uint8_t> build_bytes;  // empty: there is none
};

/// Reads them. None if the capture does not begin with a head.
std::optional<Opening> read_opening(CaptureReader& reader);

/// Writes to a file beside the one wanted and puts it in its place when all of it is on the disk: there is a whole
/// capture under that name, or none. Nothing is ever written over. As a sink it takes what a run tells, and for the
/// head and the build the ones that it was given. No thread; unlike CaptureWriter it waits for the disk.
class CaptureCopy final : public WholeSink {
 public:
  CaptureCopy(const std::string& path, const Opening& opening);
  /// Takes away what was not put in its place.
  ~CaptureCopy();
  CaptureCopy(const CaptureCopy&) = delete;
  CaptureCopy& operator=(const CaptureCopy&) = delete;

  /// A record as it is. `time`: see time_of(); 0 if none.
  void append(const BlockReader::Raw& raw, Nanos time);
  void append_end(Nanos until, const Lateness& lateness);
  /// Leaves the capture without an end, as the one it is made from: end() is not written any more.
  void leave_open() { leave_open_ = true; }
  /// Puts it in its place. 0, or the errno of what went wrong first.
  int place();

  /// Written, the opening and the end left out.
  [[nodiscard]] std::uint64_t records() const { return records_; }
  /// 0, or the errno of what went wrong first.
  [[nodiscard]] int error() const { return error_ != 0 || !blocks_ ? error_ : blocks_->error(); }

  void begin(const RunInfo&) override {}  // the opening has it
  void exchange(const ExchangeObs& obs, const ExchangeTruth* truth) override;
  void stray(const Stray& stray) override;
  void arrival(const Arrival& arrival) override;
  void end(Nanos until, const Lateness& lateness) override;
  void tally(const Tally& tally) override;
  void state(const State& state) override;
  void gap(const Gap& gap) override;
  void dropped(const Dropped& dropped) override;
  void command(const Remark& command) override;
  void note(const Remark& note) override;

 private:
  void put(RecordKind kind, std::span<const std::uint8_t> payload, Nanos time);

  std::string path_;
  std::string part_;
  int error_ = 0;
  bool made_ = false;  // the file beside is ours
  bool leave_open_ = false;
  std::uint64_t records_ = 0;
  std::optional<BlockWriter> blocks_;
  RecordEncoder encoder_;
};

}  // namespace hopbench
