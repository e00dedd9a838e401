// What `explain` reasons from: counts of everything that was tried, by conditions, and each failure with what was seen
// of it. Memory depends on the chain and on bounds stated here, not on the length of the capture.
#pragma once

#include <array>
#include <cstdint>
#include <optional>
#include <vector>

#include "measure/histogram.h"
#include "seen/observation.h"
#include "study/bursts.h"
#include "study/conditions.h"
#include "study/ending.h"
#include "study/sight.h"

namespace hopbench {

inline constexpr std::uint16_t no_link = 0xffff;

/// A try that came to nothing.
struct Incident {
  Nanos at = 0;        // first edge of the frame that died, or of the ask
  Nanos until = 0;     // its last edge
  Nanos excess = 0;    // late: how much longer than usual it took where it took longest
  Nanos silence = -1;  // on the link before the frame; -1: not known
  Nanos waited = 0;    // from the end of its ask to when the controller gave it up
  std::uint32_t moment = 0;
  std::uint32_t entry = 0;
  std::uint32_t turn = 0;  // of that entry; its low 32 bits
  std::uint16_t link = no_link;
  std::uint16_t station = no_station;  // index into RunInfo.nodes: where it ended or was held up
  std::uint16_t node = no_station;     // destination
  std::uint16_t chars = 0;
  /// What went well since the last time that it did not: frames on the same link, or tries with the same node.
  std::uint32_t good_before = 0;
  Ending ending = Ending::no_answer;
  Symptom symptom = Symptom::none;
  std::uint8_t attempt = 0;
  bool answering = false;
  std::uint8_t sender_heat = unknown_bin;  // temperature bins of the boards at the ends of the link
  std::uint8_t receiver_heat = unknown_bin;
  Bins bins{};
};

/// What held for a while. Distinct moments are told apart by cycle, block and bins of the conditions of state.
struct Moment {
  std::uint32_t cycle = 0;  // charge cycle, from 0; a new one begins when charging begins
  std::uint32_t block = 0;  // of time, see Evidence.block_span
  std::uint8_t balancing = unknown_bin;
  std::uint8_t charge = unknown_bin;
  std::uint8_t temperature = unknown_bin;
  std::uint8_t supply = unknown_bin;
  std::uint8_t hour = 0;
  std::uint64_t tries = 0;
  std::uint64_t failures = 0;

  [[nodiscard]] std::uint8_t bin(Condition condition) const;
};

/// Characters of one sender at one temperature: n frames, and sums from which their length follows.
struct CharLength {
  std::uint64_t frames = 0;
  std::uint64_t bad = 0;
  std::uint64_t measured = 0;  // that the sums are of: heard well, or damaged but whole
  double chars = 0;
  double chars_squared = 0;
  double time = 0;  // ns
  double time_chars = 0;

  void add(const HopRow& row);
};

/// Phases that are looked at: of ripple with two humps in each period of a 50 Hz line, and of a 60 Hz one.
inline constexpr std::array<Nanos, 2> ripple_periods{10 * millisecond, 8'333'333};
inline constexpr std::size_t phase_count = 16;
using Phases = std::array<std::uint64_t, phase_count>;
/// Which sixteenth of the period the middle of a frame falls into.
std::size_t phase_of(Nanos start, Nanos end, Nanos period);

/// A sample of spans of time, thinned evenly.
struct Silences {
  static constexpr std::size_t most = 1024;
  std::vector<Nanos> sample;
  std::uint32_t one_in = 1;
  std::uint64_t seen = 0;

  void add(Nanos span);
};

/// Frames that were good until then, and those of them that were not from then on.
struct Travelled {
  std::uint64_t frames = 0;
  std::uint64_t bad = 0;
};

struct LinkEvidence {
  std::uint64_t frames = 0;                                 // that were good when they were put on it
  std::array<std::uint64_t, symptom_count + 1> symptoms{};  // by place_of()
  std::array<CharLength, bin_count> by_sender_heat{};
  std::array<std::uint64_t, bin_count> frames_by_chars{};  // length_bin of the frame
  std::array<std::uint64_t, bin_count> bad_by_chars{};
  Silences good_after;                                 // silence on the link before frames that were heard well
  std::array<Phases, ripple_periods.size()> phases{};  // of all frames
  /// By hops come with this one, since somebody sent the frame anew; from 0 on, which is of no use.
  std::vector<Travelled> travelled;
  std::uint64_t edges = 0;  // frames whose edges were passed on to it, so that their pace is another's
  /// Not heard well at its end, yet heard well at the end of the next link: what is wrong there is the ear.
  std::uint64_t recovered = 0;

  [[nodiscard]] std::uint64_t bad() const;
};

/// Two frames of one kind (link, direction, length), one after the other, of which one was damaged: which of them is a
/// matter of chance, unless the damage keeps step with something.
struct TwinFrames {
  std::uint16_t link = 0;
  Nanos damaged = 0;  // middles
  Nanos spared = 0;
};

/// Spans of time: how many, how long.
struct Spans {
  std::uint64_t count = 0;
  double sum = 0;  // ns
  double squares = 0;
  Nanos longest = 0;

  void add(Nanos span);
  [[nodiscard]] double mean() const { return count == 0 ? 0 : sum / static_cast<double>(count); }
  [[nodiscard]] double deviation() const;
};

struct EntryEvidence {
  std::uint64_t tries = 0;
  std::uint64_t failures = 0;
  std::uint32_t chars = 0;             // of its answers, as last seen; 0: none was seen
  std::uint64_t said = 0;              // answers whose content is known
  double usual_changes = 0;            // level changes in it, of late
  double last_changes = 0;             // and in the last
  std::array<Spans, 8> turn_around{};  // at its node, of answers in time, by cells balancing (bins 0..7)
};

/// Every try, also those that a thinned capture holds in sums only.
struct AskedOf {
  std::uint64_t tries = 0;
  std::uint64_t failures = 0;
};

/// How long a station had frames inside before it put them, or an answer to them, on its next hop: ns, of all that it
/// did put there, in time or not.
struct Held {
  Histogram passing{5, 41};
  Histogram answering{5, 41};
};

struct Evidence {
  RunInfo run;
  Sight sight = Sight::controller_only;
  Nanos from = 0;
  Nanos until = 0;
  std::optional<Nanos> wall_zero;  // wall clock, since 1970 UTC, when the run's clock stood at 0; none: it is not known
  Nanos block_span = 0;
  std::uint64_t exchanges = 0;
  std::uint64_t tries = 0;
  std::uint64_t failures = 0;  // tries
  std::uint64_t exchanges_failed = 0;
  std::uint32_t cycles = 0;               // charge cycles that began
  std::array<Known, told_count> known{};  // balancing, charge, temperature, supply
  bool as_told = false;                   // conditions were read from the traffic
  std::uint64_t doubtful = 0;             // exchanges that a late port may have decided: in nothing else here
  std::uint64_t tallied = 0;              // exchanges without a record of their own: in totals and in counts of links
  std::uint64_t samples = 0;              // exchanges kept for others like them, by which tries are weighed
  std::uint64_t missing_spans = 0;        // gaps, records left out
  std::uint64_t strays = 0;
  std::uint32_t one_incident_in = 1;  // of many failures one in so many is in `incidents`
  Nanos usual_gap = 0;                // between starts of exchanges, on average
  Spans round_trips;                  // of tries answered
  Bursts bursts;                      // of all tries, sample or not
  std::vector<LinkEvidence> links;
  std::vector<EntryEvidence> entries;
  std::vector<AskedOf> nodes;       // as RunInfo.nodes
  std::vector<std::string> topics;  // in the order of their first entry
  std::vector<AskedOf> by_topic;    // as topics
  std::vector<Spans> relays;  // by station: from a frame's end to the start of its next hop, of tries answered in time
  std::vector<Held> held;     // by station
  std::vector<Moment> moments;
  std::vector<std::array<std::uint32_t, bin_count>> payloads;  // tries, by moment and payload_bin
  std::vector<std::array<std::uint64_t, bin_count>> gaps;      // tries, by block and gap_bin
  /// By block and length_bin of the reply, or, of what failed, of the last one with the same entry.
  std::vector<std::array<std::uint64_t, bin_count>> length_tries;
  std::vector<std::array<std::uint64_t, bin_count>> length_failures;
  std::vector<std::vector<std::uint32_t>> asked;  // tries, by block and entry; empty with very many entries
  std::vector<TwinFrames> twins;                  // in order; the first of them, if there are very many
  std::vector<Incident> incidents;                // in the order in which exchanges closed
  std::vector<std::uint64_t> off_starts;          // by node: times that it went off, as states told
  std::vector<bool> off_told;                     // by node: whether it was on was told at all
  /// By node and by bin of its supply: how often it went off then, and how long it was on (ns).
  std::vector<std::array<std::uint64_t, bin_count>> off_by_supply;
  std::vector<std::array<double, bin_count>> on_by_supply;
  /// Characters of a node's own answers as it put them on the line, by its temperature; last, of the controller's asks.
  std::vector<std::array<CharLength, bin_count>> own_chars;

  /// Healthy exchanges are there to compare with, all of them or samples. If not, only totals are known.
  [[nodiscard]] bool rates_known() const { return tallied == 0 || samples > 0; }
  /// Hour of the day by the wall clock if that is known, else of 24 since the capture began.
  [[nodiscard]] std::uint8_t hour_at(Nanos at) const { return hour_bin(wall_zero ? *wall_zero + at : at - from); }
  /// Of a condition that is told; others are always known.
  [[nodiscard]] bool is_known(Condition condition) const {
    const auto place = static_cast<std::size_t>(condition);
    return place >= told_count || known[place].exchanges > 0;
  }
};

/// Not all failures are in `incidents`.
inline bool is_sample(const Evidence& evidence) { return evidence.one_incident_in > 1; }

/// Seen from the controller of a ring: failures with any node are one silence.
bool in_one_silence(const Evidence& evidence);

}  // namespace hopbench
