#include "record/capture_reader.h"

#include <algorithm>
#include <iterator>
#include <utility>
#include <vector>

#include "record/block_search.h"

namespace hopbench {
namespace {

constexpr std::uint32_t known_major = 1;

bool is(const BlockReader::Raw& raw, RecordKind kind) { return raw.kind == static_cast<std::uint8_t>(kind); }

void add(CaptureDamage& to, const BlockReader::Damage& blocks) {
  to.bytes_skipped += blocks.bytes_skipped;
  to.records_missing += blocks.records_missing;
  to.torn_bytes += blocks.torn_bytes;
  to.newer = to.newer || blocks.newer;
}

/// Of the first block whose header can be read.
std::optional<BlockHeader> first_header(ByteSource& source) {
  const std::uint64_t blocks = source.size() / block_bytes + 1;
  for (std::uint64_t block = 0; block < blocks; ++block) {
    if (const auto header = header_at(source, block, std::nullopt)) return header;
  }
  return std::nullopt;
}

const std::vector<std::uint8_t> nothing;

/// Nothing but zeros where two blocks begin: there is no need to look through the rest, however long it is.
bool is_blank(ByteSource& source) {
  std::vector<std::uint8_t> bytes(static_cast<std::size_t>(std::min<std::uint64_t>(source.size(), block_bytes)));
  if (bytes.empty() || source.read(0, bytes) != bytes.size()) return false;
  const bool zeros = std::all_of(bytes.begin(), bytes.end(), [](auto byte) { return byte == 0; });
  return zeros && !header_at(source, 1, std::nullopt);
}

std::optional<std::uint64_t> run_id_in(ByteSource& source) {
  const auto header = first_header(source);
  return header ? std::optional(header->run_id) : std::nullopt;
}

}  // namespace

CaptureReader::CaptureReader(std::unique_ptr<ByteSource> source) : CaptureReader(std::move(source), nullptr) {}

CaptureReader::CaptureReader(std::unique_ptr<ByteSource> first, std::unique_ptr<Segments> segments,
                             std::uint32_t number)
    : segments_(std::move(segments)), segment_(number), segment_read_(number), segment_before_(number) {
  blocks_.emplace(std::move(first));
}

CaptureReader::~CaptureReader() = default;

bool CaptureReader::next(Record& record) {
  Repeat repeat;
  bool repeated = false;
  return next(record, nullptr, repeat, repeated);
}

bool CaptureReader::next(Record& record, RepeatModels* models, Repeat& repeat, bool& repeated) {
  if (hole_) {
    repeated = false;
    record.kind = RecordKind::hole;
    record.dropped = *take_hole();
    return true;
  }
  BlockReader::Raw raw;
  while (give(raw)) {
    if (const auto missing = take_missing()) holes_.missed(*missing);
    // The record after a hole is looked at whole: it says how far the hole reaches.
    repeated = models != nullptr && !holes_.open() && is(raw, RecordKind::clean_exchange) &&
               models->repeat_of(raw.payload, repeat);
    if (repeated) {
      const auto& model = models->models()[repeat.model];
      holes_.given_until(repeat.start + (model.closed - model.start));
      return true;
    }
    switch (decoder_.decode(raw.kind, raw.payload, record)) {
      case RecordDecoder::Result::good:
        break;
      case RecordDecoder::Result::unknown_kind:
        continue;  // an addition of a later minor version
      case RecordDecoder::Result::unreadable:
        ++unreadable_records_;
        unreadable_bytes_ += raw.payload.size();
        continue;
    }
    if (auto hole = holes_.close(record)) {
      record.kind = RecordKind::hole;
      record.dropped = std::move(*hole);
      held_ = raw;
      return true;
    }
    record.number = raw.number;
    return true;
  }
  return false;
}

bool CaptureReader::next_raw(BlockReader::Raw& raw) {
  if (!give(raw)) return false;
  missing_ = take_missing();
  return true;
}

CaptureReader::PassedOver CaptureReader::passed_over() const {
  const auto& here = blocks_->passed_over();
  const std::uint64_t records = earlier_.records_missing + here.records_missing + unreadable_records_;
  const std::uint64_t bytes = earlier_.bytes_skipped + here.bytes_skipped;
  return {records + bytes + earlier_.bad_segments() + (last_missing_ ? 1 : 0), records};
}

std::optional<std::uint64_t> CaptureReader::take_missing() {
  const auto before = std::exchange(told_, passed_over());
  if (told_.trouble == before.trouble) return std::nullopt;
  return told_.records - before.records;
}

std::optional<std::uint64_t> CaptureReader::missing_at_end() const {
  const auto all = blocks_->damage();
  const auto& known = blocks_->passed_over();
  const auto now = passed_over();
  const bool more = all.bytes_skipped != known.bytes_skipped || all.records_missing != known.records_missing;
  if (!more && now.trouble == told_.trouble) return std::nullopt;
  return now.records - told_.records + all.records_missing - known.records_missing;
}

std::optional<DroppedRecord> CaptureReader::hole_at_end() const {
  Holes holes = holes_;
  if (const auto missing = missing_at_end()) holes.missed(*missing);
  return holes.at_end();
}

bool CaptureReader::give(BlockReader::Raw& raw) {
  if (held_) {
    raw = *std::exchange(held_, std::nullopt);
    return true;
  }
  while (true) {
    if (next_in_file(raw)) return true;
    std::uint32_t number = 0;
    bool last = false;
    last_missing_ = false;
    if (newer_ || !segments_) return false;
    if (ended_ && !goes_on_) {
      // A last file where the first should be: the others lie beside it.
      if (part_ && !segments_->further().empty()) {
        part_ = false;
        count_bad(earlier_.segments_misplaced, 1, 0);
      }
      return false;
    }
    const bool found = find_segment(number, last);
    // Nothing is added to a file once there is a next one, but something may have been just before.
    if (found && next_in_file(raw)) return true;
    if (found && enter_segment(number, last)) continue;
    // A writer makes the next file before it says that this one goes on.
    last_missing_ = ended_ && goes_on_ && !part_;
    return false;
  }
}

bool CaptureReader::next_in_file(BlockReader::Raw& raw) {
  while (!newer_ && blocks_->next(raw)) {
    if (!run_id_) run_id_ = blocks_->run_id();
    if (look_at(raw) == Taken::give) return true;
  }
  return false;
}

CaptureReader::Taken CaptureReader::look_at(const BlockReader::Raw& raw) {
  if (is(raw, RecordKind::head)) {
    const bool good = decoder_.decode(raw.kind, raw.payload, seen_) == RecordDecoder::Result::good;
    if (good && seen_.head.major > known_major) {
      newer_ = true;
      return Taken::pass_over;
    }
    const bool again = std::exchange(head_given_, head_given_ || good);
    if (good && !again && segment_ == 0) part_ = seen_.head.segment != 0;
    return again && segments_ ? Taken::pass_over : Taken::give;
  }
  if (is(raw, RecordKind::build)) {
    return std::exchange(build_given_, true) && segments_ ? Taken::pass_over : Taken::give;
  }
  // A writer that had to leave a file says so first of all in the next one.
  if (std::exchange(broke_off_, false) && !is(raw, RecordKind::dropped)) {
    count_bad(earlier_.segments_cut, 1, segment_before_);
  }
  if (is(raw, RecordKind::end)) {
    take_end(raw);
    return goes_on_ && segments_ ? Taken::pass_over : Taken::give;
  }
  if (!segments_) return Taken::give;
  if (overlap_.repeated(raw.kind, raw.payload)) return Taken::pass_over;
  overlap_.given(raw.kind, raw.payload);
  return Taken::give;
}

void CaptureReader::take_end(const BlockReader::Raw& raw) {
  if (decoder_.decode(raw.kind, raw.payload, seen_) != RecordDecoder::Result::good) return;
  ended_ = true;
  goes_on_ = seen_.end.goes_on;
  until_ = seen_.end.until;
  const auto damage = blocks_->damage();
  const bool whole = !sought_ && damage.bytes_skipped == 0 && damage.records_missing == 0;
  sum_disagrees_ = whole && (seen_.end.records != raw.number || seen_.end.crc_of_crcs != raw.crc_of_crcs);
}

bool CaptureReader::find_segment(std::uint32_t& number, bool& last) {
  const auto further = segments_->further();
  const auto next = std::upper_bound(further.begin(), further.end(), segment_);
  if (next == further.end()) return false;
  number = *next;
  last = std::next(next) == further.end();
  return true;
}

void CaptureReader::count_bad(std::uint64_t& count, std::uint64_t by, std::uint32_t first) {
  if (by == 0) return;
  count += by;
  if (!earlier_.first_bad_segment) earlier_.first_bad_segment = first;
}

bool CaptureReader::enter_segment(std::uint32_t number, bool last) {
  auto source = segments_->open(number);
  const bool empty = !source || source->size() < block_header_bytes;
  if (source && empty && last) return false;
  if (std::exchange(part_, false)) count_bad(earlier_.segments_misplaced, 1, 0);
  const std::uint32_t before = std::exchange(segment_, number);
  count_bad(earlier_.segments_missing, number - before - 1, before + 1);
  if (empty) {
    count_bad(earlier_.segments_missing, 1, number);
    return true;
  }
  // A file that was there before the capture is of another run. One that cannot be told is read, as damage.
  const auto header = first_header(*source);
  if (header && run_id_ && header->run_id != *run_id_) {
    ++foreign_;
    return true;
  }
  if (header && header->segment != number) {
    count_bad(earlier_.segments_misplaced, 1, number);
    return true;
  }
  const auto floor = header && header->block == 0 ? std::optional(header->close_floor) : std::nullopt;
  if (!follows(floor, number, number - segment_read_ - 1 > foreign_)) return true;
  const bool broke_off = !ended_;
  const std::uint32_t left = segment_read_;
  use_file(std::move(source), number, blocks_->damage());
  broke_off_ = broke_off;
  segment_before_ = left;
  return true;
}

bool CaptureReader::follows(std::optional<Nanos> floor, std::uint32_t number, bool gap_told) {
  const std::uint64_t foreign = std::exchange(foreign_, 0);
  // Where the one before was not ended in order, nobody knows up to when it was to reach.
  if (!ended_ || !floor || *floor == until_) return true;
  if (*floor < until_) {
    count_bad(earlier_.segments_misplaced, 1, number);
    return false;
  }
  if (!gap_told) count_bad(earlier_.segments_missing, std::max<std::uint64_t>(foreign, 1), number - 1);
  return true;
}

bool CaptureReader::is_own(std::uint32_t number) {
  const auto source = segments_->open(number);
  const auto header = source ? first_header(*source) : std::nullopt;
  return header && header->run_id == run_id_ && header->segment == number;
}

void CaptureReader::use_file(std::unique_ptr<ByteSource> source, std::uint32_t number,
                             const BlockReader::Damage& of_this) {
  add(earlier_, of_this);
  earlier_.sum_disagrees = earlier_.sum_disagrees || sum_disagrees_;
  overlap_.begin_segment(!ended_);
  blocks_.emplace(std::move(source), run_id_);
  segment_ = segment_read_ = number;
  ++segments_read_;
  ended_ = goes_on_ = sum_disagrees_ = broke_off_ = last_missing_ = false;
}

void CaptureReader::seek_before(Nanos time) {
  held_.reset();
  hole_.reset();
  sought_ = true;
  if (!run_id_) run_id_ = blocks_->run_id() ? blocks_->run_id() : run_id_in(blocks_->source());
  if (segments_) seek_segment(time);
  if (run_id_) {
    const auto block = block_for(blocks_->source(), *run_id_, time);
    const auto header = header_at(blocks_->source(), block, run_id_);
    blocks_->go_to(block);
    holes_.jump_to(header && is_instant(header->close_floor) ? header->close_floor : std::min<Nanos>(0, time));
  }
  static_cast<void>(take_missing());
}

void CaptureReader::seek(Nanos time) {
  seek_before(time);
  BlockReader::Raw raw;
  while (give(raw)) {
    const bool good = decoder_.decode(raw.kind, raw.payload, seen_) == RecordDecoder::Result::good;
    const bool found = is(raw, RecordKind::end) || (good && time_of(seen_) >= time);
    if (found) held_ = raw;
    if (const auto missing = take_missing()) holes_.missed(*missing);
    // A hole right before a tally may end before that time as well: where the tally begins.
    if (good) {
      if (const auto hole = holes_.close(seen_); hole && hole->to >= time) hole_ = hole;
    }
    if (found) return;
  }
}

void CaptureReader::seek_segment(Nanos time) {
  std::vector<std::uint32_t> numbers = segments_->further();
  numbers.insert(numbers.begin(), 0);
  const std::uint64_t at = last_below(numbers.size(), time, [&](std::uint64_t i) -> std::optional<Nanos> {
    const auto source = segments_->open(numbers[i]);
    const auto header = source ? header_at(*source, 0, run_id_) : std::nullopt;
    return header && header->segment == numbers[i] ? std::optional(header->close_floor) : std::nullopt;
  });
  use_segment(numbers[at]);
}

void CaptureReader::use_segment(std::uint32_t number) {
  if (number == segment_) return;
  if (auto source = segments_->open(number)) use_file(std::move(source), number, blocks_->passed_over());
}

std::optional<Nanos> CaptureReader::latest() {
  held_.reset();
  hole_.reset();
  sought_ = true;
  std::vector<std::uint32_t> numbers{0};
  if (segments_) {
    const auto further = segments_->further();
    if (!run_id_) run_id_ = run_id_in(blocks_->source());
    std::copy_if(further.begin(), further.end(), std::back_inserter(numbers), [&](auto at) { return is_own(at); });
  }
  Record record;
  for (std::size_t i = std::min<std::size_t>(2, numbers.size()); i > 0; --i) use_segment(numbers[numbers.size() - i]);
  if (!run_id_) run_id_ = run_id_in(blocks_->source());
  // A long record may fill some blocks by itself.
  for (std::uint64_t back = 1; back <= 64; back *= 4) {
    const std::uint64_t blocks = blocks_->source().size() / block_bytes + 1;
    blocks_->go_to(blocks > back ? blocks - back : 0);
    std::optional<Nanos> found;
    while (next(record)) {
      if (const auto time = time_of(record)) found = std::max(found.value_or(*time), *time);
      if (record.kind == RecordKind::end) found = std::max(found.value_or(record.end.until), record.end.until);
    }
    if (found || back >= blocks) return found;
  }
  return std::nullopt;
}

CaptureDamage CaptureReader::damage() const {
  CaptureDamage damage = earlier_;
  damage.torn_before = earlier_.torn_bytes;
  add(damage, blocks_->damage());
  damage.bytes_skipped += unreadable_bytes_;
  damage.records_missing += unreadable_records_;
  damage.causes_unreadable = causes_unreadable_;
  if (last_missing_) {
    ++damage.segments_missing;
    if (!damage.first_bad_segment) damage.first_bad_segment = segment_ + 1;
  }
  damage.goes_on = ended_ && goes_on_ && segments_ != nullptr;
  damage.unclosed = !ended_ || damage.goes_on;
  damage.sum_disagrees = damage.sum_disagrees || sum_disagrees_;
  damage.newer = damage.newer || newer_;
  return damage;
}

std::unique_ptr<CaptureReader> open_capture(const std::string& path, std::string& why) {
  auto first = open_file(path, why);
  if (!first) return nullptr;
  if (is_blank(*first)) return std::make_unique<CaptureReader>(std::make_unique<MemorySource>(nothing));
  return std::make_unique<CaptureReader>(std::move(first), segments_of(path));
}

void pass_on(const Record& record, Sink& sink) {
  switch (record.kind) {
    case RecordKind::head:
      sink.begin(record.head.run);
      break;
    case RecordKind::build:
      break;
    case RecordKind::clean_exchange:
    case RecordKind::touched_exchange:
      sink.exchange(record.exchange.seen(), nullptr);
      break;
    case RecordKind::stray:
      sink.stray(record.stray.seen());
      break;
    case RecordKind::arrival:
      sink.arrival(record.arrival.seen());
      break;
    case RecordKind::end:
      sink.end(record.end.until, record.end.lateness);
      break;
    case RecordKind::tally:
      sink.tally(record.tally.seen());
      break;
    case RecordKind::state:
      sink.state(record.state.seen());
      break;
    case RecordKind::gap:
      sink.gap(record.gap.seen());
      break;
    case RecordKind::hole:
    case RecordKind::dropped:
      sink.dropped(record.dropped.seen());
      break;
    case RecordKind::command:
      sink.command(record.remark.seen());
      break;
    case RecordKind::note:
      sink.note(record.remark.seen());
      break;
  }
}

void Replayer::flush() {
  if (!repeats_.empty()) sink_.again(models_.models(), repeats_);
  repeats_.clear();
}

const Record* Replayer::next() {
  constexpr std::size_t at_a_time = 256;
  if (learn_) models_.learn(record_);  // it has been told by now
  learn_ = false;
  const bool whole = sink_.whole_from() != ~std::uint64_t{0} || sink_.whole_before() > 0;
  Repeat repeat;
  bool repeated = false;
  while (whole ? reader_.next(record_) : reader_.next(record_, &models_, repeat, repeated)) {
    if (!repeated) {
      flush();
      if (record_.kind == RecordKind::head) models_.clear();
      learn_ = !whole && record_.kind == RecordKind::clean_exchange;
      return &record_;
    }
    repeats_.push_back(repeat);
    if (repeats_.size() == at_a_time) flush();
  }
  flush();
  return nullptr;
}

void replay_observations(CaptureReader& reader, Sink& sink) {
  Replayer replayer(reader, sink);
  while (const Record* record = replayer.next()) pass_on(*record, sink);
}

}  // namespace hopbench
