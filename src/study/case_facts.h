// What signatures look at: one case, reckoned through once.
#pragma once

#include <array>
#include <cstdint>
#include <optional>
#include <string>
#include <vector>

#include "study/cases.h"

namespace hopbench {

/// A condition by itself and at equal others.
struct Effect {
  Trend alone;
  Trend at_equal;           // charge for balancing, balancing for charge, both for the others
  bool unknown = false;     // there is nothing healthy to compare with
  bool not_told = false;    // nobody told the condition
  bool never_held = false;  // told, and none of it at any time

  /// It goes with failures, and does not only move together with the other one.
  [[nodiscard]] bool holds() const { return is_rise(at_equal); }
  /// Seen alone; at equal others it was not to be tested.
  [[nodiscard]] bool unparted() const { return rises() && !at_equal.tested; }
  [[nodiscard]] bool rises() const { return is_rise(alone); }

 private:
  /// Beyond chance, and enough to matter: what is asked, and so how long frames are, changes a little with conditions.
  /// What is many times as frequent need not be quite as sure.
  static bool is_rise(const Trend& trend) {
    if (!trend.tested || trend.t <= 0) return false;
    return (trend.p < 0.001 && trend.ratio > 1.5) || (trend.p < 0.01 && trend.ratio > 3);
  }
};

/// Length of a station's characters, off the middle of all stations'.
struct Pace {
  std::string station;
  double off = 0;                // 0.03: 3 % too long; over everything it sent
  double off_when_bad = 0;       // at the board temperatures at which the case's frames died
  std::optional<int> from;       // degrees Celsius: nine in ten of the case's frames died at this temperature or above
  std::uint64_t died_there = 0;  // of the case's incidents
};

/// Failures one straight after another at one place, with nothing between them that went well.
struct InARow {
  std::uint64_t count = 0;
  std::uint64_t alone = 0;  // runs of one
  std::uint64_t longest = 0;
  Nanos longest_span = 0;    // from the first failure's start to the last one's end
  double in_runs = 0;        // share of failures that are not alone
  double in_long = 0;        // share in runs of four or more
  double second_ones = 0;    // share that followed straight after another
  double by_chance = 0;      // what that would be, were they independent
  std::vector<Nanos> spans;  // of runs of two or more, shortest first
};

struct CaseFacts {
  double n = 0;                                   // incidents kept
  std::array<double, symptom_count + 1> share{};  // of the incidents, by place_of() the symptom
  double damaged = 0;                             // framing, parity, check, too long
  double framing = 0;                             // of the damaged
  double gone = 0;                                // nothing
  double cut = 0;                                 // too short
  double rate = 0;                                // incidents per try
  double link_rate = 0;                           // of the frames on its first link: not heard well
  double entry_rate = 0;                          // of the tries of its most frequent plan entry: failed
  Episodes episodes;
  double clumped = 0;  // share of incidents in episodes of two or more
  double clumped_by_chance = 0;
  double in_a_row = 0;   // share with nothing that went well since the one before
  double first_try = 0;  // share that were first tries
  Effect balancing;
  Effect charge;
  Effect temperature;
  Effect supply;
  std::optional<Pace> sender;  // of the case's first link
  std::optional<Pace> receiver;
  double ripple_p = 1;          // chance of the damage falling so unevenly into the period of a line's ripple
  int ripple_hz = 0;            // 100 or 120
  bool ripple_wanders = false;  // found in stretches of time, each with a frequency of its own
  double one_node = 0;          // largest share of incidents with one destination
  std::uint16_t node = no_station;
  double one_entry = 0;
  double entry_expected = 0;  // share of all tries that are of that entry
  /// Nearly all damage on the first link came after a silence at least this long, and hardly any frame after a shorter
  /// one was damaged.
  std::optional<Nanos> silence;
  double silence_rate = 0;  // damaged, of the frames after such a silence
  /// Share of incidents after which the same plan entry failed at its next turn as well, less what its rate makes of
  /// chance: what hangs on content stays as long as the content does.
  double sticky = 0;
  double by_entry = 0;  // share of incidents with plan entries that hardly ever go well, if others do
  std::uint64_t worn_out =
      0;  // on the first link too: hops that frames come well from whoever sent them, and no further; 0: no such number
  double worn_out_rate = 0;        // damaged, of those that came further
  std::uint64_t bad_from = 0;      // least number of hops that a frame damaged on the first link had come
  bool one_travel = false;         // all frames there have come equally far
  double spared = 0;               // damaged, of those that came less far, if they were no better off
  std::uint64_t off_starts = 0;    // of the case's station
  bool off_told = false;           // states were told: that it was never off says something
  std::uint64_t off_supplies = 0;  // of off_starts, those of which the supply is known
  /// Of off_supplies, with a supply as low as it is in at most a tenth of the time that the station is on.
  std::uint64_t off_low = 0;
  double low_while_on = 0;     // share of the time on with a supply that low; 0 if it never is
  bool supply_varies = false;  // by more than a bin
  InARow runs;
  /// Log likelihood of the damage by length of frame if every bit is as likely to be hit, less that if every frame is.
  std::optional<double> by_bits;
  double link_frames = 0;   // on the first link
  double link_bad = 0;      // not heard well, of these
  double recovered = 0;     // on the first link: share of what was not heard well that the next station heard well
  double parity = 0;        // incidents with a parity error
  double bad_check = 0;     // and with all characters well, but a bad check
  bool has_parity = false;  // the line has a parity bit
};

CaseFacts facts_of(const Evidence& evidence, const Case& which);

/// By hop, or by the node asked where no frame of a try was seen to fail. Failures of another case between them do not
/// part a run; a frame or a try that went well does.
InARow runs_of(const Evidence& evidence, const Case& which);

}  // namespace hopbench
