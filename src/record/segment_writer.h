// The files of one capture, one after the other: goes on in a new one when one is full or has failed.
#pragma once

#include <cstdint>
#include <memory>
#include <optional>
#include <string>

#include "record/batch.h"
#include "record/block_writer.h"
#include "record/file_ops.h"
#include "record/record_codec.h"
#include "record/write_plan.h"

namespace hopbench {

/// What the chain itself does not know of a run.
struct CaptureOrigin {
  std::uint64_t run_id = 0;  // run_id_of() in virtual time, random in real time
  std::string scenario_text;
  std::string bus_text;
  BuildInfo build;
};

/// Used by one thread at a time. Counts are of records that the run told, Head, Build and End among them; what is
/// written besides (the head of a later file, a note on what is missing) is not counted.
class SegmentWriter {
 public:
  struct Counts {
    std::uint64_t written = 0;  // handed to the system
    std::uint64_t synced = 0;   // on the disk
    std::uint64_t dropped = 0;  // in no file
    std::uint32_t files = 0;
    std::string last_file;  // that was made and is there
    int error = 0;          // errno of what went wrong first
  };

  /// Opens the first file: see counts().error. `ops` must outlive this.
  SegmentWriter(FileOps& ops, std::string path, CaptureOrigin origin, WritePlan plan);
  ~SegmentWriter();
  SegmentWriter(const SegmentWriter&) = delete;
  SegmentWriter& operator=(const SegmentWriter&) = delete;

  /// What later files begin with. Before the first take().
  void set_run(const RunInfo& run) { head_.run = run; }
  /// Hands all of it to the system, whatever it takes; what cannot be written is dropped and counted. Does not throw.
  void take(const Batch& batch);
  /// Syncs if it is time to.
  void tick();
  /// The run's last record: written, synced and closed.
  void end(const EndRecord& end);
  /// What was handed over so far is on the disk then.
  void sync();
  /// Nothing more is written. For when there is no memory left to go on with.
  void give_up();

  [[nodiscard]] const Counts& counts() const { return counts_; }

 private:
  /// One of the files, and what of it must be known to go on in another.
  struct File {
    std::unique_ptr<BlockWriter> blocks;
    std::string path;
    std::uint32_t segment = 0;
    bool directory_synced = false;  // sure to be found after a power cut
    bool keeps_room = true;         // for its last records, as far as is known
    std::uint64_t head_bytes = 0;   // before the run's records
    std::uint64_t told = 0;         // of the run's records, handed over
    std::uint64_t unsynced = 0;     // of these, since the last sync
    Lost lost;                      // told of in it, but not sure to stay there
    std::uint64_t lost_at = 0;      // number of that record
  };
  /// Where the writing of a batch has got to.
  struct Progress {
    std::size_t next = 0;
    std::size_t offset = 0;
  };

  void open_first();
  /// None, with the reason in `why`, if it cannot be made or does not take its head.
  std::optional<File> open_next(int& why);
  std::optional<File> begin_file(std::uint32_t segment, int& why);
  /// True if there is a file to write to; makes the next one if it is time to.
  bool go_on();
  void take_from(const Batch& batch, Progress& progress);
  void tell_lost(BlockWriter& blocks, std::uint64_t& at);
  void count_written(std::uint64_t records);
  [[nodiscard]] bool is_full_for(std::size_t payload) const;
  /// Whether a record of this size can be written, with room left for the last ones of the file. Otherwise `why`.
  [[nodiscard]] bool has_room_for(File& file, std::size_t payload, int& why) const;
  bool rotate();
  void no_room(int why);
  void note_error(int error);
  void acknowledge();
  /// Leaves the file for good.
  void fail(int error, const char* what);
  void lose(const Batch& batch, std::size_t from);

  FileOps& ops_;
  std::string path_;
  CaptureHead head_;
  BuildInfo build_;
  WritePlan plan_;
  RecordEncoder encoder_;
  Counts counts_;
  std::uint64_t written_told_ = 0;  // to plan_.acknowledge
  std::uint64_t synced_told_ = 0;
  std::optional<File> file_;  // none: nothing can be written for now
  std::string file_before_;   // the last one
  bool can_go_on_ = true;     // false: a device or pipe, which has no next one
  std::uint32_t next_segment_ = 1;
  Nanos close_floor_ = 0;  // of the files before
  Nanos last_sync_;
  Nanos try_from_;     // after a failure: no new file before
  Nanos rotate_from_;  // the same for a file that is only too long
  Lost lost_;          // not told of in any file yet
  bool tell_ = false;  // that something went wrong, even if nothing was lost
  std::string why_;
};

}  // namespace hopbench
