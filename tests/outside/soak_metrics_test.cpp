// `hopbench soak --metrics`: who looks on over HTTP while a soak goes on, and what asks in a wrong way.
#include <arpa/inet.h>
#include <fcntl.h>
#include <netinet/in.h>
#include <sys/socket.h>
#include <sys/stat.h>
#include <unistd.h>

#include <array>
#include <cstdint>
#include <fstream>
#include <optional>
#include <string>

#include "port/fixtures.h"
#include "process.h"
#include "support/catch.h"

namespace hopbench {
namespace {

const std::string scenario = std::string(HOPBENCH_SOURCE_DIR) + "/tests/outside/scenarios/modbus-short.txtpb";

bool contains(const std::string& text, const std::string& part) { return text.find(part) != std::string::npos; }

class Client {
 public:
  explicit Client(std::uint16_t port) : socket_(::socket(AF_INET, SOCK_STREAM | SOCK_CLOEXEC, 0)) {
    sockaddr_in to{};
    to.sin_family = AF_INET;
    to.sin_port = htons(port);
    to.sin_addr.s_addr = htonl(INADDR_LOOPBACK);
    REQUIRE(::connect(socket_, reinterpret_cast<const sockaddr*>(&to), sizeof to) == 0);
  }
  ~Client() { ::close(socket_); }
  Client(const Client&) = delete;
  Client& operator=(const Client&) = delete;

  /// It may be closed before all of it is taken.
  void say(const std::string& text) const { (void)(::send(socket_, text.data(), text.size(), MSG_NOSIGNAL) < 0); }
  /// Until the other side closes.
  [[nodiscard]] std::string answer() const {
    std::string heard;
    std::array<char, 4096> some;
    for (ssize_t size = 0; (size = ::read(socket_, some.data(), some.size())) > 0;) {
      heard.append(some.data(), static_cast<std::size_t>(size));
    }
    return heard;
  }

 private:
  int socket_;
};

std::string asked(std::uint16_t port, const std::string& request) {
  const Client client(port);
  client.say(request);
  return client.answer();
}

const std::string good = "GET /metrics HTTP/1.1\r\nHost: bench\r\n\r\n";

/// A soak of a controller in Python that asks five times, waits until something is written to the pipe "go", and asks
/// five times more: so long the soak neither ends nor gets on.
class WatchedSoak {
 public:
  WatchedSoak() : script_(written(folder_)), process_({"/bin/bash", "-ec", command()}) {
    REQUIRE(process_.says("/metrics\n"));
    const std::string before = "figures at http://127.0.0.1:";
    const std::size_t at = process_.err().find(before);
    REQUIRE(at != std::string::npos);
    port_ = static_cast<std::uint16_t>(std::stoul(process_.err().substr(at + before.size())));
    REQUIRE(port_ != 0);
    REQUIRE(process_.says("hopbench: five\n"));
  }

  [[nodiscard]] std::uint16_t port() const { return port_; }
  /// The first page on which five exchanges are counted: figures are renewed every 2 s.
  [[nodiscard]] std::string page() const {
    for (int look = 0; look < 1'000'000; ++look) {
      std::string text = asked(port_, good);
      if (contains(text, "hopbench_exchanges_total{outcome=\"answered\"} 5\n")) return text;
    }
    return {};
  }
  int end() {
    const int go = ::open((folder_ / "go").c_str(), O_WRONLY | O_CLOEXEC);
    REQUIRE(go >= 0);
    REQUIRE(::write(go, "1", 1) == 1);
    ::close(go);
    return process_.wait();
  }

 private:
  static std::string written(const Folder& folder) {
    const std::string path = folder / "watched.py";
    std::ofstream out{path};
    out << "import os, select, sys\nsys.path.insert(0, '" HOPBENCH_SOURCE_DIR
           "/src/clients/python')\nimport hopbench_time as hb\nbench = hb.Bench('watched')\n"
           "def ask(numbers):\n"
           "    for number in numbers:\n"
           "        bench.write(bytes((1, 3, 0, 0, 0, 1, 0x84, 0x0a)))\n"
           "        bench.read(7, 500_000_000)\n"
           "        bench.decided(number, hb.ANSWERED)\n"
           "        bench.sleep(100_000_000)\n"
           "ask(range(5))\nbench.log('five')\nbench.wait(bench.now())\n"
        << "go = os.open('" << folder / "go"
        << "', os.O_RDONLY | os.O_NONBLOCK)\n"
        << "select.select([go, bench._socket], [], [])\n"  // the socket: the bench is gone
        << "try:\n    ask(range(5, 1000))\nexcept hb.Ended:\n    bench.close()\n";
    REQUIRE(out.good());
    REQUIRE(::mkfifo((folder / "go").c_str(), 0600) == 0);
    return path;
  }
  [[nodiscard]] std::string command() const {
    // What is required stands in a copy; the bus description is one that comes with the program.
    return "cd '" + folder_ / "" + "'\ncp '" + scenario +
           "' s.txtpb\necho 'requirement { that: \"failed <= 10%\" acceptable: \"1%\" }' >> s.txtpb\nexec "
           "'" HOPBENCH_BINARY
           "' soak s.txtpb --for 5s --full --metrics 127.0.0.1:0 --hang-after never --controller 'exec:python3 " +
           script_ + "'";
  }

  Folder folder_;
  std::string script_;
  Process process_;
  std::uint16_t port_ = 0;
};

}  // namespace

TEST_CASE("soak: figures are answered over HTTP while it goes on, and nothing that is asked disturbs it") {
  WatchedSoak soak;
  const std::string page = soak.page();
  REQUIRE_FALSE(page.empty());
  CHECK(page.starts_with("HTTP/1.1 200 OK\r\nContent-Type: text/plain; version=0.0.4; charset=utf-8\r\n"));
  CHECK(contains(page, "hopbench_soak_planned_seconds 5\n"));
  CHECK(contains(page, "hopbench_tries_total 5\n"));
  CHECK(contains(page, "hopbench_requirement_decision{number=\"1\",that=\"failed <= 10%\"} 0\n"));
  const std::string body = page.substr(page.find("\r\n\r\n") + 4);
  CHECK(contains(page, "Content-Length: " + std::to_string(body.size()) + "\r\n"));

  SECTION("requests that are none") {
    CHECK(asked(soak.port(), "POST /metrics HTTP/1.1\r\n\r\n").starts_with("HTTP/1.1 405 "));
    CHECK(asked(soak.port(), "GET /../../etc/passwd HTTP/1.1\r\n\r\n").starts_with("HTTP/1.1 404 "));
    CHECK(asked(soak.port(), "\r\n\r\n").starts_with("HTTP/1.1 405 "));
    CHECK(asked(soak.port(), std::string("\0\xff\x1b[2J", 6) + "\r\n\r\n").starts_with("HTTP/1.1 405 "));
    CHECK(asked(soak.port(), std::string(100'000, 'x')).empty());
    // Gone before it was answered.
    { Client(soak.port()).say("GET /metr"); }
    CHECK(asked(soak.port(), good).starts_with("HTTP/1.1 200 "));
  }
  SECTION("two at once, the first of whom is in no hurry") {
    const Client slow(soak.port());
    slow.say("GET /metrics HT");
    const Client quick(soak.port());
    quick.say(good);
    CHECK(contains(quick.answer(), "hopbench_tries_total 5\n"));
    slow.say("TP/1.1\r\n\r\n");
    CHECK(contains(slow.answer(), "hopbench_tries_total 5\n"));
  }
  // Whatever was asked: it ends as it would have.
  CHECK(soak.end() == 4);
}

TEST_CASE("soak: a place where nobody can listen is told before anything is run") {
  const Folder folder;
  WatchedSoak taken;
  Process second({HOPBENCH_BINARY, "soak", std::string(HOPBENCH_SOURCE_DIR) + "/captures/ring16.txtpb", "--metrics",
                  "127.0.0.1:" + std::to_string(taken.port())});
  CHECK(second.wait() == 3);
  CHECK(second.out().empty());
  CHECK(contains(second.err(), "hopbench: --metrics 127.0.0.1:" + std::to_string(taken.port()) + ": "));
  CHECK(taken.end() == 4);
}

}  // namespace hopbench
