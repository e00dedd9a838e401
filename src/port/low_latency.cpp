#include "port/low_latency.h"

#include <linux/serial.h>
#include <sys/ioctl.h>

#include <filesystem>
#include <fstream>

namespace hopbench {
namespace {

constexpr int low_latency_flag = static_cast<int>(ASYNC_LOW_LATENCY);

}  // namespace

bool LowLatency::ask(int fd) {
  serial_struct settings{};
  if (ioctl(fd, TIOCGSERIAL, &settings) != 0) return false;
  if ((settings.flags & low_latency_flag) != 0) return true;
  settings.flags |= low_latency_flag;
  if (ioctl(fd, TIOCSSERIAL, &settings) != 0) return false;
  fd_ = fd;
  return true;
}

LowLatency::~LowLatency() {
  if (fd_ < 0) return;
  serial_struct settings{};
  if (ioctl(fd_, TIOCGSERIAL, &settings) != 0) return;
  settings.flags &= ~low_latency_flag;
  ioctl(fd_, TIOCSSERIAL, &settings);
}

std::optional<unsigned> adapter_latency_ms(const std::string& device) {
  std::error_code error;
  const auto real = std::filesystem::canonical(device, error);
  if (error) return std::nullopt;
  std::ifstream file("/sys/class/tty/" + real.filename().string() + "/device/latency_timer");
  unsigned value = 0;
  if (!(file >> value)) return std::nullopt;
  return value;
}

}  // namespace hopbench
