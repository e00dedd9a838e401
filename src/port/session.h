// A chain kept in step with a port: what comes in goes to the chain, what the chain sends goes out when its time has
// come. Reads no clock and waits for nothing; the caller says what time it is.
#pragma once

#include <cstdint>
#include <deque>
#include <functional>
#include <span>
#include <string>
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

 private:
  Chain* chain_;
};

/// When bytes that the chain sends go out: on a paced port at their start, since the wire takes the time; on an
/// unpaced one all at once when the last of them would have come in, so that the controller waits as long for the end
/// of a frame as it would on the wire. Being late is counted here and nowhere else: the chain knows nominal times only.
class Session {
 public:
  enum class Health : std::uint8_t { well, stuck, port_gone };

  /// All three must outlive the session.
  Session(Driven& chain, BytePort& port, const LineCoding& line);
  Session(const Session&) = delete;
  Session& operator=(const Session&) = delete;

  /// When wake() must be called next; `never` if only bytes can bring something new.
  [[nodiscard]] Nanos next_wake() const;
  /// Does everything that is due at `now`.
  Health wake(Nanos now);
  /// The port has something to read, at `now`.
  Health take_in(Nanos now);
  /// Not to be read from before then: a client that has sent far ahead of the line waits, as it would in front of a
  /// real port.
  [[nodiscard]] Nanos may_read_at() const;
  /// Bytes are due that the port did not take; wake() when it can.
  [[nodiscard]] bool wants_write() const { return blocked_; }

  [[nodiscard]] const Lateness& lateness() const { return lateness_; }
  /// Bytes from the chain that never reached the controller, because nobody fetched them.
  [[nodiscard]] std::uint64_t dropped() const { return dropped_ + port_->dropped(); }

 private:
  struct Outgoing {
    Nanos nominal = 0;
    std::vector<std::uint8_t> bytes;
    std::size_t sent = 0;
  };

  [[nodiscard]] Nanos chars_span(std::size_t chars) const;
  void queue(std::span<const Nanos> ends, std::span<const std::uint8_t> bytes);
  Health send_due(Nanos now);

  Driven* chain_;
  BytePort* port_;
  LineCoding line_;
  std::deque<Outgoing> outgoing_;  // by nominal time
  std::size_t queued_bytes_ = 0;
  bool blocked_ = false;
  Nanos line_free_at_ = 0;  // unpaced: when what has come in will have been on the first hop
  Intake intake_;
  Lateness lateness_;
  std::uint64_t dropped_ = 0;
};

}  // namespace hopbench
