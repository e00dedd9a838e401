#include "plain_loop.h"

#include <array>
#include <cmath>
#include <queue>
#include <random>
#include <vector>

namespace hopbench {
namespace {

constexpr std::int64_t bit_ps = 104'166'667;  // a plain loop does not mind a picosecond
constexpr int nodes = 16;
constexpr int hops = nodes + 1;

struct Frame {
  std::array<std::uint8_t, 20> bytes{};
  int size = 0;
};

enum class Kind : std::uint8_t { poll, arrive, forward, deadline };

struct Event {
  std::int64_t at;  // ns
  std::uint64_t sequence;
  Kind kind;
  int place;  // hop or node
  std::uint64_t exchange;
  Frame frame;
};
struct Later {
  bool operator()(const Event& a, const Event& b) const { return a.at != b.at ? a.at > b.at : a.sequence > b.sequence; }
};

std::array<std::uint16_t, 256> crc_table() {
  std::array<std::uint16_t, 256> table{};
  for (unsigned i = 0; i < 256; ++i) {
    unsigned crc = i << 8U;
    for (int bit = 0; bit < 8; ++bit) crc = (crc & 0x8000U) != 0 ? (crc << 1U) ^ 0x3d65U : crc << 1U;
    table[i] = static_cast<std::uint16_t>(crc);
  }
  return table;
}

std::uint16_t crc_of(const std::uint8_t* bytes, int size) {
  static const auto table = crc_table();
  unsigned crc = 0;
  for (int i = 0; i < size; ++i) crc = ((crc << 8U) & 0xff00U) ^ table[((crc >> 8U) ^ bytes[i]) & 0xffU];
  return static_cast<std::uint16_t>(crc ^ 0xffffU);
}

void seal(Frame& frame) {
  const std::uint16_t crc = crc_of(frame.bytes.data(), frame.size - 2);
  frame.bytes[static_cast<std::size_t>(frame.size - 2)] = static_cast<std::uint8_t>(crc >> 8U);
  frame.bytes[static_cast<std::size_t>(frame.size - 1)] = static_cast<std::uint8_t>(crc);
}

bool good(const Frame& frame) {
  const std::uint16_t crc = crc_of(frame.bytes.data(), frame.size - 2);
  return frame.bytes[static_cast<std::size_t>(frame.size - 2)] == crc >> 8U &&
         frame.bytes[static_cast<std::size_t>(frame.size - 1)] == (crc & 0xffU);
}

/// Counts in buckets of a sixteenth of an octave.
struct Counts {
  std::vector<std::uint64_t> buckets = std::vector<std::uint64_t>(1024);
  void add(std::int64_t value) {
    const auto v = static_cast<std::uint64_t>(value) | 1U;
    const int octave = 63 - __builtin_clzll(v);
    const auto sub = octave >= 4 ? (v >> (octave - 4)) & 15U : 0U;
    ++buckets[static_cast<std::size_t>(octave) * 16 + sub];
  }
};

}  // namespace

PlainResult plain_ring16(std::uint64_t exchanges, double bit_error, std::uint64_t seed) {
  std::priority_queue<Event, std::vector<Event>, Later> queue;
  std::mt19937_64 random(seed);
  std::uniform_real_distribution<double> uniform;
  std::array<double, 21> frame_error{};
  for (int bytes = 0; bytes <= 20; ++bytes)
    frame_error[static_cast<std::size_t>(bytes)] = 1 - std::pow(1 - bit_error, 10 * bytes);
  std::vector<Counts> transit(hops);
  Counts round_trip;
  std::vector<std::uint64_t> frames(hops);
  std::vector<std::uint64_t> bad(hops);
  PlainResult result;
  std::uint64_t sequence = 0;
  std::uint64_t open = 0;  // number of the exchange that is open, from 1; 0 none
  std::int64_t asked_at = 0;

  const auto send = [&](std::int64_t at, int hop, Frame frame, std::uint64_t exchange) {
    const std::int64_t takes = frame.size * 10 * bit_ps / 1000;
    ++frames[static_cast<std::size_t>(hop)];
    if (uniform(random) < frame_error[static_cast<std::size_t>(frame.size)]) {
      const auto bit = static_cast<std::size_t>(uniform(random) * frame.size * 8);
      frame.bytes[bit / 8] = static_cast<std::uint8_t>(frame.bytes[bit / 8] ^ (1U << (bit % 8)));
    }
    transit[static_cast<std::size_t>(hop)].add(takes);
    queue.push({at + takes, sequence++, Kind::arrive, hop, exchange, frame});
  };

  queue.push({0, sequence++, Kind::poll, 0, 0, {}});
  while (!queue.empty()) {
    const Event event = queue.top();
    queue.pop();
    ++result.events;
    switch (event.kind) {
      case Kind::poll: {
        if (result.asked == exchanges) break;
        Frame ask;
        ask.size = 12;
        ask.bytes[0] = 0xa7;
        ask.bytes[1] = 1;
        ask.bytes[2] = static_cast<std::uint8_t>(result.asked % nodes + 1);
        ask.bytes[6] = static_cast<std::uint8_t>(result.asked >> 8U);
        ask.bytes[7] = static_cast<std::uint8_t>(result.asked);
        seal(ask);
        open = ++result.asked;
        asked_at = event.at;
        send(event.at, 0, ask, open);
        queue.push({event.at + 120 * bit_ps / 1000 + 500'000'000, sequence++, Kind::deadline, 0, open, {}});
        queue.push({event.at + 1'382'400'000, sequence++, Kind::poll, 0, 0, {}});
        break;
      }
      case Kind::arrive: {
        if (!good(event.frame)) {
          ++bad[static_cast<std::size_t>(event.place)];
          break;
        }
        if (event.place == nodes) {  // home
          if (event.exchange == open && event.frame.bytes[1] == 2) {
            ++result.answered;
            round_trip.add(event.at - asked_at);
            open = 0;
          }
          break;
        }
        queue.push({event.at + 200'000, sequence++, Kind::forward, event.place, event.exchange, event.frame});
        break;
      }
      case Kind::forward: {
        Frame frame = event.frame;
        if (frame.bytes[1] == 1 && frame.bytes[2] == event.place + 1) {
          frame.size = 20;
          frame.bytes[1] = 2;
          frame.bytes[3] = frame.bytes[2];
          frame.bytes[2] = 0;
          for (std::size_t i = 10; i < 18; ++i) frame.bytes[i] = static_cast<std::uint8_t>(event.exchange >> (i % 8));
          seal(frame);
        }
        send(event.at, event.place + 1, frame, event.exchange);
        break;
      }
      case Kind::deadline:
        if (event.exchange == open && open != 0) {
          ++result.lost;
          open = 0;
        }
        break;
    }
  }
  return result;
}

}  // namespace hopbench
