// From characters to frames, one character at a time, back in step after damage.
#pragma once

#include <cstddef>
#include <cstdint>
#include <optional>
#include <span>
#include <vector>

#include "base/archive.h"
#include "base/time.h"
#include "bus/frame.h"
#include "bus/protocol.h"

namespace hopbench {

/// A character as a receiver hands it over.
struct HeardChar {
  std::uint8_t byte = 0;
  bool framing_error = false;  // stop bit was low
  bool parity_error = false;
  bool overrun = false;   // characters before this one were lost for want of room
  Nanos start = 0;        // first edge
  Nanos end = 0;          // end of its last stop bit
  std::uint32_t tag = 0;  // the caller's own mark (which transmission it came from)
};

/// A frame, or a piece of damage: bytes that belong together but are no good frame.
struct Finding {
  Damage damage = Damage::none;
  bool framing_error = false;  // any of its characters had one
  bool parity_error = false;
  bool overrun = false;
  bool abandoned = false;  // given up because of silence
  Nanos first_edge = 0;
  Nanos end = 0;       // end of its last character
  Nanos known_at = 0;  // when the decoder could tell: `end`, or a silence later
  std::uint32_t first_tag = 0;
  std::uint32_t last_tag = 0;
  std::uint32_t chars = 0;
  Frame frame;      // if damage is none or check
  Content content;  // bytes as heard, unstuffed as far as they go, cut at the limit
};

/// One receiver's position in the byte stream. The findings are the same however the characters are
/// handed over and however often silence is told in between. Bounded memory.
///
/// Good frames may carry marks (framing_error and so on) of characters whose byte happened to be right. Findings come
/// in the order in which they became known. After lost step a good frame may overlap the damage told before it.
class Decoder {
 public:
  /// `period`: bit of the receiver's own clock, for pauses. The protocol must outlive the decoder.
  Decoder(const Protocol& protocol, Period period);
  /// That clock goes otherwise from now on.
  void set_period(Period period);

  /// Takes one character; appends what became clear. Pauses before it are judged from its start: a character
  /// that starts exactly when a pause is long enough still counts as in time.
  void push(const HeardChar& character, std::vector<Finding>& findings);
  /// Tells that no character that will be pushed starts at or before `now`; appends what became clear by that.
  void silent_until(Nanos now, std::vector<Finding>& findings);
  /// When silence would change something next; `never` if it would not.
  [[nodiscard]] Nanos wants_wake() const;
  /// Between frames, nothing half received: what comes next is judged by itself.
  [[nodiscard]] bool idle() const;
  /// Forgets everything, as after a reset.
  void reset();
  /// What it goes on with when it is idle. Tags are not kept.
  void keep(Archive& archive);

 private:
  using Findings = std::vector<Finding>;

  // --- all framings (decoder.cpp)
  void hold(const HeardChar& character);
  void drop(std::size_t count);  // from the front
  void silence(Nanos known_at, Findings& findings);
  Finding& report(std::size_t from, std::size_t to, Damage damage, Nanos known_at, Findings& findings);
  [[nodiscard]] std::span<const std::uint8_t> bytes(std::size_t from, std::size_t to) const;

  // --- stretches that a boundary, a count or a pause ends (decoder_stretch.cpp)
  void take_stuffed(const HeardChar& character, Findings& findings);
  void take_fixed(const HeardChar& character, Findings& findings);
  void take_silence(const HeardChar& character, Findings& findings);
  void close_stuffed(const HeardChar& boundary, Findings& findings);
  void close_silence(Nanos known_at, Findings& findings);
  void hold_or_count(const HeardChar& character);
  void add_uncounted(Finding& finding) const;

  // --- a marker and a size (decoder_sized.cpp)
  void hunt(Nanos known_at, bool silent, Findings& findings);
  [[nodiscard]] std::optional<std::size_t> good_frame_from(std::size_t first, Frame& frame);
  void report_frame(const Frame& frame, std::size_t from, std::size_t length, Nanos known_at, bool silent,
                    Findings& findings);
  void drop_hunted(std::size_t count);

  // --- start and end markers (decoder_marked.cpp)
  void take_marked(const HeardChar& character, Findings& findings);
  void close_marked(std::size_t body_end, std::size_t end, Nanos known_at, Findings& findings);
  Damage read_body(std::size_t from, std::size_t to, Content& content, Frame& frame) const;
  [[nodiscard]] bool ends_with(const std::vector<std::uint8_t>& marker) const;

  const Protocol* protocol_;
  FramingKind kind_;
  Nanos pause_ = never;  // that ends or abandons what is held
  Nanos char_time_ = 0;
  std::size_t limit_;  // characters held before a stretch is too long
  std::vector<HeardChar> held_;
  std::vector<std::uint8_t> bytes_;  // of held_, side by side
  Nanos last_end_ = 0;

  // stretches
  std::optional<HeardChar> boundary_;  // leading, not yet followed by anything
  bool led_ = false;                   // held_ begins right after boundary_
  std::uint32_t uncounted_ = 0;        // characters beyond the limit
  HeardChar last_uncounted_;           // the latest of them, with the marks of all

  // sized
  std::size_t told_ = 0;     // of held_: already reported as part of some damage
  std::size_t place_ = 0;    // where the next frame may begin
  std::size_t wanted_ = 0;   // its length, once believed
  std::size_t scanned_ = 0;  // frames ending at or before this have been looked for
  bool lost_ = false;        // out of step since the last good frame

  // marked
  bool inside_ = false;
};

}  // namespace hopbench
