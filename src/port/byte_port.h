// Where bytes of a real controller come in and ours go out. A pty and a serial port are the two there are; tests
// put a third in their place.
#pragma once

#include <cstddef>
#include <cstdint>
#include <span>
#include <string>
#include <vector>

namespace hopbench {

/// Bytes taken in by one read, with flags as in Arrival (seen/observation.h). `flags` is empty or as long as `bytes`.
struct Intake {
  std::vector<std::uint8_t> bytes;
  std::vector<std::uint8_t> flags;
  void clear() {
    bytes.clear();
    flags.clear();
  }
};

/// Never blocks. Errors that mean "not now" are no errors; every other one means that the port is gone.
class BytePort {
 public:
  virtual ~BytePort() = default;

  /// To wait on; owned by the port.
  [[nodiscard]] virtual int descriptor() const = 0;
  /// The wire itself gives each byte its time (a UART). Otherwise (a pty) bytes come and go in no time.
  [[nodiscard]] virtual bool paced() const = 0;
  /// Appends what is there, a few thousand bytes at most. Returns false if the port is gone.
  [[nodiscard]] virtual bool read(Intake& intake) = 0;
  /// Returns how many bytes were taken (0: none now), or -1 if the port is gone.
  [[nodiscard]] virtual std::ptrdiff_t write(std::span<const std::uint8_t> bytes) = 0;
  /// Bytes thrown away because nobody fetched them.
  [[nodiscard]] virtual std::uint64_t dropped() const = 0;
  /// Something that the user should be told, in one line and once; "" if there is nothing.
  [[nodiscard]] virtual std::string take_note() = 0;
};

/// Why a port could not be opened, in one line.
struct PortError {
  std::string what;
};

}  // namespace hopbench
