#include "port/text_server.h"

#include <arpa/inet.h>
#include <netinet/in.h>
#include <sys/socket.h>
#include <unistd.h>

#include <array>
#include <string>
#include <system_error>

#include "port/fixtures.h"
#include "support/catch.h"

namespace hopbench {
namespace {

/// Sends a request and reads until the other side closes.
std::string ask(std::uint16_t port, const std::string& request) {
  const int client = ::socket(AF_INET, SOCK_STREAM | SOCK_CLOEXEC, 0);
  sockaddr_in to{};
  to.sin_family = AF_INET;
  to.sin_port = htons(port);
  to.sin_addr.s_addr = htonl(INADDR_LOOPBACK);
  REQUIRE(::connect(client, reinterpret_cast<const sockaddr*>(&to), sizeof to) == 0);
  // It may have been refused before all of it was taken.
  (void)(::send(client, request.data(), request.size(), MSG_NOSIGNAL) < 0);
  std::string answer;
  std::array<char, 4096> some;
  for (ssize_t size = 0; (size = ::read(client, some.data(), some.size())) > 0;) {
    answer.append(some.data(), static_cast<std::size_t>(size));
  }
  ::close(client);
  return answer;
}

}  // namespace

TEST_CASE("text server: answers with the text of the moment, and refuses anything else") {
  TextServer server("127.0.0.1", 0, "text/plain; version=0.0.4");
  server.show("a 1\n");
  const auto first = ask(server.port(), "GET /metrics HTTP/1.1\r\nHost: x\r\n\r\n");
  CHECK(first ==
        "HTTP/1.1 200 OK\r\nContent-Type: text/plain; version=0.0.4\r\nContent-Length: 4\r\nConnection: close\r\n\r\na "
        "1\n");
  server.show("a 22\n");
  CHECK(ask(server.port(), "GET / HTTP/1.0\r\n\r\n").ends_with("\r\n\r\na 22\n"));
  CHECK(
      ask(server.port(), "HEAD /metrics HTTP/1.1\r\n\r\n").ends_with("Content-Length: 5\r\nConnection: close\r\n\r\n"));
  CHECK(ask(server.port(), "POST /metrics HTTP/1.1\r\n\r\n").starts_with("HTTP/1.1 405 "));
  CHECK(ask(server.port(), "GET /etc/passwd HTTP/1.1\r\n\r\n").starts_with("HTTP/1.1 404 "));
  CHECK(ask(server.port(), "\r\n\r\n").starts_with("HTTP/1.1 405 "));
  // More than a request has: closed without an answer.
  CHECK(ask(server.port(), std::string(10'000, 'x')).empty());
  CHECK(ask(server.port(), "GET / HTTP/1.0\r\n\r\n").ends_with("a 22\n"));
}

TEST_CASE("text server: a port that is taken, an address that is none of ours") {
  const TextServer server("127.0.0.1", 0, "text/plain");
  CHECK_THROWS_AS(TextServer("127.0.0.1", server.port(), "text/plain"), std::system_error);
  CHECK_THROWS_AS(TextServer("203.0.113.1", 0, "text/plain"), std::system_error);
}

TEST_CASE("text server: where to listen") {
  std::string address;
  std::uint16_t port = 0;
  CHECK(parse_endpoint("127.0.0.1:9300", address, port));
  CHECK(address == "127.0.0.1");
  CHECK(port == 9300);
  CHECK(parse_endpoint("[::1]:1", address, port));
  CHECK(address == "::1");
  for (const char* wrong :
       {"", "9300", ":9300", "127.0.0.1:", "127.0.0.1:70000", "127.0.0.1:x", "localhost:1", "1.2.3:4"}) {
    CAPTURE(wrong);
    CHECK_FALSE(parse_endpoint(wrong, address, port));
  }
}

}  // namespace hopbench
