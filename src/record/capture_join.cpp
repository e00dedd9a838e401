#include <algorithm>
#include <cstring>
#include <deque>
#include <memory>
#include <utility>

#include "record/capture_copy.h"
#include "record/capture_parts.h"
#include "record/copy_trouble.h"
#include "record/named_parts.h"

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
  explicit Joiner(const std::string& out) : out_(out) {}

  Copied join(const std::vector<std::string>& named) {
    std::vector<std::string> remarks;
    const auto paths = each_once(named, remarks);
    copied_.remarks = remarks;
    with_segments_ = paths.size() == 1;
    std::string why;
    const auto parts = named_parts(paths, why);
    if (!parts) return refused(Copied::Trouble::bad_input, why);
    for (const auto& part : *parts) {
      if (!take(part, &part == &parts->back())) return copied_;
    }
    if (const auto hole = holes_.at_end(); hole && !end_) copy_->dropped(hole->seen());
    if (end_) copy_->append_end(end_->until, end_->lateness);
    if (goes_on_) {
      copied_.incomplete = true;
      copied_.remarks.push_back(last_path_ +
                                ": says that the run goes on in a further file, which is not here; what was "
                                "joined is not closed");
    } else if (!end_) {
      copied_.remarks.push_back(last_path_ + ": not closed, and so is what was joined");
    }
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

  Reader open(const NamedPart& part) {
    std::string why;
    auto reader = with_segments_ ? open_capture(part.name(), why) : part.open(why);
    if (!reader) fail(refused(Copied::Trouble::file, part.name() + ": " + why));
    return reader;
  }

  bool take(const NamedPart& part, bool last) {
    const std::string& path = part.name();
    auto reader = open(part);
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
    if (!count_repeated(part, repeated)) return false;
    copied_.repeated += repeated;
    if (!(reader = open(part))) return false;
    tell_before(part);
    copy_rest(*reader, part, repeated);
    auto damage = reader->damage();
    // Where the next part begins says whether anything is missing then.
    if (!last && reader->last_missing()) {
      --damage.segments_missing;
      if (damage.bad_segments() == 0) damage.first_bad_segment.reset();
    }
    copied_.damage.add(damage);
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
  bool count_repeated(const NamedPart& part, std::uint64_t& repeated) {
    if (recent_.empty()) return true;
    const std::string& path = part.name();
    auto reader = open(part);
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

  /// A file that is not the first of its capture has nothing that says what lies before it.
  void tell_before(const NamedPart& part) {
    if (!part.place || part.place->number == 0 || !part.place->floor) return;
    const Nanos to = *part.place->floor;
    if (!last_path_.empty()) {
      tell_hole(part.name(), to);
      return;
    }
    copy_->dropped({std::min<Nanos>(0, to), to, 0, cut_reason});
    copied_.incomplete = true;
    copied_.remarks.push_back(part.name() + ": is file " + std::to_string(part.place->number) +
                              " of its capture; what lies before it is told as left out");
  }

  void copy_rest(CaptureReader& reader, const NamedPart& part, std::uint64_t repeated) {
    const std::string& path = part.name();
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
        tell_hole(path, record_.dropped.to);
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
    const Nanos until = reader.ended_at().value_or(last_time_);
    // A part that lies inside what was taken ends nothing.
    if (end_ && until < end_->until) end = end_;
    end_ = end;
    goes_on_ = !end && reader.goes_on();
    known_until_ = std::max(known_until_, until);
    last_path_ = part.files.back().second;
  }

  /// What is missing before record_, if it could be read.
  void copy_hole() {
    if (!known_) return;
    if (const auto hole = holes_.close(record_)) copy_->dropped(hole->seen());
  }

  /// The part before may not reach as far as this one's start.
  void tell_hole(const std::string& path, Nanos to) {
    if (to <= known_until_) return;
    // What was under way when the part before ended is in neither.
    const Nanos from = std::max(std::min(known_until_, last_time_), std::min<Nanos>(0, to));
    copy_->dropped({from, to, 0, cut_reason});
    copied_.incomplete = true;
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
  bool with_segments_ = false;
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
  bool goes_on_ = false;  // so the last part says
  bool known_ = false;    // record_ is what was read last
};

}  // namespace

Copied join_captures(const std::string& out, const std::vector<std::string>& paths) { return Joiner(out).join(paths); }

}  // namespace hopbench
