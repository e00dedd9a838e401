// Any baud rate on a Linux terminal line, and its settings as a whole. In a unit of its own because the kernel's
// header for this and <termios.h> define the same names.
#pragma once

#include <array>
#include <cstddef>
#include <cstdint>
#include <optional>

namespace hopbench {

/// The rate that the line is set to (output side), or none if `fd` is no terminal line. On the master of a pty this
/// is the rate that the client at the other end asked for.
std::optional<std::uint32_t> line_speed(int fd);

/// Asks for `baud` both ways. Returns false if the driver says no; it may still have rounded: read it back.
bool set_line_speed(int fd, std::uint32_t baud);

/// All settings of a line, rate included, to be put back later.
class SavedLine {
 public:
  /// Returns false if `fd` is no terminal line.
  bool save(int fd);
  /// Does nothing unless save() went well.
  void restore(int fd) const;

 private:
  alignas(8) std::array<std::byte, 64> settings_{};
  bool saved_ = false;
};

}  // namespace hopbench
