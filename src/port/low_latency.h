// Asks a serial driver to hand received bytes on at once, where it can.
#pragma once

#include <optional>
#include <string>

namespace hopbench {

/// Sets the low-latency flag while it lives; puts it back as it was at the end. `fd` must outlive it.
class LowLatency {
 public:
  LowLatency() = default;
  ~LowLatency();
  LowLatency(const LowLatency&) = delete;
  LowLatency& operator=(const LowLatency&) = delete;

  /// Returns false if the driver has no such flag.
  bool ask(int fd);

 private:
  int fd_ = -1;  // -1: nothing to put back
};

/// How long the adapter behind `device` gathers bytes before it hands them over, in milliseconds; none if it does
/// not say. `device` may be a link.
std::optional<unsigned> adapter_latency_ms(const std::string& device);

}  // namespace hopbench
