// One link at work: puts frames on the wire one after the other, lets the line have its way with them, and hands what
// its ear made of them to the station at the far end.
#pragma once

#include <algorithm>
#include <cstdint>
#include <memory>
#include <optional>
#include <span>
#include <vector>

#include "base/archive.h"
#include "engine/event_queue.h"
#include "line/conditions.h"
#include "line/ear.h"
#include "wires/flight.h"
#include "wires/link_end.h"
#include "wires/occupied.h"
#include "wires/outlet.h"
#include "wires/works.h"

namespace hopbench {

class Link final : public Actor {
 public:
  /// `from` and `to` must outlive the link.
  Link(Works& works, std::uint16_t index, const std::string& name, LinkEnd& from, LinkEnd& to,
       const ReceiverSpec& receiver);

  /// Where the far end sends on what it passes on while it comes in; null if the chain ends there.
  void leads_to(Link* next) { next_ = next; }
  /// The stations at both ends, what they bleed and the charger are otherwise than before, or may be. Counts for what
  /// is sent from now on.
  void take_up(bool charging);
  /// Bytes that come out at the far end also go to a real port.
  void set_outlet(Outlet outlet) { outlet_ = std::move(outlet); }

  /// Puts a frame on the link as soon as it is free.
  Sent send(const Parcel& parcel);
  Sent send(const Frame& frame, const Passport& passport);
  /// Bytes of a real station, on the link as soon as it is free (unpaced), or heard as they stand at `now` already
  /// (paced, `flags` as in Arrival). They belong to the frame of `parcel`; `row` is its row so far, none yet if
  /// 0xffffffff. Returns the row.
  std::uint32_t send_bytes(std::span<const std::uint8_t> bytes, std::span<const std::uint8_t> flags, bool paced,
                           const Parcel& parcel, std::uint32_t row, std::uint32_t slot_offset);
  /// When the next byte of a real station could start.
  [[nodiscard]] Nanos next_byte_at() const { return std::max(works_->queue.now(), free_at_); }
  [[nodiscard]] Period sender_period() const { return sender_; }
  [[nodiscard]] Period receiver_period() const { return receiver_; }
  /// When the next frame could start.
  [[nodiscard]] Nanos free_from() const;
  /// What a frame says never looks like the edges of a frame, and fits into the characters.
  [[nodiscard]] bool any_frame_reads() const { return any_frame_reads_; }
  [[nodiscard]] bool ear_idle() const { return ear_.idle_at(never) && ear_.wants_wake() == never; }
  /// As if nothing had ever been sent: no echo of earlier frames in what happens to one that starts at `now`.
  [[nodiscard]] bool quiet_at(Nanos now) const {
    return ear_idle() && !held_back_ && (free_at_ < 0 || free_at_ + gap_ <= now);
  }
  /// Nothing half heard, held back or yet to be told.
  [[nodiscard]] bool empty() const { return ear_idle() && !held_back_ && findings_.size() == free_findings_.size(); }
  /// What it goes on with when it is empty. How clocks go and what is bled comes from take_up().
  void keep(Archive& archive);
  [[nodiscard]] Conditions& conditions() { return conditions_; }

  // What becomes of a frame that nothing touches, without sending it. Each of these is what the link itself goes by.
  /// How it arrives at the far end, put on the link whole at `start`.
  [[nodiscard]] Timing arrival(Nanos start, std::uint32_t chars) const;
  /// When the vote over its last character is over there, if it is surely heard as sent, whatever it says; `never` if
  /// bytes have to tell. `stretch`: by which its low levels are longer when it arrives.
  [[nodiscard]] Nanos decided_at(const Timing& heard, Nanos stretch);
  [[nodiscard]] Nanos decided_at(const Timing& heard) { return decided_at(heard, conditions_.spec().pulse_stretch); }
  /// Whether it is heard so whenever it comes.
  [[nodiscard]] bool surely_in_step(Period sent, Nanos stretch);
  /// When the books are closed over it, at the earliest.
  [[nodiscard]] Nanos over_at(const Timing& heard, Nanos stretch);
  /// From the last vote to when its end is known.
  [[nodiscard]] Nanos end_silence();
  /// Whether the far end fetches all its characters in time.
  [[nodiscard]] bool fetched_in_time(const Timing& heard);
  [[nodiscard]] Nanos gap() const { return gap_; }

  [[nodiscard]] const LinkEnd& from() const { return *from_; }
  [[nodiscard]] LinkEnd& into() const { return *to_; }
  [[nodiscard]] std::uint64_t hash() const { return name_hash_; }
  [[nodiscard]] std::uint32_t slots_of(std::uint32_t chars) const { return chars * slots_per_char_; }
  [[nodiscard]] Nanos char_span(std::uint64_t chars) const;

  void on_event(Nanos now, std::uint64_t what) override;
  [[nodiscard]] bool is_over(Nanos at, std::uint64_t what) const override {
    const auto kind = static_cast<Kind>(what >> 32U);
    return (kind == wake && armed_for_ != at) || (kind == let_go && held_back_ != static_cast<std::uint32_t>(what));
  }

 private:
  enum Kind : std::uint64_t { launch = 0, signal = 1, head = 2, found = 3, wake = 4, release = 5, let_go = 6 };
  [[nodiscard]] static std::uint64_t word(Kind kind, std::uint64_t which) { return (kind << 32U) | which; }

  Flight& prepare(const Parcel& parcel);
  Flight& prepare(const Frame& frame, const Passport& passport);
  Sent send(Flight& flight);
  void judge(Flight& flight, bool whole);
  void start(Flight& flight);
  void pass(Flight& flight, Nanos at);
  void count_waiting(Flight& flight);
  void foretell(const Passport& passport, Nanos held, std::uint32_t fault);
  void on_signal(Nanos now, Flight& flight);
  [[nodiscard]] bool reads_as_said(const Frame& frame);
  void hear_bytes(Flight& flight);
  void on_head(Nanos now, Flight& flight);
  [[nodiscard]] bool head_as_sent(const Flight& flight, std::size_t chars);
  void on_release(Nanos now, Flight& flight);
  void pass_electrically(Flight& flight, const Levels* levels, bool damaged);
  void plan_relay(Flight& flight, std::span<const Nanos> heard);
  void schedule(std::vector<Finding>& findings);
  void arm();
  void dispatch(Nanos now, Finding& finding);
  void lose(Flight& flight);
  void one_by_one(const Flight& flight);
  void relay_bytes(Flight& flight);
  void keep_pace();
  void resolve(Flight& flight, Symptom symptom);
  void explain(Flight& flight, bool undetected);
  void note_damage(const Flight& flight);
  void note_answer(const Flight& flight, const Finding& finding);
  void give_out(const Flight& flight, std::span<const Nanos> ends, std::span<const std::uint8_t> bytes,
                std::span<const std::uint8_t> flags);
  [[nodiscard]] std::uint32_t chars_of(const Flight& flight) const;
  void wire_of(const Flight& flight, WireBytes& wire) const;
  [[nodiscard]] std::size_t head_chars() const;
  [[nodiscard]] const ForwardingSpec* passing() const { return next_ == nullptr ? nullptr : to_->passing(); }

  Works* works_;
  std::uint16_t index_;
  std::uint64_t name_hash_;
  LinkEnd* from_;
  LinkEnd* to_;
  bool into_node_;
  Link* next_ = nullptr;
  Period sender_;
  Period receiver_;
  const Processor* processor_;
  std::uint32_t half_bits_;
  std::uint32_t slots_per_char_;
  Nanos gap_;
  Nanos end_silence_;
  Conditions conditions_;
  Ear ear_;
  bool any_frame_reads_;
  Decoder reader_;  // to see whether it does
  Outlet outlet_;
  Nanos free_at_ = -1;  // -1: nothing has been sent yet
  Occupied occupied_;   // lately
  Nanos armed_for_ = never;
  std::optional<std::uint32_t> held_back_;
  std::optional<Parcel> previous_;                  // kept only if a fault may want it
  std::vector<std::unique_ptr<Finding>> findings_;  // waiting to be told
  std::vector<std::uint32_t> free_findings_;
  // scratch
  std::vector<Finding> fresh_;
  std::vector<Finding> told_;
  std::vector<HeardChar> chars_;
  std::vector<HeardChar> kept_;
  std::vector<HeardChar> one_by_one_;
  std::size_t decided_ = 0;  // of them; the others are half heard
  std::vector<Nanos> times_;
  std::vector<std::uint8_t> flags_;
  std::vector<std::uint32_t> unfetched_;
  std::vector<PulseTrain> edges_;
  std::vector<std::uint32_t> noise_;
  Levels levels_;
  WireBytes wire_;
  WireBytes reading_;
  Injection injection_;
};

}  // namespace hopbench
