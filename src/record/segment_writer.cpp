#include "record/segment_writer.h"

#include <fmt/format.h>

#include <algorithm>
#include <cerrno>
#include <cstring>
#include <utility>

#include "record/segment_path.h"

namespace hopbench {
namespace {

/// So many names that are taken already are passed over when a next file is made.
constexpr int most_names_tried = 1000;
/// Files that are begun for the same records before these are given up.
constexpr int most_tries = 2;
/// Room for the end of a file that is full: its record, and a fragment's and a block's header.
constexpr std::uint64_t end_bytes = 160;
/// Kept on the disk behind what is written, for what is said last: what is missing, and the end.
constexpr std::uint64_t last_room = 4096;
/// So much more is kept at a time, so that it need not be asked for with each record.
constexpr std::uint64_t room_at_once = 262'144;

/// At most so much in the file.
std::uint64_t bytes_of(std::size_t payload) {
  const std::uint64_t headers = payload / (block_bytes / 2) + 2;
  return payload + headers * (block_header_bytes + 2 * fragment_header_bytes);
}

}  // namespace

SegmentWriter::SegmentWriter(FileOps& ops, std::string path, CaptureOrigin origin, WritePlan plan)
    : ops_(ops),
      path_(std::move(path)),
      build_(std::move(origin.build)),
      plan_(std::move(plan)),
      last_sync_(plan_.clock()),
      try_from_(last_sync_),
      rotate_from_(last_sync_) {
  head_.run_id = origin.run_id;
  head_.scenario_text = std::move(origin.scenario_text);
  head_.bus_text = std::move(origin.bus_text);
  open_first();
}

SegmentWriter::~SegmentWriter() = default;

void SegmentWriter::open_first() {
  counts_.last_file = path_;
  can_go_on_ = ops_.path_use(path_) != FileOps::PathUse::other;
  // A second file that is left over would be taken for a part of this capture.
  if (const auto next = segment_path(path_, 1); can_go_on_ && ops_.path_use(next) != FileOps::PathUse::free) {
    counts_.last_file = next;
    counts_.error = EEXIST;
    can_go_on_ = false;
    return;
  }
  File file;
  file.path = path_;
  file.blocks = std::make_unique<BlockWriter>(ops_, path_, head_.run_id);
  if (file.blocks->error() != 0) {
    counts_.error = file.blocks->error();
    can_go_on_ = false;
    return;
  }
  const int result = can_go_on_ ? ops_.sync_directory(path_) : 0;
  file.directory_synced = result == 0;
  note_error(-result);
  counts_.files = 1;
  file_ = std::move(file);
}

std::optional<SegmentWriter::File> SegmentWriter::open_next(int& why) {
  for (int tried = 0; tried < most_names_tried; ++tried) {
    // A device or pipe of that name would take the records, and nobody could read them.
    const bool taken = ops_.path_use(segment_path(path_, next_segment_)) != FileOps::PathUse::free;
    auto file = taken ? std::nullopt : begin_file(next_segment_, why);
    if (!file && (taken || why == EEXIST)) {
      ++next_segment_;
      continue;
    }
    if (!file) return std::nullopt;
    ++next_segment_;
    ++counts_.files;
    file_before_ = std::exchange(counts_.last_file, file->path);
    return file;
  }
  return std::nullopt;
}

std::optional<SegmentWriter::File> SegmentWriter::begin_file(std::uint32_t segment, int& why) {
  File file;
  file.segment = segment;
  file.path = segment_path(path_, segment);
  const Nanos floor = std::max(close_floor_, file_ ? file_->blocks->close_floor() : 0);
  file.blocks = std::make_unique<BlockWriter>(ops_, file.path, head_.run_id, segment, floor);
  why = file.blocks->error();
  if (why != 0) return std::nullopt;
  head_.segment = segment;
  file.blocks->append(RecordKind::head, encoder_.head(head_), 0);
  file.blocks->append(RecordKind::build, encoder_.build(build_), 0);
  file.head_bytes = file.blocks->size();
  // What goes wrong from here on is told in the file that is the next one then.
  const Lost lost = lost_;
  tell_lost(*file.blocks, file.lost_at);
  file.blocks->flush();
  why = file.blocks->error();
  if (why != 0) {
    file.blocks.reset();
    ops_.remove(file.path);  // without a whole head nobody could read it
    lost_ = lost;
    tell_ = true;
    return std::nullopt;
  }
  file.lost = lost;
  const int result = ops_.sync_directory(file.path);
  file.directory_synced = result == 0;
  note_error(-result);
  return file;
}

bool SegmentWriter::go_on() {
  if (file_) return true;
  const Nanos now = plan_.clock();
  if (!can_go_on_ || now < try_from_) return false;
  // Also after success: a file that fails soon must not be followed by file after file.
  try_from_ = now + plan_.try_again_every;
  int error = 0;
  file_ = open_next(error);
  if (!file_) note_error(error);
  return file_.has_value();
}

void SegmentWriter::note_error(int error) {
  if (counts_.error == 0) counts_.error = error;
}

void SegmentWriter::fail(int error, const char* what) {
  note_error(error);
  why_ = fmt::format("{}: {}", what, std::strerror(error));
  tell_ = true;
  // One that took so much did not fail soon: the next may do as well, as where files may only be so long.
  constexpr std::uint64_t a_lot = 1'000'000;
  if (file_->blocks->size() > file_->head_bytes + a_lot) try_from_ = plan_.clock();
  const bool told_of_lost = file_->blocks->records_written() > file_->lost_at;
  close_floor_ = std::max(close_floor_, file_->blocks->close_floor());
  file_->blocks.reset();
  const bool removed = file_->segment > 0 && file_->told == 0 && ops_.remove(file_->path) == 0;
  if (removed || !told_of_lost) lost_.add(file_->lost);
  if (removed) {
    next_segment_ = file_->segment;
    counts_.last_file = file_before_;
    --counts_.files;
  }
  file_.reset();
}

void SegmentWriter::count_written(std::uint64_t records) {
  if (records == 0) return;
  counts_.written += records;
  file_->told += records;
  file_->unsynced += records;
  file_->lost = {};
}

void SegmentWriter::tell_lost(BlockWriter& blocks, std::uint64_t& at) {
  if (lost_.records == 0 && !tell_) return;
  const Nanos floor = std::max(close_floor_, blocks.close_floor());
  const Nanos from = lost_.records > 0 ? lost_.from : floor;
  const Nanos to = lost_.records > 0 ? lost_.to : floor;
  at = blocks.records();
  blocks.append(RecordKind::dropped, encoder_.dropped({from, to, lost_.records, why_}), 0);
  lost_ = {};
  tell_ = false;
}

void SegmentWriter::lose(const Batch& batch, std::size_t from) {
  for (std::size_t i = from; i < batch.items().size(); ++i) {
    lost_.add({1, batch.items()[i].from, batch.items()[i].to});
    ++counts_.dropped;
  }
}

void SegmentWriter::take(const Batch& batch) {
  Progress progress;
  try {
    if (batch.lost_before.records > 0) {
      if (file_) why_ = batch.why_lost;
      lost_.add(batch.lost_before);
    }
    int tries = 0;
    while (progress.next < batch.items().size() || (lost_.records > 0 && file_)) {
      if (tries++ > most_tries || !go_on()) {
        lose(batch, progress.next);
        break;
      }
      take_from(batch, progress);
    }
    acknowledge();
  } catch (...) {
    give_up();
    lose(batch, progress.next);
  }
}

void SegmentWriter::give_up() {
  note_error(ENOMEM);
  file_.reset();
  can_go_on_ = false;
}

void SegmentWriter::take_from(const Batch& batch, Progress& progress) {
  const auto& items = batch.items();
  const auto is_head = [](RecordKind kind) { return kind == RecordKind::head || kind == RecordKind::build; };
  // A later file has a head of its own.
  while (file_->segment > 0 && progress.next < items.size() && is_head(items[progress.next].kind)) {
    progress.offset += items[progress.next++].size;
    count_written(1);
  }
  int why = 0;
  if ((lost_.records > 0 || tell_) && has_room_for(*file_, why_.size() + end_bytes, why)) {
    file_->lost.add(lost_);
    tell_lost(*file_->blocks, file_->lost_at);
  }
  std::size_t first = progress.next;
  std::uint64_t base = file_->blocks->records();
  // Counts what has become of the items from `first` on, and goes back to the one that was not handed over.
  const auto count_handed_over = [&] {
    file_->blocks->flush();
    const std::uint64_t handed_over = file_->blocks->records_written();
    const std::uint64_t written = handed_over > base ? handed_over - base : 0;
    count_written(written);
    while (progress.next > first + written) progress.offset -= items[--progress.next].size;
    return file_->blocks->error() == 0;
  };
  while (progress.next < items.size() && file_->blocks->error() == 0) {
    const auto& item = items[progress.next];
    const bool room = has_room_for(*file_, item.size, why);
    if (!room) no_room(why);
    if ((!room || is_full_for(item.size)) && can_go_on_ && plan_.clock() >= rotate_from_) {
      if (!count_handed_over()) break;
      const bool rotated = rotate();
      first = progress.next;
      base = file_->blocks->records();
      if (rotated || room) continue;
    }
    if (!room) {
      if (!count_handed_over()) break;
      lose(batch, progress.next);
      progress.next = items.size();
      return;
    }
    file_->blocks->append(item.kind, batch.bytes().subspan(progress.offset, item.size), item.closed);
    progress.offset += item.size;
    ++progress.next;
    if (is_head(item.kind)) file_->head_bytes = file_->blocks->size();
  }
  if (!count_handed_over()) fail(file_->blocks->error(), "a write failed");
}

bool SegmentWriter::is_full_for(std::size_t payload) const {
  const auto& blocks = *file_->blocks;
  if (plan_.rotate_bytes == 0 || !can_go_on_ || blocks.size() <= file_->head_bytes) return false;
  const std::uint64_t grown = blocks.size() + bytes_of(payload) + end_bytes;
  // At least as long again as the head, or there would be little but heads.
  return grown > std::max(plan_.rotate_bytes, 2 * file_->head_bytes);
}

bool SegmentWriter::has_room_for(File& file, std::size_t payload, int& why) const {
  if (!file.keeps_room) return true;
  BlockWriter& blocks = *file.blocks;
  const std::uint64_t needed = blocks.size() + bytes_of(payload) + last_room;
  if (needed <= blocks.reserved()) return true;
  const auto full = [&why] { return why == ENOSPC || why == EDQUOT || why == EFBIG; };
  for (const std::uint64_t wanted : {needed + room_at_once, needed}) {
    const int result = blocks.reserve(wanted);
    if (result == 0) return true;
    why = -result;
    if (!full()) break;
  }
  // Where nothing could be kept, whether there is room shows when it is written.
  if (!full() || blocks.reserved() == 0) file.keeps_room = false;
  return !file.keeps_room;
}

/// The file stays as it is: what it has is whole, and the room for its end is kept.
void SegmentWriter::no_room(int why) {
  note_error(why);
  why_ = fmt::format("no room: {}", std::strerror(why));
  tell_ = true;
}

bool SegmentWriter::rotate() {
  int error = 0;
  auto next = open_next(error);
  if (!next) {
    // A file that is too long is better than none.
    note_error(error);
    rotate_from_ = plan_.clock() + plan_.try_again_every;
    return false;
  }
  auto& blocks = *file_->blocks;
  blocks.append(RecordKind::end, encoder_.end({blocks.close_floor(), {}, blocks.records(), blocks.crc_of_crcs(), true}),
                0);
  blocks.sync();
  close_floor_ = std::max(close_floor_, blocks.close_floor());
  if (blocks.error() != 0) {
    note_error(blocks.error());
    why_ = fmt::format("the file before could not be ended: {}", std::strerror(blocks.error()));
    tell_ = true;
  } else if (file_->directory_synced) {
    counts_.synced += file_->unsynced;
    acknowledge();
  }
  file_ = std::move(next);
  return true;
}

void SegmentWriter::acknowledge() {
  if (plan_.acknowledge == nullptr) return;
  if (counts_.written != written_told_) plan_.acknowledge->written(written_told_ = counts_.written);
  if (counts_.synced != synced_told_) plan_.acknowledge->synced(synced_told_ = counts_.synced);
}

void SegmentWriter::tick() {
  if (plan_.clock() - last_sync_ >= plan_.sync_every) sync();
}

void SegmentWriter::sync() {
  last_sync_ = plan_.clock();
  if (!file_ || file_->unsynced == 0) return;
  file_->blocks->sync();
  if (const int error = file_->blocks->error(); error != 0) {
    // What was written before may be lost by now, and the system forgets that it told so: asking again proves nothing.
    fail(error, "a sync failed, the last records before it may be missing");
    return;
  }
  if (!file_->directory_synced) return;
  counts_.synced += std::exchange(file_->unsynced, 0);
  acknowledge();
}

void SegmentWriter::end(const EndRecord& end) {
  EndRecord record = end;
  try_from_ = plan_.clock();  // now or never
  for (int tries = 0; tries < most_tries && go_on(); ++tries) {
    try_from_ = plan_.clock();
    auto& blocks = *file_->blocks;
    if (lost_.records > 0 || tell_) tell_lost(blocks, file_->lost_at);
    record.records = blocks.records();
    record.crc_of_crcs = blocks.crc_of_crcs();
    blocks.append(RecordKind::end, encoder_.end(record), 0);
    blocks.flush();
    if (blocks.error() != 0) {
      fail(blocks.error(), "a write failed");
      continue;
    }
    count_written(1);
    acknowledge();
    sync();
    file_.reset();
    return;
  }
  ++counts_.dropped;
}

}  // namespace hopbench
