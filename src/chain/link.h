// One link at work: puts frames on the wire one after the other, lets the line have its way with them, and tells the
// station at the far end what its ear made of them.
#pragma once

#include <cstdint>
#include <functional>
#include <optional>
#include <vector>

#include "engine/event_queue.h"
#include "line/conditions.h"
#include "line/ear.h"
#include "line/sojourn.h"
#include "scenario/description.h"
#include "chain/parcel.h"
#include "stations/processor.h"
#include "chain/world.h"

namespace hopbench {

class Link final : public Actor {
 public:
  /// `processor`: of the station at the far end; null if nothing is known of one.
  Link(World& world, std::uint16_t index, const std::string& name, Period sender, Period receiver,
       const ReceiverSpec& receiver_spec, const Processor* processor);

  /// Who listens. `node`: null for a controller.
  void connect(Station& station, Node* from, Node* node);
  /// The stations at both ends, what they bleed and the charger are otherwise than before, or may be. Counts for what
  /// is sent from now on.
  void take_up(bool charging);
  /// Bytes that come out at the far end also go to a real port.
  void set_outlet(Chain::Outlet outlet) { outlet_ = std::move(outlet); }

  /// Somebody wants to know of each good frame heard here, before the station does.
  void listen(std::function<void(const Finding&)> listener) { listener_ = std::move(listener); }

  /// Puts a frame on the link as soon as it is free.
  Sent send(const Parcel& parcel);
  /// Bytes from a real controller: on the link from `start` on, as soon as it is free.
  void send_bytes(std::span<const std::uint8_t> bytes, std::span<const std::uint8_t> flags, bool paced,
                  const Parcel& parcel, std::uint32_t row, std::uint32_t slot_offset);
  /// When the next frame could start.
  [[nodiscard]] Nanos free_from() const;
  [[nodiscard]] bool ear_idle() const { return ear_.idle_at(never) && ear_.wants_wake() == never; }
  /// As if nothing had ever been sent: no echo of earlier frames in what happens to one that starts at `now`.
  [[nodiscard]] bool quiet_at(Nanos now) const {
    return ear_idle() && !held_back_ && (free_at_ < 0 || free_at_ + gap_ <= now);
  }
  [[nodiscard]] Conditions& conditions() { return conditions_; }
  /// The node that sends on it; null for a controller.
  [[nodiscard]] const Node* from() const { return from_; }
  /// The node that hears it; null for a controller.
  [[nodiscard]] Node* into() const { return node_; }
  [[nodiscard]] std::uint64_t hash() const { return name_hash_; }
  [[nodiscard]] std::uint32_t slots_of(std::uint32_t chars) const { return chars * slots_per_char_; }
  [[nodiscard]] Nanos char_span(std::uint64_t chars) const;

  void on_event(Nanos now, std::uint64_t what) override;
  [[nodiscard]] bool is_over(Nanos at, std::uint64_t what) const override {
    return static_cast<Kind>(what >> 32U) == wake && armed_for_ != at;
  }

 private:
  enum Kind : std::uint64_t { launch = 0, signal = 1, head = 2, heard = 3, wake = 4, release = 5, let_go = 6 };
  [[nodiscard]] static std::uint64_t word(Kind kind, std::uint64_t which) { return (kind << 32U) | which; }

  Flight& prepare(const Parcel& parcel);
  void judge(Flight& flight, bool whole);
  void start(Flight& flight);
  void pass(Flight& flight, Nanos at);
  void on_signal(Nanos now, Flight& flight);
  void hear_bytes(Flight& flight);
  void on_head(Nanos now, Flight& flight);
  void on_release(Nanos now, Flight& flight);
  void pass_electrically(Flight& flight, const Levels* levels, bool damaged);
  void plan_relay(Flight& flight, std::span<const Nanos> heard);
  void schedule(std::vector<Finding>& findings);
  void arm();
  void dispatch(Nanos now, Finding& finding);
  void lose(Flight& flight);
  [[nodiscard]] bool fetched_in_time(const Flight& flight);
  void resolve(Flight& flight, Symptom symptom);
  void explain(Flight& flight, bool undetected);
  void give_out(const Flight& flight, std::span<const Nanos> ends, std::span<const std::uint8_t> bytes);
  [[nodiscard]] std::uint32_t chars_of(const Flight& flight) const;
  void wire_of(const Flight& flight, WireBytes& wire) const;
  [[nodiscard]] std::size_t head_chars() const;
  [[nodiscard]] const ForwardingSpec* passing() const;

  World* world_;
  std::uint16_t index_;
  std::uint64_t name_hash_;
  Period sender_;
  Period receiver_;
  const Processor* processor_;
  std::uint32_t half_bits_;
  std::uint32_t slots_per_char_;
  Nanos gap_;
  Nanos end_silence_;
  Conditions conditions_;
  Ear ear_;
  Station* station_ = nullptr;
  Node* from_ = nullptr;
  Node* node_ = nullptr;
  Chain::Outlet outlet_;
  std::function<void(const Finding&)> listener_;
  Nanos free_at_ = -1;  // -1: nothing has been sent yet
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
  std::vector<Nanos> times_;
  std::vector<std::uint32_t> unfetched_;
  std::vector<PulseTrain> edges_;
  std::vector<std::uint32_t> noise_;
  Levels levels_;
  WireBytes wire_;
  Verdict verdict_;
};

}  // namespace hopbench
