// Reads a capture back: observations only. For the causes of a simulated run see record/truth.h.
#pragma once

#include <cstdint>
#include <memory>
#include <optional>
#include <string>
#include <utility>

#include "record/block_reader.h"
#include "record/capture_damage.h"
#include "record/holes.h"
#include "record/overlap.h"
#include "record/record_codec.h"
#include "record/record_time.h"
#include "record/records.h"
#include "record/repeat_models.h"
#include "record/segments.h"

namespace hopbench {

/// Damaged parts are passed over and told of in damage(), and where they lay by a record of the kind `hole`; no input
/// makes it throw or give another record that was not written (short of forged check values).
class CaptureReader {
 public:
  /// One file, whichever segment it is.
  explicit CaptureReader(std::unique_ptr<ByteSource> source);
  /// A capture in several files, read on in order as one: with one head, one build and one end. Whether they belong
  /// together is looked at where one ends and the next begins: run, number, time, and how the one before ended.
  /// `number`: of the first one; one that is not 0 stands for the beginning of a part.
  CaptureReader(std::unique_ptr<ByteSource> first, std::unique_ptr<Segments> segments, std::uint32_t number = 0);
  ~CaptureReader();

  /// False: no whole record for now. In a capture that grows it may be called again. `record.number` counts in each
  /// file from 0. Where records are missing a hole comes first, from the last instant told of to the next one.
  bool next(Record& record);
  /// The same, but an exchange that is like one of `models` (null: none) is told as `repeat`; `repeated` is true then.
  bool next(Record& record, RepeatModels* models, Repeat& repeat, bool& repeated);
  /// The same without decoding and holes, and with the kinds that this code does not know: for copying.
  bool next_raw(BlockReader::Raw& raw);
  /// Records missing right before the last one that next_raw() gave: none, or how many at least.
  [[nodiscard]] std::optional<std::uint64_t> missing() const { return missing_; }
  /// The same after all that there is now.
  [[nodiscard]] std::optional<std::uint64_t> missing_at_end() const;
  /// A hole that a search passed over and that reaches the time it was for; told once, here or by next().
  std::optional<DroppedRecord> take_hole() { return std::exchange(hole_, std::nullopt); }
  /// What is missing at the end as a hole, after next() has given all that there is.
  [[nodiscard]] std::optional<DroppedRecord> hole_at_end() const;
  /// Goes on with the first record that is an exchange closed at `time` or later, a tally that ends then or later, or
  /// the end: the same one that reading from the start comes to. Reads O(log blocks) headers and few blocks. What is
  /// passed over so is not looked at for damage, and an end's sum is not compared any more.
  void seek(Nanos time);
  /// Goes on some records earlier, with those that go along with an exchange closed before `time` and tell of what held
  /// or was missing after it: states, gaps, records left out.
  void seek_before(Nanos time);

  /// Goes to the last files and blocks and gives the latest instant that a record there tells of; none if none does.
  /// Reading goes on at the end then.
  std::optional<Nanos> latest();

  [[nodiscard]] CaptureDamage damage() const;
  /// Causes that belong to a record of this capture cannot be read: see record/truth.h.
  void causes_unreadable() { ++causes_unreadable_; }
  /// The last file read was ended in order; up to when it reaches then.
  [[nodiscard]] std::optional<Nanos> ended_at() const { return ended_ ? std::optional(until_) : std::nullopt; }
  /// And it said that the run goes on in a further one.
  [[nodiscard]] bool goes_on() const { return ended_ && goes_on_; }
  /// Which is not there, and counts as damage.
  [[nodiscard]] bool last_missing() const { return last_missing_; }
  /// Files begun so far.
  [[nodiscard]] std::uint32_t segments_read() const { return segments_read_; }

 private:
  enum class Taken : std::uint8_t { give, pass_over };
  /// What was passed over so far: if any of it has changed, something is missing.
  struct PassedOver {
    std::uint64_t trouble = 0;
    std::uint64_t records = 0;
  };

  bool give(BlockReader::Raw& raw);
  [[nodiscard]] PassedOver passed_over() const;
  /// Missing since it was last asked.
  std::optional<std::uint64_t> take_missing();
  bool next_in_file(BlockReader::Raw& raw);
  Taken look_at(const BlockReader::Raw& raw);
  void take_end(const BlockReader::Raw& raw);
  /// False if there is no further file for now.
  bool find_segment(std::uint32_t& number, bool& last);
  /// False if it is being begun: nothing can be said of it yet.
  bool enter_segment(std::uint32_t number, bool last);
  /// Of a file whose header says that it comes next. False: it tells of a time that the ones before told of.
  bool follows(std::optional<Nanos> floor, std::uint32_t number, bool gap_told);
  void count_bad(std::uint64_t& count, std::uint64_t by, std::uint32_t first);
  [[nodiscard]] bool is_own(std::uint32_t number);
  void use_file(std::unique_ptr<ByteSource> source, std::uint32_t number, const BlockReader::Damage& of_this);
  void seek_segment(Nanos time);
  /// Leaves the file that is read; what of it was not read is no damage.
  void use_segment(std::uint32_t number);

  std::optional<BlockReader> blocks_;
  std::unique_ptr<Segments> segments_;
  std::uint32_t segment_ = 0;         // last looked at
  std::uint32_t segment_read_ = 0;    // that is read from
  std::uint32_t segment_before_ = 0;  // that was before it
  std::uint32_t segments_read_ = 1;
  std::optional<std::uint64_t> run_id_;
  RecordDecoder decoder_;
  Record seen_;  // heads, ends, and what a search looks at
  Overlap overlap_;
  CaptureDamage earlier_;  // of the files before this one
  bool head_given_ = false;
  bool build_given_ = false;
  bool sought_ = false;
  bool ended_ = false;         // this file
  bool goes_on_ = false;       // it said so
  Nanos until_ = 0;            // and up to when it reaches
  bool part_ = false;          // the first file read is not the first of its capture
  bool last_missing_ = false;  // there is no file where the last one said that it goes on
  bool broke_off_ = false;     // the file before this one has no end, and this one has not said why
  std::uint64_t foreign_ = 0;  // files of other runs since the last one of this
  bool newer_ = false;
  bool sum_disagrees_ = false;
  std::optional<BlockReader::Raw> held_;  // what a search came to, or what comes after a hole
  PassedOver told_;
  std::optional<std::uint64_t> missing_;
  Holes holes_;
  std::optional<DroppedRecord> hole_;
  std::uint64_t causes_unreadable_ = 0;
  std::uint64_t unreadable_records_ = 0;
  std::uint64_t unreadable_bytes_ = 0;
};

/// The capture at `path` with all its segments. Null if it cannot be opened, with the reason in a few words in `why`.
std::unique_ptr<CaptureReader> open_capture(const std::string& path, std::string& why);

/// Reads records and gathers those exchanges into repeats that a sink does not want whole. What it tells has the same
/// measures.
class Replayer {
 public:
  /// Both must outlive it.
  Replayer(CaptureReader& reader, Sink& sink) : reader_(reader), sink_(sink) {}
  /// The next record that is to be told whole; null if there is none for now. Repeats before it have been told.
  const Record* next();

 private:
  void flush();
  CaptureReader& reader_;
  Sink& sink_;
  RepeatModels models_;
  std::vector<Repeat> repeats_;
  Record record_;
  bool learn_ = false;
};

/// Tells `sink` of a record; exchanges without their truth.
void pass_on(const Record& record, Sink& sink);

/// Tells `sink` all that was seen, as far as the reader gets.
void replay_observations(CaptureReader& reader, Sink& sink);

}  // namespace hopbench
