// What a capture in several files ought to hold, and what it does hold, payload by payload.
#pragma once

#include <string>
#include <vector>

#include "record/capture_tools.h"
#include "record/disk.h"
#include "record/segment_path.h"
#include "seen/whole_sink.h"
#include "support/catch.h"

namespace hopbench::sample {

struct Payload {
  RecordKind kind = RecordKind::head;
  std::string bytes;
  friend bool operator==(const Payload&, const Payload&) = default;
};

/// Keeps the payloads of all that it is told, encoded one by one without any writer. Of Head and End the kind only:
/// what is in them hangs on the file.
class Payloads final : public WholeSink {
 public:
  std::vector<Payload> all;

  void begin(const RunInfo&) override {
    const auto from = origin();
    all.push_back({RecordKind::head, {}});
    keep(RecordKind::build, encoder_.build(from.build));
  }
  void exchange(const ExchangeObs& obs, const ExchangeTruth* truth) override {
    const auto payload = encoder_.exchange(obs, truth);
    keep(encoder_.exchange_kind(), payload);
  }
  void stray(const Stray& stray) override { keep(RecordKind::stray, encoder_.stray(stray)); }
  void arrival(const Arrival& arrival) override { keep(RecordKind::arrival, encoder_.arrival(arrival)); }
  void end(Nanos, const Lateness&) override { all.push_back({RecordKind::end, {}}); }
  void tally(const Tally& tally) override { keep(RecordKind::tally, encoder_.tally(tally)); }
  void state(const State& state) override { keep(RecordKind::state, encoder_.state(state)); }
  void gap(const Gap& gap) override { keep(RecordKind::gap, encoder_.gap(gap)); }
  void dropped(const Dropped& dropped) override { keep(RecordKind::dropped, encoder_.dropped(dropped)); }
  void command(const Remark& remark) override { keep(RecordKind::command, encoder_.remark(remark)); }
  void note(const Remark& remark) override { keep(RecordKind::note, encoder_.remark(remark)); }

 private:
  void keep(RecordKind kind, std::span<const std::uint8_t> payload) {
    all.push_back({kind, {payload.begin(), payload.end()}});
  }
  RecordEncoder encoder_;
};

inline std::vector<Payload> payloads_of(const Run& run) {
  Payloads payloads;
  run.tell(payloads);
  return payloads.all;
}

/// What can be read of one file.
struct FileRead {
  std::vector<Payload> told;  // of the run: without what the writer adds in later files
  std::uint64_t dropped = 0;  // that it tells of
  int drop_records = 0;
  bool begins_with_head = false;  // of this segment
  bool ended = false;             // with an End, of the run or of the file
  bool goes_on = false;           // so the End says
  CaptureDamage damage;
};

inline FileRead read_segment(const std::vector<std::uint8_t>& bytes, std::uint32_t segment) {
  FileRead read;
  BlockReader raw(std::make_unique<MemorySource>(bytes));
  CaptureReader decoded(std::make_unique<MemorySource>(bytes));
  BlockReader::Raw record;
  Record meaning;
  while (raw.next(record)) {
    REQUIRE(decoded.next(meaning));
    REQUIRE(meaning.number == record.number);
    const auto kind = static_cast<RecordKind>(record.kind);
    if (record.number == 0) read.begins_with_head = kind == RecordKind::head && meaning.head.segment == segment;
    if (kind == RecordKind::head) {
      read.told.push_back({kind, {}});
      continue;
    }
    if (kind == RecordKind::dropped) {
      read.dropped += meaning.dropped.seen().records;
      ++read.drop_records;
      continue;
    }
    if (kind == RecordKind::end) {
      read.ended = true;
      read.goes_on = meaning.end.goes_on;
      if (!read.goes_on) read.told.push_back({kind, {}});
      continue;
    }
    read.told.push_back({kind, {record.payload.begin(), record.payload.end()}});
  }
  read.damage = decoded.damage();
  return read;
}

struct DiskRead {
  std::vector<Payload> told;
  std::uint64_t dropped = 0;
  int files = 0;
  int damaged = 0;
  int broken_off = 0;      // files without an End that are not the last
  bool ended = false;      // the last file
  bool run_ended = false;  // it tells the end of the run
};

inline DiskRead read_disk(const Disk& disk, const std::string& path) {
  DiskRead all;
  for (std::uint32_t segment = 0; segment < 2000; ++segment) {
    const auto found = disk.files.find(segment_path(path, segment));
    if (found == disk.files.end() || found->second.removed) continue;
    const auto read = read_segment(found->second.bytes, segment);
    if (all.files > 0 && !all.ended) ++all.broken_off;
    for (const auto& payload : read.told) {
      // Later files have heads of their own.
      const bool again =
          (payload.kind == RecordKind::head || payload.kind == RecordKind::build) &&
          std::any_of(all.told.begin(), all.told.end(), [&](const auto& p) { return p.kind == payload.kind; });
      if (!again) all.told.push_back(payload);
    }
    all.dropped += read.dropped;
    ++all.files;
    if (read.damage.in_the_middle()) ++all.damaged;
    all.ended = read.ended;
    all.run_ended = read.ended && !read.goes_on;
  }
  return all;
}

/// True if `some` are `all` with none or several left out, in the same order.
inline bool is_subsequence(const std::vector<Payload>& some, const std::vector<Payload>& all) {
  std::size_t at = 0;
  for (const auto& payload : some) {
    while (at < all.size() && !(all[at] == payload)) ++at;
    if (at++ == all.size()) return false;
  }
  return true;
}

/// Keeps the newest numbers, for the disk to note when.
struct Acknowledged final : Acknowledge {
  Disk* disk = nullptr;
  std::uint64_t last_written = 0;
  std::uint64_t last_synced = 0;
  bool went_back = false;
  void written(std::uint64_t records) override {
    went_back |= records <= last_written;
    last_written = records;
  }
  void synced(std::uint64_t records) override {
    went_back |= records < last_synced;
    last_synced = records;
    if (disk != nullptr) disk->acknowledged = records;
  }
};

}  // namespace hopbench::sample
