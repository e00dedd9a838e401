// The whole chain at work: stations, links, controller, in virtual time or driven by a real clock. One class for both;
// it does no I/O and reads no clock.
#pragma once

#include <cstdint>
#include <functional>
#include <memory>
#include <span>
#include <string>
#include <vector>

#include "base/time.h"
#include "bus/protocol.h"
#include "scenario/description.h"
#include "seen/observation.h"

namespace hopbench {

/// How much is done with real bytes. All ways give equal records.
enum class Way : std::uint8_t {
  repeats,     // as events; and a healthy exchange is recorded once and told again while nothing can have changed
  events,      // frames that surely nothing touches travel without bytes
  every_byte,  // every character of every frame goes through the receiver and the decoder
};

/// Who sits in the controller's seat.
enum class Seat : std::uint8_t {
  simulated,  // the scenario's plan
  outside,    // a real controller behind a port: arrive() brings its bytes, the outlet takes ours
};

/// Too many events at one instant: the scenario makes the chain go round without time passing. Or too much on its way:
/// more than 50,000 frames on links or held by nodes, since they are made faster than they can leave.
struct Stuck {
  Nanos at = 0;
};

class Chain {
 public:
  /// Bytes for a real controller, and when the last edge of each arrives. `one_by_one`: each is handed over at its own
  /// end, otherwise all of them at the last one's.
  using Outlet = std::function<void(std::span<const Nanos> ends, std::span<const std::uint8_t> bytes, bool one_by_one)>;

  /// `protocol`, `description` and `sink` must outlive the chain. Calls sink.begin().
  Chain(const Protocol& protocol, const ChainDescription& description, std::uint64_t seed, Way way, Seat seat,
        Sink& sink);
  ~Chain();
  Chain(const Chain&) = delete;
  Chain& operator=(const Chain&) = delete;

  /// Does everything due up to and including `until` (never backwards). Returns false if it is Stuck.
  [[nodiscard]] bool run_until(Nanos until);
  /// As run_until, but stops as soon as `exchanges` exchanges have been closed since the start (no new ones are
  /// asked beyond that number). Returns false if it is Stuck, or if nothing more can happen.
  [[nodiscard]] bool run_exchanges(std::uint64_t exchanges);
  /// Where everything stands now, for a run that begins here. Nothing of the exchange under way, and no cell of a node
  /// that is without a battery.
  [[nodiscard]] StartSpec standing() const;
  /// Way::repeats: everything has to be recorded anew. Leaves no trace in the records.
  void forget_recordings();
  /// When something is due next; `never` if nothing is.
  [[nodiscard]] Nanos next_at() const;
  [[nodiscard]] Nanos now() const;

  // Seat::outside ------------------------------------------------------------------------------------
  void set_outlet(Outlet outlet);
  /// Bytes from the real controller, read at `at` (clamped to now()). unpaced (a pty): they came all at once and take
  /// their time on the simulated first hop from now on; paced (a UART): they have taken it already.
  /// `flags` as in Arrival. Runs everything due before `at` first; passes the arrival to the sink.
  void arrive(Nanos at, bool paced, std::span<const std::uint8_t> bytes, std::span<const std::uint8_t> flags);

  /// What should have happened at the port at `from` happened only at `to`.
  void port_was_late(Nanos from, Nanos to);
  /// The longest of these, and all of them together; they may overlap.
  [[nodiscard]] Nanos port_late_worst() const;
  [[nodiscard]] Nanos port_late_total() const;

  /// Closes what is open and calls sink.end(). Nothing may be run afterwards.
  void finish(const Lateness& lateness);

 private:
  class World;
  std::unique_ptr<World> world_;
};

}  // namespace hopbench
