// What predictions are held against: one case, counted through once.
#pragma once

#include <array>
#include <cstdint>
#include <optional>

#include "study/cases.h"
#include "study/effect.h"
#include "study/pace.h"
#include "study/runs.h"

namespace hopbench {

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
  Effect balancing;
  Effect charge;
  Effect temperature;
  std::optional<Pace> sender;  // of the case's first link
  std::optional<Pace> receiver;
  double ripple_p = 1;          // chance of the damage falling so unevenly into the period of a line's ripple
  int ripple_hz = 0;            // 100 or 120
  bool ripple_wanders = false;  // found in stretches of time, each with a frequency of its own
  double one_entry = 0;
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
  /// On several hops alike, failures close together on one counted once: most of it is on none of them.
  std::size_t everywhere = 0;  // hops; 0: it has a place
  double link_frames = 0;      // on the first link
  double link_bad = 0;         // not heard well, of these
  double recovered = 0;        // on the first link: share of what was not heard well that the next station heard well
  double parity = 0;           // incidents with a parity error
  double bad_check = 0;        // and with all characters well, but a bad check
  bool has_parity = false;     // the line has a parity bit
};

CaseFacts facts_of(const Evidence& evidence, const Case& which);

}  // namespace hopbench
