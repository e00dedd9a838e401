#include "record/block_reader.h"

#include <algorithm>

namespace hopbench {

BlockReader::BlockReader(std::unique_ptr<ByteSource> source, std::optional<std::uint64_t> run_id)
    : source_(std::move(source)), buffer_(block_bytes), run_id_(run_id) {}

void BlockReader::go_to(std::uint64_t block) {
  block_ = block;
  have_ = 0;
  at_ = 0;
  skipping_ = false;
  partial_.active = false;
  arriving_ = true;
}

bool BlockReader::next(Raw& raw) {
  while (true) {
    switch (step(raw)) {
      case Step::again:
        break;
      case Step::wait:
        if (!read_more()) return false;
        break;
      case Step::record:
        return true;
    }
  }
}

bool BlockReader::read_more() {
  const std::size_t got = source_->read(block_ * block_bytes + have_, std::span(buffer_).subspan(have_));
  have_ += got;
  return got > 0;
}

BlockReader::Step BlockReader::step(Raw& raw) {
  if (skipping_) {
    damage_.bytes_skipped += have_ - at_;
    at_ = have_;
    if (have_ < block_bytes) return Step::wait;
    next_block();
    return Step::again;
  }
  if (at_ == 0) return step_block_header();
  const std::size_t room = block_bytes - at_;
  if (room <= fragment_header_bytes) return step_padding(room);
  if (have_ - at_ < fragment_header_bytes) return Step::wait;
  const auto head = std::span(buffer_).subspan(at_).first<fragment_header_bytes>();
  const auto header = read_fragment_header(head);
  if (!header) return only_zeros_from(at_ + fragment_header_bytes) ? Step::wait : condemn();
  const std::size_t whole = fragment_header_bytes + header->length;
  if (whole > room) return condemn();
  if (have_ - at_ < whole) return Step::wait;
  const auto payload = std::span<const std::uint8_t>(buffer_).subspan(at_ + fragment_header_bytes, header->length);
  const bool begins = header->part == Part::whole || header->part == Part::first;
  const std::uint64_t number = begins ? next_number_ : next_number_ - 1;
  if (!fragment_is_good(*run_id_, block_ * block_bytes + at_, number, head, payload)) {
    return only_zeros_from(at_ + whole) ? Step::wait : condemn();
  }
  at_ += whole;
  if (begins) sums_before_ = sums_.value();
  if (header->kind != static_cast<std::uint8_t>(RecordKind::build)) sums_.feed(head.first<4>());
  return take(*header, payload, raw);
}

BlockReader::Step BlockReader::step_block_header() {
  if (have_ < block_header_bytes) return Step::wait;
  const auto bytes = std::span<const std::uint8_t>(buffer_).first<block_header_bytes>();
  const auto header = read_block_header(bytes);
  if (!header || header->block != block_ || (run_id_ && header->run_id != *run_id_)) {
    if (is_newer_block(bytes)) damage_.newer = true;
    return only_zeros_from(block_header_bytes) ? Step::wait : condemn();
  }
  run_id_ = header->run_id;
  at_ = block_header_bytes;
  next_number_ = header->first_record;
  if (arriving_) expected_ = started_ = next_number_;
  started_ = std::max(started_, next_number_);
  if (partial_.active && partial_.number + 1 != next_number_) drop_partial();
  return Step::again;
}

BlockReader::Step BlockReader::step_padding(std::size_t room) {
  if (have_ < block_bytes) return Step::wait;
  if (std::any_of(buffer_.begin() + static_cast<std::ptrdiff_t>(at_), buffer_.end(), [](auto b) { return b != 0; })) {
    damage_.bytes_skipped += room;
  }
  next_block();
  return Step::again;
}

BlockReader::Step BlockReader::take(const FragmentHeader& header, std::span<const std::uint8_t> payload, Raw& raw) {
  const std::size_t cost = fragment_header_bytes + payload.size();
  if (header.part == Part::whole || header.part == Part::first) {
    drop_partial();
    arriving_ = false;
    const std::uint64_t number = next_number_++;
    started_ = std::max(started_, next_number_);
    if (header.part == Part::whole) return give(number, header.kind, payload, raw);
    partial_.active = true;
    partial_.number = number;
    partial_.kind = header.kind;
    partial_.cost = cost;
    partial_.bytes.assign(payload.begin(), payload.end());
    return Step::again;
  }
  const bool fits = partial_.active && partial_.number == next_number_ - 1 && partial_.kind == header.kind &&
                    partial_.bytes.size() + payload.size() <= max_record_bytes;
  if (!fits) {
    if (arriving_) return Step::again;  // the rest of a record that starts before the place asked for
    drop_partial();
    damage_.bytes_skipped += cost;
    return Step::again;
  }
  partial_.bytes.insert(partial_.bytes.end(), payload.begin(), payload.end());
  partial_.cost += cost;
  if (header.part == Part::middle) return Step::again;
  partial_.active = false;
  return give(partial_.number, partial_.kind, partial_.bytes, raw);
}

BlockReader::Step BlockReader::give(std::uint64_t number, std::uint8_t kind, std::span<const std::uint8_t> payload,
                                    Raw& raw) {
  if (number < expected_) {
    // Only a made-up file numbers its records backwards.
    damage_.bytes_skipped += payload.size();
    return Step::again;
  }
  damage_.records_missing += number - expected_;
  expected_ = number + 1;
  raw = {number, kind, payload, sums_before_};
  return Step::record;
}

BlockReader::Step BlockReader::condemn() {
  drop_partial();
  skipping_ = true;
  return Step::again;
}

void BlockReader::next_block() {
  ++block_;
  have_ = 0;
  at_ = 0;
  skipping_ = false;
}

void BlockReader::drop_partial() {
  if (!partial_.active) return;
  partial_.active = false;
  damage_.bytes_skipped += partial_.cost;
}

bool BlockReader::only_zeros_from(std::size_t at) const {
  if (at >= have_ || source_->size() > block_ * block_bytes + have_) return false;
  const auto rest = std::span(buffer_).first(have_).subspan(at);
  return std::all_of(rest.begin(), rest.end(), [](auto b) { return b == 0; });
}

BlockReader::Damage BlockReader::damage() const {
  Damage damage = damage_;
  const std::uint64_t position = block_ * block_bytes + at_;
  const std::uint64_t size = source_->size();
  if (!skipping_ && size > position) damage.torn_bytes = size - position;
  if (partial_.active) damage.torn_bytes += partial_.cost;
  const std::uint64_t open = partial_.active ? 1 : 0;
  if (started_ > expected_ + open) damage.records_missing += started_ - expected_ - open;
  return damage;
}

}  // namespace hopbench
