// The whole chain at work: stations, links, controller, in virtual time or driven by a real clock. One class for both;
// it does no I/O and reads no clock.
#pragma once

#include <cstdint>
#include <memory>
#include <optional>
#include <span>
#include <string>
#include <vector>

#include "base/time.h"
#include "bus/protocol.h"
#include "chain/hop_listener.h"
#include "chain/repeat_counts.h"
#include "scenario/description.h"
#include "seen/decision.h"
#include "seen/observation.h"
#include "wires/outlet.h"
#include "wires/way.h"

namespace hopbench {

/// Who sits in the controller's seat.
struct Seat {
  bool real = false;              // a real controller behind a port: arrive() brings its bytes, the outlet takes ours
  std::optional<Nanos> time_out;  // of a real one: from the end of its ask to when it gives up, if that is known
  bool granted = false;           // a real one that takes part in virtual time: what it sends comes at once and whole

  static const Seat simulated;  // the scenario's plan
  static const Seat outside;    // a real controller of which nothing is known
  static const Seat in_time;    // one that takes part in virtual time
};
inline const Seat Seat::simulated{false, std::nullopt, false};
inline const Seat Seat::outside{true, std::nullopt, false};
inline const Seat Seat::in_time{true, std::nullopt, true};

/// Too many events at one instant: the scenario makes the chain go round without time passing. Or too much on its way:
/// more than 50,000 frames on links or held by nodes, since they are made faster than they can leave.
struct Stuck {
  Nanos at = 0;
};

class Chain {
 public:
  /// `protocol`, `description` and `sink` must outlive the chain. Its clock begins at description.start.at. Calls
  /// sink.begin().
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
  /// How many exchanges were told again, and why the others were not. Not of a run: of how it was run.
  [[nodiscard]] RepeatCounts repeat_counts() const;
  // Saving, and going on later -----------------------------------------------------------------------------
  /// Nothing is under way: no frame on a link or half heard, no exchange open, nothing that a node has yet to do. Never
  /// with a real controller: nobody knows what it has in hand.
  [[nodiscard]] bool quiet() const;
  /// As run_until, but stops as soon as it is quiet, which it may be already. Returns whether it is.
  [[nodiscard]] bool run_until_quiet(Nanos limit);
  /// All that the chain needs to go on as if nothing had been. Only when it is quiet. Empty if it cannot be saved, and
  /// why. The chain itself may go on.
  [[nodiscard]] std::vector<std::uint8_t> save(std::string& why) const;
  /// A chain that goes on from a saved state of the same scenario, bus and seed, in any way: what it tells from there
  /// on is what the one that was saved would have told. Calls sink.begin(). Null if the state cannot be taken up, and
  /// why; the sink has then heard nothing. As with a constructor, all but `state` must outlive the chain.
  [[nodiscard]] static std::unique_ptr<Chain> resumed(const Protocol& protocol, const ChainDescription& description,
                                                      std::uint64_t seed, Way way, Sink& sink,
                                                      std::span<const std::uint8_t> state, std::string& why);

  /// When something is due next; `never` if nothing is.
  [[nodiscard]] Nanos next_at() const;
  [[nodiscard]] Nanos now() const;

  /// From now on `listener` hears what passes every hop of a simulated controller's chain; must outlive the chain. With
  /// Way::repeats exchanges that are told again are not heard.
  void listen(HopListener& listener);

  // A real controller ------------------------------------------------------------------------------------
  void set_outlet(Outlet outlet);
  /// Bytes from the real controller, read at `at` (clamped to now()). unpaced (a pty): they came all at once and take
  /// their time on the simulated first hop from now on; paced (a UART): they have taken it already.
  /// `flags` as in Arrival. Runs everything due before `at` first; passes the arrival to the sink.
  void arrive(Nanos at, bool paced, std::span<const std::uint8_t> bytes, std::span<const std::uint8_t> flags);
  /// The controller says what has become of what it asked last; nobody else can know. Not in the records as such.
  void decided(Decision decision);
  /// What should have happened at the port at `from` happened only at `to`. Exchanges of that time are marked; passed
  /// to the sink as an arrival without bytes.
  void port_was_late(Nanos from, Nanos to);

  /// Closes what is open and calls sink.end(). Nothing may be run afterwards.
  void finish(const Lateness& lateness);

 private:
  struct Parts;
  explicit Chain(std::unique_ptr<Parts> parts);

  std::unique_ptr<Parts> parts_;
};

}  // namespace hopbench
