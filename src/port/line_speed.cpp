#include "port/line_speed.h"

#include <asm/ioctls.h>
#include <asm/termbits.h>
#include <sys/ioctl.h>

#include <cstring>

namespace hopbench {
namespace {

constexpr unsigned input_baud_shift = 16;

}  // namespace

std::optional<std::uint32_t> line_speed(int fd) {
  termios2 settings{};
  if (ioctl(fd, TCGETS2, &settings) != 0) return std::nullopt;
  return settings.c_ospeed;
}

bool set_line_speed(int fd, std::uint32_t baud) {
  termios2 settings{};
  if (ioctl(fd, TCGETS2, &settings) != 0) return false;
  const auto rate_bits = static_cast<tcflag_t>(CBAUD | (CBAUD << input_baud_shift));
  settings.c_cflag &= ~rate_bits;
  // Input bits of zero mean "as the output", which every driver understands.
  settings.c_cflag |= static_cast<tcflag_t>(BOTHER);
  settings.c_ospeed = baud;
  settings.c_ispeed = baud;
  return ioctl(fd, TCSETS2, &settings) == 0;
}

bool SavedLine::save(int fd) {
  static_assert(sizeof(termios2) <= sizeof(settings_));
  termios2 settings{};
  saved_ = ioctl(fd, TCGETS2, &settings) == 0;
  std::memcpy(settings_.data(), &settings, sizeof settings);
  return saved_;
}

void SavedLine::restore(int fd) const {
  if (!saved_) return;
  termios2 settings{};
  std::memcpy(&settings, settings_.data(), sizeof settings);
  ioctl(fd, TCSETS2, &settings);
}

}  // namespace hopbench
