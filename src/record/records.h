// Records of a capture as they are read back, with storage of their own.
#pragma once

#include <cstdint>
#include <optional>
#include <string>
#include <vector>

#include "record/frame_layout.h"
#include "seen/observation.h"

namespace hopbench {

struct CaptureHead {
  std::uint32_t major = 1;
  std::uint32_t minor = 0;
  std::uint64_t run_id = 0;
  std::uint32_t segment = 0;
  std::string scenario_text;
  std::string bus_text;
  std::string descriptors;  // FileDescriptorSet of the records, serialised
  RunInfo run;
};

/// What made a capture. Texts are cut to 32, 64 and 64 bytes.
struct BuildInfo {
  std::string version;
  std::string compiler;
  std::string host;      // leave empty in virtual time: the same run makes the same capture on any machine then
  Nanos wall_start = 0;  // since 1970, UTC; 0 in virtual time
  friend bool operator==(const BuildInfo&, const BuildInfo&) = default;
};

/// An exchange as it was seen. Carries the truth of a simulation along unread; record/truth.h reads it.
class ExchangeRecord {
 public:
  /// Points into this record.
  [[nodiscard]] ExchangeObs seen() const {
    ExchangeObs obs = fixed;
    obs.attempts = attempts;
    obs.rows = rows;
    obs.asked = asked;
    obs.answered = answered;
    obs.replied = replied;
    obs.damage = damage;
    return obs;
  }

  ExchangeObs fixed;  // without its spans
  std::vector<Attempt> attempts;
  std::vector<HopRow> rows;
  std::vector<std::uint8_t> asked;
  std::vector<std::uint8_t> answered;
  std::vector<std::uint8_t> replied;
  std::vector<RowDamage> damage;

 private:
  friend class TruthReader;
  friend class RecordDecoder;
  std::optional<std::string> truth_;
};

struct StrayRecord {
  [[nodiscard]] Stray seen() const {
    Stray stray = fixed;
    stray.heard = heard;
    return stray;
  }
  Stray fixed;
  std::vector<std::uint8_t> heard;
};

struct ArrivalRecord {
  [[nodiscard]] Arrival seen() const {
    Arrival arrival = fixed;
    arrival.bytes = bytes;
    arrival.flags = flags;
    return arrival;
  }
  Arrival fixed;
  std::vector<std::uint8_t> bytes;
  std::vector<std::uint8_t> flags;
};

struct TallyRecord {
  [[nodiscard]] Tally seen() const {
    Tally tally = fixed;
    tally.measures = measures;
    return tally;
  }
  Tally fixed;
  std::vector<std::uint8_t> measures;
};

struct StateRecord {
  [[nodiscard]] State seen() const {
    State state = fixed;
    state.nodes = nodes;
    return state;
  }
  State fixed;
  std::vector<NodeState> nodes;
};

struct GapRecord {
  [[nodiscard]] Gap seen() const { return {from, to, why}; }
  Nanos from = 0;
  Nanos to = 0;
  std::string why;
};

struct DroppedRecord {
  [[nodiscard]] Dropped seen() const { return {from, to, records, why}; }
  Nanos from = 0;
  Nanos to = 0;
  std::uint64_t records = 0;
  std::string why;
};

struct RemarkRecord {
  [[nodiscard]] Remark seen() const { return {at, text}; }
  Nanos at = 0;
  std::string text;
};

struct EndRecord {
  Nanos until = 0;
  Lateness lateness;
  std::uint64_t records = 0;
  std::uint32_t crc_of_crcs = 0;
  bool goes_on = false;  // of this file only: the run goes on in the next segment
};

/// One record. `kind` tells which member means something; the others keep their storage for later.
struct Record {
  std::uint64_t number = 0;
  RecordKind kind = RecordKind::head;
  CaptureHead head;
  BuildInfo build;
  ExchangeRecord exchange;
  StrayRecord stray;
  ArrivalRecord arrival;
  EndRecord end;
  TallyRecord tally;
  StateRecord state;
  GapRecord gap;
  DroppedRecord dropped;  // or a hole
  RemarkRecord remark;    // a command or a note

  [[nodiscard]] bool is_exchange() const {
    return kind == RecordKind::clean_exchange || kind == RecordKind::touched_exchange;
  }
};

}  // namespace hopbench
