#include "port/pty_delay.h"

#include <poll.h>
#include <unistd.h>

#include <algorithm>
#include <chrono>
#include <vector>

namespace hopbench {
namespace {

using Clock = std::chrono::steady_clock;

constexpr std::size_t most_samples = 100;
constexpr std::size_t least_samples = 10;
constexpr auto most_time = std::chrono::milliseconds(300);
constexpr int pause_ms = 1;  // a worker that has just run is quick to run again

}  // namespace

PortDelay measure_pty_delay(int master, int client) {
  std::vector<Nanos> samples;
  const auto begin = Clock::now();
  while (samples.size() < most_samples && Clock::now() - begin < most_time) {
    poll(nullptr, 0, pause_ms);
    char byte = 0;
    const auto sent = Clock::now();
    if (::write(master, &byte, 1) != 1) break;
    pollfd waiting{client, POLLIN, 0};
    if (poll(&waiting, 1, static_cast<int>(most_time.count())) != 1) break;
    samples.push_back(std::chrono::nanoseconds(Clock::now() - sent).count());
    if (::read(client, &byte, 1) != 1) break;
  }
  if (samples.size() < least_samples) return {};
  std::sort(samples.begin(), samples.end());
  const auto at = [&](std::size_t percent) { return samples[(samples.size() * percent + 99) / 100 - 1]; };
  return {at(50), at(99)};
}

}  // namespace hopbench
