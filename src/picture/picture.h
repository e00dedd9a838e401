// A capture to look at: slices of all of it, which grow as it is read, and a closer look at any stretch of it at once.
#pragma once

#include <cstdint>
#include <functional>
#include <memory>
#include <optional>
#include <string>
#include <vector>

#include "picture/index.h"
#include "picture/slices.h"
#include "record/truth.h"

namespace hopbench {

/// One exchange with storage of its own, and why it went so where the capture tells.
struct FoundExchange {
  ExchangeRecord record;
  bool truth_known = false;
  std::vector<RowTruth> row_truths;
  std::vector<AttemptTruth> attempt_truths;

  [[nodiscard]] ExchangeObs seen() const { return record.seen(); }
};

/// How much of a stretch of time has been read.
enum class ReadState : std::uint8_t { none, some, all };

/// One column of the map.
struct TimeColumn {
  Slice slice;
  ReadState read = ReadState::all;
};

/// What held at an instant. `nodes` is empty where it is not known of the nodes.
struct ConditionsThen {
  bool known = false;
  std::uint32_t cells_balancing = 0;
  std::int32_t charge_ma = 0;
  std::vector<NodeState> nodes;
};

/// Whose times: transit on a hop, a frame's stay in a station that passes it on, round trips with a node or on a topic.
enum class Subject : std::uint8_t { hop, stay, node, topic };
struct Timed {
  Subject subject = Subject::hop;
  std::size_t index = 0;  // into RunInfo.links, RunInfo.nodes, or the measures' topics
};
const Histogram* times_of(const RunPart& part, Timed what);

class Picture {
 public:
  /// Null if it cannot be opened, or is no capture: in one line in `why`; `no_capture` tells which. `program`: the
  /// version of this program, which an index must be of; none: no index is read, and none is kept.
  static std::unique_ptr<Picture> open(const std::string& path, std::optional<std::string> program, std::string& why,
                                       bool& no_capture);
  ~Picture();

  [[nodiscard]] const std::string& path() const { return path_; }
  [[nodiscard]] const RunInfo& run() const { return run_; }
  [[nodiscard]] const std::string& scenario_text() const { return scenario_text_; }
  [[nodiscard]] const std::string& bus_text() const { return bus_text_; }

  /// Reads up to so many records on; how many there were. Zero: nothing more for now.
  std::size_t grow(std::size_t records);
  /// Everything up to what is there now has been read.
  [[nodiscard]] bool caught_up() const { return caught_up_; }
  [[nodiscard]] bool ended() const { return place_.ended; }
  /// Where the whole picture reaches; nothing: not even one record.
  [[nodiscard]] std::optional<Nanos> read_until() const;
  /// First and last instant, as far as known: the last one from the capture's end, whether read or not.
  [[nodiscard]] Nanos from() const;
  [[nodiscard]] Nanos until() const;
  /// Up to where it has been read, also where that was done for an index.
  [[nodiscard]] CaptureDamage damage() const;
  [[nodiscard]] const Slices& slices() const { return slices_; }

  /// Shows these exchanges only: the whole is read anew. With everything shown again, goes on where it had got to.
  void show(Filter filter);
  /// Leaves beside the capture what has been read with everything shown, unless the capture was changed meanwhile by
  /// other than its writer. False if it could not be written.
  bool keep() const;

  /// `count` columns of `span` each, from `from` (a multiple of `span`). From slices if they are short enough and reach
  /// there, else from the capture, of which at most `most_records` are read.
  std::vector<TimeColumn> columns(Nanos from, Nanos span, std::size_t count);
  /// Measures of a stretch: exactly, from the capture, where it is short; else of the parts that it lies in.
  RunPart part(Nanos from, Nanos to);
  /// Times in each of so many columns; the same as columns() does it, but for columns shorter than a part that would
  /// take too many records: these are empty.
  std::vector<Histogram> times(Timed what, Nanos from, Nanos span, std::size_t count);
  /// As the capture tells of it last before that instant.
  ConditionsThen conditions(Nanos at);

  /// The exchange that a cell of the map is about: of those that began in [from, to), or had trouble at `place` then,
  /// the first with trouble there, else the first with any, else the first.
  std::optional<FoundExchange> at(Nanos from, Nanos to, std::optional<MapPlace> place);
  std::optional<FoundExchange> numbered(std::uint64_t number);
  /// The recorded exchange with the next higher number, or lower, backwards. None if there is none near.
  std::optional<FoundExchange> neighbour(const FoundExchange& of, bool backwards);
  /// The first exchange that is shown, began after `from` (before it, backwards) and had a try that failed: at `place`,
  /// if one is given. None if there is none, or none as far as it is read.
  std::optional<FoundExchange> next_failure(Nanos from, bool backwards, std::optional<MapPlace> place = {});

  static constexpr std::size_t most_records = 60'000;

 private:
  /// What has been read with everything shown, while only some of it is.
  struct Whole {
    Slices slices;
    IndexPlace place;
  };

  Picture() = default;
  /// What was found damaged so far lies before place_.
  void settle_damage();
  void begin_anew(Filter filter);
  /// The index is of what the capture holds now, or of all that it held before it grew.
  [[nodiscard]] bool belongs(const IndexPlace& place) const;
  bool go_on_after(const IndexPlace& place);
  using Visit = std::function<bool(const Record&)>;
  /// Calls f(record) for exchanges and other records from `from` on, until it returns false or `to` is well past.
  bool look(Nanos from, Nanos to, const Visit& f);
  /// The same from some records earlier on, so that nothing is missed of what held, or was missing, at `from`.
  bool look_around(Nanos from, Nanos to, const Visit& f);
  bool look_on(Nanos to, const Visit& f);
  [[nodiscard]] bool shows(const ExchangeObs& obs) const;
  void copy(const Record& record, FoundExchange& found);
  /// What nodes were like then, as far as that was read; empty: not known.
  [[nodiscard]] std::vector<NodeState> nodes_before(Nanos at) const;
  [[nodiscard]] ReadState reading(Nanos from, Nanos to) const;

  std::string path_;
  std::optional<std::string> program_;
  FileMarks opened_;  // what there was before anything was read
  RunInfo run_;
  std::string scenario_text_;
  std::string bus_text_;
  std::unique_ptr<CaptureReader> reader_;
  std::unique_ptr<CaptureReader> look_;  // for closer looks
  TruthReader truth_;
  Slices slices_{Filter{}};
  IndexPlace place_;
  CaptureDamage passed_by_;  // what reader_ found before that place
  std::uint32_t files_read_ = 1;
  bool after_hole_ = false;  // and something more since
  std::optional<Whole> whole_;
  Nanos latest_ = 0;
  bool caught_up_ = false;
  Nanos longest_open_ = 0;  // from start to close, of any exchange so far
  Nanos too_long_ = never;  // a stretch of which most_records were not enough
  Record record_;
};

}  // namespace hopbench
