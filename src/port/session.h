// A chain kept in step with a port: what comes in goes to the chain, what the chain sends goes out when its time has
// come. Reads no clock and waits for nothing; the caller says what time it is.
#pragma once

#include <cstdint>
#include <deque>
#include <functional>
#include <optional>
#include <span>
#include <vector>

#include "base/time.h"
#include "bus/description.h"
#include "port/byte_port.h"
#include "seen/observation.h"
#include "wires/outlet.h"

namespace hopbench {

class Chain;

/// What a session asks of a chain (chain/chain.h); apart, so that tests can put another in its place.
class Driven {
 public:
  virtual void set_outlet(Outlet outlet) = 0;
  [[nodiscard]] virtual bool run_until(Nanos until) = 0;
  [[nodiscard]] virtual Nanos next_at() const = 0;
  [[nodiscard]] virtual Nanos now() const = 0;
  virtual void arrive(Nanos at, bool paced, std::span<const std::uint8_t> bytes,
                      std::span<const std::uint8_t> flags) = 0;
  /// What should have happened at the port at `from` happened only at `to`.
  virtual void port_was_late(Nanos from, Nanos to) = 0;

 protected:
  ~Driven() = default;
};

class DrivenChain final : public Driven {
 public:
  /// The chain, with an outside controller, must outlive this.
  explicit DrivenChain(Chain& chain) : chain_(&chain) {}
  void set_outlet(Outlet outlet) override;
  [[nodiscard]] bool run_until(Nanos until) override;
  [[nodiscard]] Nanos next_at() const override;
  [[nodiscard]] Nanos now() const override;
  void arrive(Nanos at, bool paced, std::span<const std::uint8_t> bytes, std::span<const std::uint8_t> flags) override;
  void port_was_late(Nanos from, Nanos to) override;

 private:
  Chain* chain_;
};

/// How often the session wants to be woken though nothing is due, so that it notices when it was held up: while
/// somebody is at the port, and while nobody is.
inline constexpr Nanos busy_beat = 1 * millisecond;
inline constexpr Nanos idle_beat = 10 * millisecond;
/// Woken later than this after the time it asked for, it was held up. On a computer with little to do a timer is late
/// by 0.1 ms or so, and by 0.5 ms less than once in a hundred times (measured on one).
inline constexpr Nanos stall_threshold = 500 * microsecond;

/// When bytes that the chain sends go out: on a paced port at their start, since the wire takes the time; on an
/// unpaced one when the last of them would have come in, so that the controller waits as long for the end of a frame as
/// it would on the wire. Being late is counted here and told to the chain, which itself knows nominal times only:
/// what is sent is late from its nominal time until the port has its last byte; what is read may have been there since
/// the session was last woken, and counts as late if that was longer ago than it should have been.
class Session {
 public:
  enum class Health : std::uint8_t { well, stuck, port_gone };

  /// All three must outlive the session.
  Session(Driven& chain, BytePort& port, const LineCoding& line);
  Session(const Session&) = delete;
  Session& operator=(const Session&) = delete;

  /// When wake() must be called next. It may be called at any time before, and should be when the port's descriptor is
  /// readable.
  [[nodiscard]] Nanos next_wake() const;
  /// Takes in what is at the port and does what is due at `now`.
  Health wake(Nanos now);
  /// Hands over what is due at `now`: the time after wake(), which may have taken some.
  Health hand_over(Nanos now);
  /// Not read from before then: a client that has sent far ahead of the line waits, as it would in front of a real
  /// port.
  [[nodiscard]] Nanos may_read_at() const;

  /// So far, with what the port itself lost.
  [[nodiscard]] Lateness lateness() const;

 private:
  struct Outgoing {
    Nanos nominal = 0;
    std::vector<std::uint8_t> bytes;
    std::size_t sent = 0;
    [[nodiscard]] std::size_t left() const { return bytes.size() - sent; }
  };

  [[nodiscard]] Nanos chars_span(std::size_t chars) const;
  void queue(std::span<const Nanos> ends, std::span<const std::uint8_t> bytes, bool one_by_one);
  void queue_piece(Nanos nominal, std::span<const std::uint8_t> bytes);
  [[nodiscard]] bool held_up(Nanos now);
  void arrive(Nanos now);
  void drop_front(std::uint64_t& count);

  Driven* chain_;
  BytePort* port_;
  LineCoding line_;
  std::deque<Outgoing> outgoing_;  // by nominal time
  std::size_t queued_bytes_ = 0;
  bool blocked_ = false;               // bytes are due that the port did not take
  Nanos line_free_at_ = 0;             // unpaced: when what has come in will have been on the first hop
  std::optional<Nanos> woken_;         // last; none: not yet
  Nanos due_ = 0;                      // when it was to be woken next
  bool somebody_there_ = false;        // as of woken_
  std::optional<Nanos> behind_since_;  // was held up then, and has not read all that came in meanwhile
  PortRead intake_;
  Lateness lateness_;
};

}  // namespace hopbench
