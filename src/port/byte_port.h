// Where bytes of a real controller come in and ours go out. A pty, a Unix socket and a serial port are what there is;
// tests put others in their place.
#pragma once

#include <cstddef>
#include <cstdint>
#include <span>
#include <string>
#include <vector>

#include "base/time.h"

namespace hopbench {

/// What came of one read. `flags` as in Arrival (seen/observation.h): empty, or as long as `bytes`.
struct PortRead {
  std::vector<std::uint8_t> bytes;
  std::vector<std::uint8_t> flags;
  bool left = false;  // who had the port open has gone since the read before
  void clear() {
    bytes.clear();
    flags.clear();
    left = false;
  }
};

/// Bytes for the controller that the port threw away.
struct PortLosses {
  std::uint64_t not_fetched = 0;   // it did not read
  std::uint64_t nobody_there = 0;  // nobody had the port open
};

/// What a port adds by itself, each way; 0: not measured.
struct PortDelay {
  Nanos median = 0;
  Nanos most = 0;  // of 99 % of the measurements
};

/// Never blocks. Errors that mean "not now" are no errors; every other one means that the port is gone.
class BytePort {
 public:
  virtual ~BytePort() = default;

  /// Readable whenever read() or write() has something to do. Owned by the port, and the same all its life.
  [[nodiscard]] virtual int descriptor() const = 0;
  /// What descriptor() tells of: bytes that have come in, and room for bytes that write() did not take. That somebody
  /// came or went it always tells.
  virtual void watch(bool input, bool room) = 0;
  /// The wire itself gives each byte its time (a UART). Otherwise (a pty, a socket) bytes come and go in no time.
  [[nodiscard]] virtual bool paced() const = 0;
  /// Somebody has the port open at this moment. A wire has always two ends.
  [[nodiscard]] virtual bool somebody_there() const = 0;
  /// Appends what is there, about `most` bytes; with 0 it only looks who came and went. Returns false if the port is
  /// gone.
  [[nodiscard]] virtual bool read(PortRead& intake, std::size_t most) = 0;
  /// Returns how many bytes were taken (0: none now), or -1 if the port is gone.
  [[nodiscard]] virtual std::ptrdiff_t write(std::span<const std::uint8_t> bytes) = 0;
  [[nodiscard]] virtual PortLosses losses() const = 0;
  [[nodiscard]] virtual PortDelay delay() const { return {}; }
  /// It wants read() to be called again at once.
  [[nodiscard]] virtual bool restless() const { return false; }
  /// Something that the user should be told, in one line and once; "" if there is nothing.
  [[nodiscard]] virtual std::string take_note() = 0;
};

/// Why a port could not be opened, in one line.
struct PortError {
  std::string what;
};

}  // namespace hopbench
