#include "port/granted_messages.h"

#include <fmt/format.h>

#include <algorithm>
#include <limits>

namespace hopbench::granted {
namespace {

enum Type : std::uint8_t {
  bench_hello = 0x01,
  heard = 0x02,
  time_is = 0x03,
  end_of_run = 0x04,
  hello = 0x81,
  send = 0x82,
  wait = 0x83,
  decided = 0x84,
  log_line = 0x85,
  bye = 0x86,
};

constexpr std::size_t length_bytes = 4;

template <class T>
void put(std::vector<std::uint8_t>& out, T value) {
  auto rest = static_cast<std::uint64_t>(value);
  for (std::size_t i = 0; i < sizeof(T); ++i, rest >>= 8U) out.push_back(static_cast<std::uint8_t>(rest));
}

/// Writes the length in front of a message once its end is there.
class Message {
 public:
  Message(std::vector<std::uint8_t>& out, Type type) : out_(&out), from_(out.size()) {
    put(out, std::uint32_t{0});
    put(out, static_cast<std::uint8_t>(type));
  }
  ~Message() {
    const auto length = static_cast<std::uint32_t>(out_->size() - from_ - length_bytes);
    for (std::size_t i = 0; i < length_bytes; ++i) {
      (*out_)[from_ + i] = static_cast<std::uint8_t>(length >> (8U * i));
    }
  }
  Message(const Message&) = delete;
  Message& operator=(const Message&) = delete;

 private:
  std::vector<std::uint8_t>* out_;
  std::size_t from_;
};

/// Reads a message; what goes beyond its end is 0, and told by over().
class Reader {
 public:
  explicit Reader(std::span<const std::uint8_t> bytes) : left_(bytes) {}
  template <class T>
  T take() {
    std::uint64_t value = 0;
    if (left_.size() < sizeof(T)) {
      over_ = true;
      left_ = {};
      return T{};
    }
    for (std::size_t i = sizeof(T); i-- > 0;) value = (value << 8U) | left_[i];
    left_ = left_.subspan(sizeof(T));
    return static_cast<T>(value);
  }
  std::span<const std::uint8_t> rest() { return std::exchange(left_, {}); }
  [[nodiscard]] bool exact() const { return !over_ && left_.empty(); }

 private:
  std::span<const std::uint8_t> left_;
  bool over_ = false;
};

std::string text_of(std::span<const std::uint8_t> bytes) { return {bytes.begin(), bytes.end()}; }

/// Instants beyond what the bench counts are `never`.
Nanos nanos_of(std::uint64_t value) {
  return value >= static_cast<std::uint64_t>(never) ? never : static_cast<Nanos>(value);
}

FromController wrong_size(const char* name, std::size_t size) {
  return Nonsense{fmt::format("a message \"{}\" of {} bytes, which is no size of one", name, size)};
}

FromController read(std::span<const std::uint8_t> message) {
  Reader reader(message);
  const std::size_t size = message.size();
  switch (const auto type = reader.take<std::uint8_t>()) {
    case hello: {
      Hello said;
      said.version = reader.take<std::uint16_t>();
      said.name = text_of(reader.rest());
      if (!reader.exact() || said.name.size() > most_text) return wrong_size("hello", size);
      return said;
    }
    case send: {
      const auto at = nanos_of(reader.take<std::uint64_t>());
      const auto bytes = reader.rest();
      if (bytes.empty() || bytes.size() > most_chars) return wrong_size("send", size);
      return Send{at, bytes};
    }
    case wait: {
      Wait said;
      said.from = nanos_of(reader.take<std::uint64_t>());
      said.until = nanos_of(reader.take<std::uint64_t>());
      said.chars = reader.take<std::uint32_t>();
      said.still = nanos_of(reader.take<std::uint64_t>());
      if (!reader.exact()) return wrong_size("wait", size);
      return said;
    }
    case decided: {
      Decided said;
      said.exchange = reader.take<std::uint64_t>();
      const auto decision = reader.take<std::uint8_t>();
      if (!reader.exact()) return wrong_size("decided", size);
      said.decision = static_cast<Decision>(decision);
      if (said.decision < Decision::answered || said.decision > Decision::rejected) {
        return Nonsense{fmt::format("a message \"decided\" with the verdict {}; there are 1 to 4", decision)};
      }
      return said;
    }
    case log_line: {
      Log said{text_of(reader.rest())};
      if (said.text.size() > most_text) return wrong_size("log", size);
      return said;
    }
    case bye:
      if (!reader.exact()) return wrong_size("bye", size);
      return Bye{};
    default:
      return Nonsense{fmt::format("a message of type 0x{:02x}; a controller's are 0x81 to 0x86", type)};
  }
}

}  // namespace

void put_hello(const BenchHello& hello, std::vector<std::uint8_t>& out) {
  const Message message(out, bench_hello);
  put(out, version);
  put(out, static_cast<std::uint32_t>(hello.line.baud));
  put(out, static_cast<std::uint8_t>(hello.line.data_bits));
  const auto parity = hello.line.parity == Parity::none ? 0 : hello.line.parity == Parity::odd ? 1 : 2;
  put(out, static_cast<std::uint8_t>(parity));
  put(out, static_cast<std::uint8_t>(hello.line.stop_half_bits));
  put(out, static_cast<std::uint64_t>(hello.start));
  const std::size_t length = std::min(hello.bus.size(), most_text);
  out.insert(out.end(), hello.bus.begin(), hello.bus.begin() + static_cast<std::ptrdiff_t>(length));
}

void put_heard(std::span<const Char> chars, std::vector<std::uint8_t>& out) {
  while (!chars.empty()) {
    const Nanos first = chars.front().at;
    const auto fits = [&](const Char& each) { return each.at - first <= std::numeric_limits<std::uint32_t>::max(); };
    const auto end = std::find_if_not(chars.begin(), chars.end(), fits);
    const std::size_t count = std::min(most_chars, static_cast<std::size_t>(end - chars.begin()));
    const Message message(out, heard);
    put(out, static_cast<std::uint64_t>(first));
    for (const Char& each : chars.first(count)) {
      put(out, static_cast<std::uint32_t>(each.at - first));
      put(out, each.value);
      put(out, each.marks);
    }
    chars = chars.subspan(count);
  }
}

void put_time(Nanos now, Granted why, std::vector<std::uint8_t>& out) {
  const Message message(out, time_is);
  put(out, static_cast<std::uint64_t>(now));
  put(out, static_cast<std::uint8_t>(why));
}

void put_end(Nanos now, Ended why, std::vector<std::uint8_t>& out) {
  const Message message(out, end_of_run);
  put(out, static_cast<std::uint64_t>(now));
  put(out, static_cast<std::uint8_t>(why));
}

void Inbox::add(std::span<const std::uint8_t> bytes) {
  bytes_.erase(bytes_.begin(), bytes_.begin() + static_cast<std::ptrdiff_t>(from_));
  from_ = 0;
  bytes_.insert(bytes_.end(), bytes.begin(), bytes.end());
}

bool Inbox::next(FromController& message) {
  if (broken_ || waiting() < length_bytes) return false;
  const auto left = std::span<const std::uint8_t>(bytes_).subspan(from_);
  const auto length = Reader(left).take<std::uint32_t>();
  if (length == 0 || length > most_bytes) {
    message = Nonsense{fmt::format("a message of {} bytes; 1 to {} are possible", length, most_bytes)};
  } else if (left.size() - length_bytes < length) {
    return false;
  } else {
    message = read(left.subspan(length_bytes, length));
    from_ += length_bytes + length;
  }
  broken_ = std::holds_alternative<Nonsense>(message);
  return true;
}

}  // namespace hopbench::granted
