// The messages between the bench and a controller in granted time, as values and as bytes (docs/granted-time.md).
#pragma once

#include <cstddef>
#include <cstdint>
#include <span>
#include <string>
#include <variant>
#include <vector>

#include "base/time.h"
#include "bus/description.h"
#include "seen/decision.h"

namespace hopbench::granted {

inline constexpr std::uint16_t version = 1;
/// Most bytes of one message, its type included and its length word not.
inline constexpr std::size_t most_bytes = 65'536;
/// Most characters of one message.
inline constexpr std::size_t most_chars = 4'096;
inline constexpr std::size_t most_text = 1'024;

/// Marks of a character that was heard.
enum Mark : std::uint8_t { framing = 1, parity = 2, overrun = 4, line_break = 8 };

struct Char {
  Nanos at = 0;  // the end of its last bit, on the run's clock
  std::uint8_t value = 0;
  std::uint8_t marks = 0;
  friend bool operator==(const Char&, const Char&) = default;
};

// ---- from the bench ----------------------------------------------------------------------------------------------

struct BenchHello {
  LineCoding line;
  Nanos start = 0;  // what the run's clock shows at the start
  std::string bus;
};
enum class Granted : std::uint8_t { time = 1, chars = 2, still = 3 };
enum class Ended : std::uint8_t { time = 1, stopped = 2 };

void put_hello(const BenchHello& hello, std::vector<std::uint8_t>& out);
/// In as many messages as it takes; none for no characters.
void put_heard(std::span<const Char> chars, std::vector<std::uint8_t>& out);
void put_time(Nanos now, Granted why, std::vector<std::uint8_t>& out);
void put_end(Nanos now, Ended why, std::vector<std::uint8_t>& out);

// ---- from the controller -----------------------------------------------------------------------------------------

struct Hello {
  std::uint16_t version = 0;
  std::string name;
};
/// `bytes` last as long as what they were read from.
struct Send {
  Nanos at = 0;  // the first of them starts then, or at once if that is over
  std::span<const std::uint8_t> bytes;
};
struct Wait {
  Nanos from = 0;           // what comes until then is handed over, and ends no wait
  Nanos until = never;      // `never`: until something ends the wait
  std::uint32_t chars = 0;  // ends when so many have come in it; 0: not for their number
  Nanos still = never;      // ends when one has come and then none for so long; `never`: not for that
};
struct Decided {
  std::uint64_t exchange = 0;  // as the controller numbers it
  Decision decision = Decision::answered;
};
struct Log {
  std::string text;
};
struct Bye {};
/// What is no message of a controller, in words that go on from "the controller sent ".
struct Nonsense {
  std::string what;
};
using FromController = std::variant<Hello, Send, Wait, Decided, Log, Bye, Nonsense>;

/// Takes bytes as they come and gives messages. No more is kept than one message and what was handed over with it.
class Inbox {
 public:
  /// What was handed out by next() before is gone.
  void add(std::span<const std::uint8_t> bytes);
  /// The next whole message into `message`; false if there is none. After Nonsense there is no other.
  [[nodiscard]] bool next(FromController& message);
  [[nodiscard]] std::size_t waiting() const { return bytes_.size() - from_; }

 private:
  std::vector<std::uint8_t> bytes_;
  std::size_t from_ = 0;  // of what was not handed out yet
  bool broken_ = false;
};

}  // namespace hopbench::granted
