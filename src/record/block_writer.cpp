#include "record/block_writer.h"

#include <algorithm>
#include <cerrno>

namespace hopbench {

BlockWriter::BlockWriter(FileOps& ops, const std::string& path, std::uint64_t run_id, std::uint32_t segment,
                         Nanos close_floor)
    : ops_(ops), run_id_(run_id), segment_(segment), close_floor_(close_floor) {
  file_ = ops_.open_new(path);
  if (file_ < 0) error_ = -file_;
}

BlockWriter::~BlockWriter() {
  flush();
  if (file_ < 0) return;
  if (reserved_ > 0) ops_.give_back(file_);
  ops_.close(file_);
}

int BlockWriter::reserve(std::uint64_t size) {
  if (size <= reserved_) return 0;
  const int result = ops_.reserve(file_, reserved_, size);
  if (result == 0) reserved_ = size;
  return result;
}

void BlockWriter::begin_block() {
  BlockHeader header;
  header.run_id = run_id_;
  header.segment = segment_;
  header.block = static_cast<std::uint32_t>(position_ / block_bytes);
  header.first_record = records_ + (inside_record_ ? 1 : 0);
  header.close_floor = close_floor_;
  const auto bytes = write_block_header(header);
  pending_.insert(pending_.end(), bytes.begin(), bytes.end());
  position_ += bytes.size();
}

void BlockWriter::put_fragment(RecordKind kind, Part part, std::span<const std::uint8_t> payload) {
  const auto header = write_fragment_header(run_id_, position_, records_, part, kind, payload);
  pending_.insert(pending_.end(), header.begin(), header.end());
  pending_.insert(pending_.end(), payload.begin(), payload.end());
  position_ += header.size() + payload.size();
  if (kind != RecordKind::build) sums_.feed(std::span(header).first<4>());
}

void BlockWriter::append(RecordKind kind, std::span<const std::uint8_t> payload, Nanos closed) {
  if (error_ == 0 && payload.size() <= max_record_bytes) {
    bool started = false;
    do {
      std::size_t room = block_bytes - position_ % block_bytes;
      if (room == block_bytes) {
        begin_block();
        room -= block_header_bytes;
      } else if (room <= fragment_header_bytes) {
        // No fragment starts where its header and one byte do not fit.
        pending_.insert(pending_.end(), room, 0);
        position_ += room;
        continue;
      }
      const std::size_t taken = std::min(payload.size(), room - fragment_header_bytes);
      const bool finished = taken == payload.size();
      const Part part = started ? (finished ? Part::last : Part::middle) : (finished ? Part::whole : Part::first);
      put_fragment(kind, part, payload.first(taken));
      payload = payload.subspan(taken);
      started = inside_record_ = true;
      if (finished) break;
    } while (true);
    inside_record_ = false;
    close_floor_ = std::max(close_floor_, closed);
    ends_.push_back(position_);
  } else if (error_ == 0) {
    error_ = EMSGSIZE;
  }
  ++records_;
  const std::size_t whole = pending_.size() - std::min<std::size_t>(pending_.size(), position_ % block_bytes);
  if (whole > 0) write_out(whole);
}

void BlockWriter::flush() { write_out(pending_.size()); }

void BlockWriter::sync() {
  flush();
  if (error_ != 0) return;
  // After a failed sync the system may have forgotten what it could not write: asking again proves nothing.
  if (const int result = ops_.sync(file_); result < 0) error_ = -result;
}

void BlockWriter::write_out(std::size_t bytes) {
  std::span<const std::uint8_t> rest = std::span(pending_).first(bytes);
  while (error_ == 0 && !rest.empty()) {
    const std::ptrdiff_t result = ops_.write(file_, rest);
    if (result == -EINTR) continue;
    if (result <= 0) {
      error_ = result < 0 ? static_cast<int>(-result) : EIO;
      break;
    }
    const auto done = std::min(static_cast<std::size_t>(result), rest.size());
    written_bytes_ += done;
    rest = rest.subspan(done);
  }
  const auto past = std::upper_bound(ends_.begin(), ends_.end(), written_bytes_);
  written_records_ += static_cast<std::uint64_t>(past - ends_.begin());
  ends_.erase(ends_.begin(), past);
  if (error_ != 0) {
    pending_.clear();
    ends_.clear();
  } else {
    pending_.erase(pending_.begin(), pending_.begin() + static_cast<std::ptrdiff_t>(bytes));
  }
}

}  // namespace hopbench
