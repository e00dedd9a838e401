// A serial port of this computer, set up so that nothing of what the line did is hidden: errors are marked, not
// dropped, and the rate is what the bus says or the port is refused.
#pragma once

#include <array>
#include <memory>
#include <string>
#include <variant>
#include <vector>

#include "bus/description.h"
#include "port/byte_port.h"
#include "port/error_marks.h"
#include "port/file_descriptor.h"
#include "port/line_speed.h"
#include "port/low_latency.h"
#include "port/wait_set.h"

namespace hopbench {

/// Largest difference between the rate asked for and the one that the driver reports, in parts per thousand.
inline constexpr std::uint32_t baud_tolerance_per_mille = 20;

/// Held for ourselves (advisory lock and exclusive mode) while it lives; put back as found at the end.
class SerialPort final : public BytePort {
 public:
  /// `path` may be a link, such as those by adapter name. Fails if it is no terminal line, if another program has
  /// it, or if it cannot do what `line` says.
  static std::variant<std::unique_ptr<SerialPort>, PortError> open(const std::string& path, const LineCoding& line);
  ~SerialPort() override;
  SerialPort(const SerialPort&) = delete;
  SerialPort& operator=(const SerialPort&) = delete;

  [[nodiscard]] int descriptor() const override { return waits_.descriptor(); }
  void watch(bool input, bool room) override { waits_.watch(fd_.get(), input, room); }
  [[nodiscard]] bool paced() const override { return true; }
  /// The far end of a wire cannot be seen.
  [[nodiscard]] bool somebody_there() const override { return true; }
  [[nodiscard]] bool read(PortRead& intake, std::size_t most) override;
  [[nodiscard]] std::ptrdiff_t write(std::span<const std::uint8_t> bytes) override;
  [[nodiscard]] PortLosses losses() const override { return {}; }
  [[nodiscard]] std::string take_note() override { return {}; }

  /// The terminal line itself.
  [[nodiscard]] int line() const { return fd_.get(); }
  /// What was found when opening, one line each: actual rate, latency, what cannot be counted.
  [[nodiscard]] const std::vector<std::string>& findings() const { return findings_; }

 private:
  /// The driver's error counters; not all drivers have them.
  struct Counters {
    int framing = 0;
    int parity = 0;
    int overrun = 0;
    int lost_in_kernel = 0;
    bool known = false;
  };

  explicit SerialPort(LineCoding line) : line_(line) {}
  [[nodiscard]] Counters counters() const;

  LineCoding line_;
  FileDescriptor fd_;
  WaitSet waits_;
  SavedLine saved_;
  LowLatency low_latency_;
  ErrorMarks marks_;
  Counters counters_;
  std::vector<std::string> findings_;
};

}  // namespace hopbench
