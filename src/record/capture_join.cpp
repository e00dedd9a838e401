#include <algorithm>
#include <cstring>
#include <deque>
#include <memory>
#include <utility>

#include "record/capture_copy.h"
#include "record/capture_parts.h"
#include "record/copy_trouble.h"

namespace hopbench {
namespace {

/// The last records that were taken are known by a hash of all their bytes: with so many, that the next part repeats
/// them is found even if its own copy of some is damaged.
constexpr std::size_t remembered = 4096;

std::uint64_t hash_of(const BlockReader::Raw& raw) {
  std::uint64_t hash = 0xcbf29ce484222325U ^ raw.kind ^ (std::uint64_t{raw.payload.size()} << 8U);
  for (const auto byte : raw.payload) hash = (hash ^ byte) * 0x100000001b3U;
  return hash;
}

bool is(const BlockReader::Raw& raw, RecordKind kind) { return raw.kind == static_cast<std::uint8_t>(kind); }

class Joiner {
 public:
  Joiner(const std::string& out, bool with_segments) : out_(out), with_segments_(with_segments) {}

  Copied join(const std::vector<std::string>& paths) {
    for (const auto& path : paths) {
      if (!take(path)) return copied_;
    }
    if (const auto hole = holes_.at_end(); hole && !end_) copy_->dropped(hole->seen());
    if (end_) copy_->append_end(end_->until, end_->lateness);
    if (!end_) copied_.remarks.push_back(paths.back() + ": not closed, and so is what was joined");
    copied_.records = copy_->records();
    if (const int error = copy_->place(); error != 0) return refused_file(out_, error);
    return copied_;
  }

 private:
  using Reader = std::unique_ptr<CaptureReader>;

  bool fail(Copied failed) {
    copied_ = std::move(failed);
    return false;
  }

  Reader open(const std::string& path) {
    std::string why;
    if (with_segments_) {
      auto reader = open_capture(path, why);
      if (!reader) fail(refused(Copied::Trouble::file, path + ": " + why));
      return reader;
    }
    auto source = open_file(path, why);
    if (source) return std::make_unique<CaptureReader>(std::move(source));
    fail(refused(Copied::Trouble::file, path + ": " + why));
    return nullptr;
  }

  bool take(const std::string& path) {
    auto reader = open(path);
    if (!reader) return false;
    auto opening = read_opening(*reader);
    if (!opening) return fail(refused(Copied::Trouble::bad_input, path + ": no capture, or its head cannot be read"));
    if (!copy_) {
      if (!begin(*opening)) return false;
    } else if (const auto* difference = differs(opening->head); difference != nullptr) {
      return fail(
          refused(Copied::Trouble::bad_input, path + ": of another run than " + first_path_ + ": " + difference));
    }
    if (first_path_.empty()) first_path_ = path;
    std::uint64_t repeated = 0;
    if (!count_repeated(path, repeated)) return false;
    copied_.repeated += repeated;
    if (!(reader = open(path))) return false;
    copy_rest(*reader, path, repeated);
    copied_.damage.add(reader->damage());
    return true;
  }

  bool begin(Opening opening) {
    head_ = opening.head;
    if (opening.head.segment != 0) {
      // What is joined is one file, the first of its own.
      opening.head.segment = 0;
      RecordEncoder encoder;
      const auto bytes = encoder.head(opening.head);
      opening.head_bytes.assign(bytes.begin(), bytes.end());
    }
    copy_.emplace(out_, opening);
    return copy_->error() == 0 || fail(refused_file(out_, copy_->error()));
  }

  [[nodiscard]] const char* differs(const CaptureHead& head) const {
    if (head.scenario_text != head_.scenario_text) return "another scenario";
    if (head.bus_text != head_.bus_text) return "another bus description";
    if (head.run.seed != head_.run.seed) return "another seed";
    if (head.run_id != head_.run_id) return "recorded at another time";
    return nullptr;
  }

  /// How many records at the start of this part (its opening left out) were taken from the ones before.
  bool count_repeated(const std::string& path, std::uint64_t& repeated) {
    if (recent_.empty()) return true;
    auto reader = open(path);
    if (!reader) return false;
    std::optional<Nanos> first;
    std::optional<Nanos> last;
    std::uint64_t count = 0;
    std::uint64_t until_last_time = 0;  // records up to the last that is not later than what was taken
    std::size_t latest = 0;
    BlockReader::Raw raw;
    while (reader->next_raw(raw)) {
      if (is_opening(raw) || is(raw, RecordKind::end)) continue;
      if (count++ == 0 && is_cut_mark(raw)) continue;
      const auto time = time_in(raw);
      if (time && !first) first = time;
      if (time) last = time;
      if (time && *time > last_time_) break;
      until_last_time = count;
      const auto hash = hash_of(raw);
      const auto at = std::find(recent_.rbegin(), recent_.rend(), hash);
      if (at == recent_.rend()) continue;
      const auto place = static_cast<std::size_t>(recent_.rend() - at);
      if (place < latest) continue;
      latest = place;
      repeated = count;
    }
    if (first && *first < first_time_) {
      return fail(refused(Copied::Trouble::bad_input, path + ": begins before " + last_path_ +
                                                          ", which was named before it; name parts in order of time"));
    }
    // All of it lies before the last of what was taken: nothing in it is new.
    if (repeated == 0 && last && *last < last_time_) repeated = until_last_time;
    return true;
  }

  void copy_rest(CaptureReader& reader, const std::string& path, std::uint64_t repeated) {
    BlockReader::Raw raw;
    std::uint64_t count = 0;
    bool first_of_part = true;
    std::optional<EndRecord> end;
    while (reader.next_raw(raw)) {
      if (const auto missing = reader.missing()) holes_.missed(*missing);
      if (is_opening(raw)) continue;
      if (is(raw, RecordKind::end)) {
        if (decoder_.decode(raw.kind, raw.payload, record_) != RecordDecoder::Result::good) continue;
        end = record_.end;
        known_ = true;
        copy_hole();
        continue;
      }
      const bool cut_mark = count++ == 0 && is_cut_mark(raw);
      if (cut_mark) holes_.given_until(record_.dropped.to);
      if (cut_mark && last_path_.empty()) {
        copy_->append(raw, 0);
        continue;
      }
      if (cut_mark) {
        tell_hole(path);
        continue;
      }
      if (count <= repeated) {
        holes_.forget();  // the part before has it
        continue;
      }
      const auto time = time_in(raw);
      copy_hole();
      if (time && first_of_part) first_time_ = *time;
      if (time) first_of_part = false;
      if (time) last_time_ = std::max(last_time_, *time);
      copy_->append(raw, time.value_or(0));
      recent_.push_back(hash_of(raw));
      if (recent_.size() > remembered) recent_.pop_front();
    }
    if (const auto missing = reader.missing_at_end()) holes_.missed(*missing);
    // A part that lies inside what was taken ends nothing.
    if (end && end_ && end->until < end_->until) end = end_;
    end_ = end;
    known_until_ = std::max(known_until_, end ? end->until : last_time_);
    last_path_ = path;
  }

  /// What is missing before record_, if it could be read.
  void copy_hole() {
    if (!known_) return;
    if (const auto hole = holes_.close(record_)) copy_->dropped(hole->seen());
  }

  /// The part before may not reach as far as this one's start.
  void tell_hole(const std::string& path) {
    const Nanos to = record_.dropped.to;
    if (to <= known_until_) return;
    // What was under way when the part before ended is in neither.
    const Nanos from = std::max(std::min(known_until_, last_time_), std::min<Nanos>(0, to));
    copy_->dropped({from, to, 0, cut_reason});
    copied_.remarks.push_back(path + ": begins later than " + last_path_ +
                              " ends; what lies between is told as left out");
  }

  static bool is_opening(const BlockReader::Raw& raw) {
    return is(raw, RecordKind::head) || is(raw, RecordKind::build);
  }

  bool is_cut_mark(const BlockReader::Raw& raw) {
    return is(raw, RecordKind::dropped) &&
           decoder_.decode(raw.kind, raw.payload, record_) == RecordDecoder::Result::good &&
           record_.dropped.why == cut_reason;
  }

  std::optional<Nanos> time_in(const BlockReader::Raw& raw) {
    known_ = decoder_.decode(raw.kind, raw.payload, record_) == RecordDecoder::Result::good;
    return known_ ? time_of(record_) : std::nullopt;
  }

  std::string out_;
  bool with_segments_;
  Copied copied_;
  std::optional<CaptureCopy> copy_;
  CaptureHead head_;
  std::string first_path_;
  std::string last_path_;
  std::deque<std::uint64_t> recent_;
  Nanos first_time_ = std::numeric_limits<Nanos>::min();  // of the part before
  Nanos last_time_ = std::numeric_limits<Nanos>::min();
  Nanos known_until_ = std::numeric_limits<Nanos>::min();
  std::optional<EndRecord> end_;
  Holes holes_;
  RecordDecoder decoder_;
  Record record_;
  bool known_ = false;  // record_ is what was read last
};

}  // namespace

Copied join_captures(const std::string& out, const std::vector<std::string>& paths) {
  return Joiner(out, paths.size() == 1).join(paths);
}

}  // namespace hopbench
