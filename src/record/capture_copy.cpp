#include "record/capture_copy.h"

#include <fcntl.h>
#include <sys/stat.h>
#include <unistd.h>

#include <cerrno>
#include <cstdio>
#include <string_view>

#include "record/new_file.h"

namespace hopbench {
namespace {

bool exists(const std::string& path) {
  struct stat info {};
  return ::lstat(path.c_str(), &info) == 0;
}

constexpr std::string_view beginning{"HBC\x1a", 4};  // of each block

}  // namespace

std::optional<Opening> read_opening(CaptureReader& reader) {
  Opening opening;
  RecordDecoder decoder;
  Record record;
  BlockReader::Raw raw;
  while (reader.next_raw(raw)) {
    const bool head = raw.kind == static_cast<std::uint8_t>(RecordKind::head);
    if (!head && raw.kind != static_cast<std::uint8_t>(RecordKind::build)) break;
    if (decoder.decode(raw.kind, raw.payload, record) != RecordDecoder::Result::good) continue;
    (head ? opening.head_bytes : opening.build_bytes).assign(raw.payload.begin(), raw.payload.end());
    if (head) opening.head = record.head;
  }
  if (opening.head_bytes.empty()) return std::nullopt;
  return opening;
}

CaptureCopy::CaptureCopy(const std::string& path, const Opening& opening) : path_(path), part_(path + ".part") {
  struct stat left {};
  if (exists(path_) || (::lstat(part_.c_str(), &left) == 0 && !S_ISREG(left.st_mode))) {
    error_ = EEXIST;
    return;
  }
  take_over_unfinished(part_, beginning);
  blocks_.emplace(system_file_ops(), part_, opening.head.run_id);
  made_ = blocks_->error() == 0;
  blocks_->append(RecordKind::head, opening.head_bytes, 0);
  if (!opening.build_bytes.empty()) blocks_->append(RecordKind::build, opening.build_bytes, 0);
}

CaptureCopy::~CaptureCopy() {
  if (made_) ::unlink(part_.c_str());  // while it is locked: nobody else has taken it over
  blocks_.reset();
}

void CaptureCopy::put(RecordKind kind, std::span<const std::uint8_t> payload, Nanos time) {
  if (!blocks_) return;
  blocks_->append(kind, payload, time);
  ++records_;
}

void CaptureCopy::append(const BlockReader::Raw& raw, Nanos time) {
  put(static_cast<RecordKind>(raw.kind), raw.payload, time);
}

void CaptureCopy::append_end(Nanos until, const Lateness& lateness) {
  if (!blocks_) return;
  EndRecord end;
  end.until = until;
  end.lateness = lateness;
  end.records = blocks_->records();
  end.crc_of_crcs = blocks_->crc_of_crcs();
  blocks_->append(RecordKind::end, encoder_.end(end), 0);
}

int CaptureCopy::place() {
  if (blocks_) blocks_->sync();
  error_ = error();
  if (error_ == 0) error_ = move_to_new(part_, path_);
  if (error_ == 0) {
    made_ = false;
    error_ = -system_file_ops().sync_directory(path_);  // only then is the name sure to outlive a power cut
    blocks_.reset();
  }
  return error_;
}

void CaptureCopy::exchange(const ExchangeObs& obs, const ExchangeTruth* truth) {
  const auto payload = encoder_.exchange(obs, truth);
  put(encoder_.exchange_kind(), payload, obs.closed);
}
void CaptureCopy::stray(const Stray& stray) { put(RecordKind::stray, encoder_.stray(stray), 0); }
void CaptureCopy::arrival(const Arrival& arrival) { put(RecordKind::arrival, encoder_.arrival(arrival), 0); }
void CaptureCopy::end(Nanos until, const Lateness& lateness) {
  if (!leave_open_) append_end(until, lateness);
}
void CaptureCopy::tally(const Tally& tally) { put(RecordKind::tally, encoder_.tally(tally), tally.to); }
void CaptureCopy::state(const State& state) { put(RecordKind::state, encoder_.state(state), 0); }
void CaptureCopy::gap(const Gap& gap) { put(RecordKind::gap, encoder_.gap(gap), 0); }
void CaptureCopy::dropped(const Dropped& dropped) { put(RecordKind::dropped, encoder_.dropped(dropped), 0); }
void CaptureCopy::command(const Remark& command) { put(RecordKind::command, encoder_.remark(command), 0); }
void CaptureCopy::note(const Remark& note) { put(RecordKind::note, encoder_.remark(note), 0); }

}  // namespace hopbench
