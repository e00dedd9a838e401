// Granted time: its messages, byte by byte as docs/granted-time.md has them, and what a session makes of good and bad
// ones.
#include <algorithm>
#include <filesystem>
#include <fstream>
#include <iterator>
#include <sstream>
#include <string>

#include "port/granted_session.h"
#include "seen/ignoring_sink.h"
#include "support/catch.h"
#include "support/small_chain.h"

namespace hopbench::fuzz {
std::size_t converse(std::span<const std::uint8_t> input);  // tools/fuzz/granted.cpp
}

namespace hopbench {
namespace {

using Bytes = std::vector<std::uint8_t>;
using granted::Granted;
using Seen = GrantedSession::State;

/// Lines of the page's last example that begin with `who`.
std::vector<Bytes> on_the_page(const std::string& who) {
  std::ifstream page(HOPBENCH_SOURCE_DIR "/docs/granted-time.md");
  std::vector<Bytes> lines;
  for (std::string line; std::getline(page, line);) {
    std::istringstream words(line);
    std::string first;
    words >> first;
    if (!line.starts_with(who + " ") || line.size() < 20 || line[12] < '0') continue;
    Bytes bytes;
    for (std::string each; words >> each;) bytes.push_back(static_cast<std::uint8_t>(std::stoul(each, nullptr, 16)));
    lines.push_back(bytes);
  }
  return lines;
}

Bytes message(std::uint8_t type, const Bytes& body) {
  Bytes out{static_cast<std::uint8_t>(body.size() + 1), 0, 0, 0, type};
  out.insert(out.end(), body.begin(), body.end());
  return out;
}

void number(Bytes& to, std::uint64_t value, int size) {
  for (int i = 0; i < size; ++i, value >>= 8U) to.push_back(static_cast<std::uint8_t>(value));
}

const Bytes hello = message(0x81, {1, 0, 't'});

Bytes wait_for(Nanos until, std::uint32_t chars = 0, std::uint64_t still = ~std::uint64_t{0}, std::uint64_t from = 0) {
  Bytes body;
  number(body, from, 8);
  number(body, static_cast<std::uint64_t>(until), 8);
  number(body, chars, 4);
  number(body, still, 8);
  return message(0x83, body);
}

struct Nobody final : IgnoringSink {};

/// A ring of two nodes that speak Modbus at 10 us a bit, and a controller's side of a conversation.
struct Bench {
  SmallChain small = modbus_chain(2);
  Protocol protocol{small.bus};
  Nobody nobody;
  Chain chain{protocol, small.chain, 1, Way::events, Seat::outside, nobody};
  GrantedSession session{chain, protocol.line(), "b", 10 * second};

  Bench() { session.out().clear(); }
  Seen says(const Bytes& bytes) {
    session.take(bytes);
    while (session.state() == Seen::waits) session.go_on();
    return session.state();
  }
  /// The last message of those that came: its type, and its first eight bytes as an instant.
  struct Last {
    int type = 0;
    Nanos at = 0;
    int why = 0;
    std::size_t heard = 0;  // characters in the messages before it
  };
  Last last() {
    Last found;
    Bytes& out = session.out();
    for (std::size_t from = 0; from < out.size();) {
      const std::size_t length = out[from] + 256U * out[from + 1];
      found.type = out[from + 4];
      found.at = 0;
      for (std::size_t i = 8; i-- > 0;) found.at = found.at * 256 + out[from + 5 + i];
      found.why = out[from + 13];
      if (found.type == 0x02) found.heard += (length - 9) / 6;
      from += 4 + length;
    }
    out.clear();
    return found;
  }
};

/// Reads a holding register of node 1: the request of the Modbus application protocol, V1.1b3, 6.3. Its CRC from
/// memory; the node answers, so it is good.
const Bytes read_one = message(0x82, {0, 0, 0, 0, 0, 0, 0, 0, 0x01, 0x03, 0x00, 0x00, 0x00, 0x01, 0x84, 0x0a});

}  // namespace

TEST_CASE("messages are byte for byte those of the page", "[granted]") {
  const auto bench = on_the_page("bench");
  REQUIRE(bench.size() == 3);
  Bytes out;
  granted::put_hello({LineCoding{}, 0, "b"}, out);
  CHECK(out == bench[0]);
  out.clear();
  const granted::Char heard{4'942'968, 0x33, 0};
  granted::put_heard({&heard, 1}, out);
  CHECK(out == bench[1]);
  out.clear();
  granted::put_time(4'942'968, Granted::chars, out);
  CHECK(out == bench[2]);

  const auto controller = on_the_page("controller");
  REQUIRE(controller.size() == 3);
  granted::Inbox inbox;
  for (const Bytes& each : controller) inbox.add(each);
  granted::FromController message;
  REQUIRE(inbox.next(message));
  CHECK(std::get<granted::Hello>(message).name == "c");
  CHECK(std::get<granted::Hello>(message).version == 1);
  REQUIRE(inbox.next(message));
  CHECK(std::get<granted::Send>(message).at == 0);
  CHECK(std::ranges::equal(std::get<granted::Send>(message).bytes, Bytes{0x11, 0x22}));
  REQUIRE(inbox.next(message));
  const auto wait = std::get<granted::Wait>(message);
  CHECK(wait.until == 500 * millisecond);
  CHECK(wait.chars == 1);
  CHECK(wait.still == never);
  CHECK_FALSE(inbox.next(message));
}

TEST_CASE("many characters go in several messages, none of them too long", "[granted]") {
  std::vector<granted::Char> chars(10'000);
  for (std::size_t i = 0; i < chars.size(); ++i) chars[i].at = static_cast<Nanos>(i) * second;
  Bytes out;
  granted::put_heard(chars, out);
  std::size_t count = 0;
  for (std::size_t from = 0; from < out.size();) {
    const std::size_t length = out[from] + 256U * out[from + 1] + 65'536U * out[from + 2];
    CHECK(length <= granted::most_bytes);
    count += (length - 9) / 6;
    from += 4 + length;
  }
  CHECK(count == 10'000);  // 32 bits of nanoseconds are 4 s
}

TEST_CASE("a wait ends at its instant, at the characters asked for, or when the line is still", "[granted]") {
  Bench bench;
  REQUIRE(bench.says(hello) == Seen::asks);
  REQUIRE(bench.says(wait_for(7 * millisecond)) == Seen::asks);
  auto last = bench.last();
  CHECK(last.type == 0x03);
  CHECK(last.at == 7 * millisecond);
  CHECK(last.why == 1);

  bench.says(read_one);
  bench.says(wait_for(second, 7));
  last = bench.last();
  CHECK(last.why == 2);
  CHECK(last.heard == 7);
  const Nanos answered = last.at;

  bench.says(read_one);
  bench.says(wait_for(second, 0, 5'000'000));
  last = bench.last();
  CHECK(last.why == 3);
  CHECK(last.heard == 7);
  // The same exchange, from when the first had ended, and 5 ms of silence.
  CHECK(last.at == answered + (answered - 7 * millisecond) + 5 * millisecond);
  CHECK(bench.says(message(0x86, {})) == Seen::gone);
}

TEST_CASE("what comes at the very end of a wait has come", "[granted]") {
  Bench one;
  one.says(hello);
  one.says(read_one);
  one.says(wait_for(second, 7));
  const Nanos answered = one.last().at;
  for (const Nanos early : {0, 1}) {
    Bench bench;
    bench.says(hello);
    bench.says(read_one);
    bench.says(wait_for(answered - early, 7));
    const auto last = bench.last();
    CHECK(last.why == (early == 0 ? 2 : 1));
    CHECK(last.heard == (early == 0 ? 7U : 6U));
  }
}

TEST_CASE("what comes until `from` is handed over and ends no wait", "[granted]") {
  for (const bool counts : {true, false}) {
    Bench bench;
    bench.says(hello);
    bench.says(read_one);
    // The answer is there long before 500 ms.
    bench.says(wait_for(second, 7, 1'000'000, counts ? 0 : 500'000'000));
    const auto last = bench.last();
    CHECK(last.heard == 7);
    CHECK(last.why == (counts ? 2 : 1));
    if (!counts) CHECK(last.at == second);
  }
}

TEST_CASE("what is sent for later goes out then, and its answer comes as much later", "[granted]") {
  Bench now;
  now.says(hello);
  now.says(read_one);
  now.says(wait_for(second, 7));
  const Nanos answered = now.last().at;
  Bench later;
  later.says(hello);
  Bytes send = read_one;
  Bytes at;
  number(at, 30 * millisecond, 8);
  std::ranges::copy(at, send.begin() + 5);
  later.says(send);
  later.says(wait_for(10 * millisecond));
  auto last = later.last();
  CHECK(last.at == 10 * millisecond);
  later.says(wait_for(second, 7));
  last = later.last();
  CHECK(last.heard == 7);
  CHECK(last.at == answered + 30 * millisecond);
}

TEST_CASE("the run's end is told once a wait would go beyond it, and every wait after it", "[granted]") {
  Bench bench;
  bench.says(hello);
  CHECK(bench.says(wait_for(20 * second)) == Seen::over);
  CHECK(bench.last().type == 0x04);
  CHECK(bench.says(wait_for(30 * second)) == Seen::over);
  const auto last = bench.last();
  CHECK(last.type == 0x04);
  CHECK(last.at == 10 * second);
}

TEST_CASE("what a controller must not send is named", "[granted]") {
  const auto trouble = [](const Bytes& bytes, bool greets = true) {
    Bench bench;
    if (greets) bench.says(hello);
    CHECK(bench.says(bytes) == Seen::wrong);
    return bench.session.trouble();
  };
  using Catch::Matchers::Contains;
  CHECK_THAT(trouble(wait_for(1), false), Contains("not said hello"));
  CHECK_THAT(trouble(message(0x81, {2, 0})), Contains("hello twice"));
  CHECK_THAT(trouble(message(0x81, {2, 0}), false), Contains("version 2"));
  CHECK_THAT(trouble(message(0x77, {})), Contains("type 0x77"));
  CHECK_THAT(trouble(message(0x83, {1, 2})), Contains("\"wait\" of 3 bytes"));
  CHECK_THAT(trouble(message(0x82, {0, 0, 0, 0, 0, 0, 0, 0})), Contains("\"send\" of 9 bytes"));
  CHECK_THAT(trouble(message(0x84, {0, 0, 0, 0, 0, 0, 0, 0, 9})), Contains("verdict 9"));
  CHECK_THAT(trouble({0, 0, 0, 0}), Contains("message of 0 bytes"));
  CHECK_THAT(trouble({1, 0, 1, 0}), Contains("message of 65537 bytes"));
  Bytes back = wait_for(5 * millisecond);
  const Bytes earlier = wait_for(4 * millisecond);
  back.insert(back.end(), earlier.begin(), earlier.end());
  CHECK_THAT(trouble(back), Contains("asks to wait until 4ms, and it is 5ms already"));
}

TEST_CASE("a controller that floods is stopped", "[granted]") {
  Bench talks;
  talks.says(hello);
  const Bytes much = [] {
    Bytes body(4096, 0x55);
    Bytes out;
    number(out, body.size() + 9, 4);
    out.push_back(0x82);
    number(out, 0, 8);
    out.insert(out.end(), body.begin(), body.end());
    return out;
  }();
  std::size_t sent = 0;
  while (talks.says(much) == Seen::asks) sent += 4096;
  CHECK(sent <= 1U << 20U);
  CHECK_THAT(talks.session.trouble(), Catch::Matchers::Contains("floods"));

  Bench polls;
  polls.says(hello);
  std::size_t said = 0;
  while (polls.says(wait_for(0)) == Seen::asks) {
    ++said;
    polls.session.out().clear();
  }
  CHECK(said <= 100'000);
  CHECK_THAT(polls.session.trouble(), Catch::Matchers::Contains("time stands still"));
}

TEST_CASE("the corpus does no harm, however its bits are flipped or wherever it is cut", "[granted]") {
  std::vector<std::filesystem::path> files;
  for (const auto& entry : std::filesystem::directory_iterator(HOPBENCH_SOURCE_DIR "/tests/port/corpus")) {
    files.push_back(entry.path());
  }
  REQUIRE(files.size() >= 12);
  for (const auto& path : files) {
    INFO(path.filename().string());
    std::ifstream file(path, std::ios::binary);
    Bytes bytes{std::istreambuf_iterator<char>(file), std::istreambuf_iterator<char>()};
    const std::size_t exchanges = fuzz::converse(bytes);
    if (path.filename().string().starts_with("good")) CHECK(exchanges >= 1);
    for (std::size_t bit = 0; bit < 8 * bytes.size(); ++bit) {
      bytes[bit / 8] = static_cast<std::uint8_t>(bytes[bit / 8] ^ (1U << bit % 8));
      fuzz::converse(bytes);
      bytes[bit / 8] = static_cast<std::uint8_t>(bytes[bit / 8] ^ (1U << bit % 8));
    }
    for (std::size_t size = 0; size < bytes.size(); ++size) fuzz::converse(std::span(bytes).first(size));
  }
}

}  // namespace hopbench
