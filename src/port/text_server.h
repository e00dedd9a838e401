// A page of text for whoever collects figures over HTTP.
#pragma once

#include <cstdint>
#include <memory>
#include <string>

namespace hopbench {

/// "127.0.0.1:9300", "[::1]:9300". The port may be 0: any that is free. False if it is no such thing.
bool parse_endpoint(const std::string& text, std::string& address, std::uint16_t& port);

/// Answers GET (and HEAD) of /metrics and / with one text, from a thread of its own. Anything else is refused. At most
/// 16 clients at once, each for 5 s and 4 KiB of request: nothing that a client does costs more.
class TextServer {
 public:
  /// Throws std::system_error if it cannot listen there.
  TextServer(const std::string& address, std::uint16_t port, std::string content_type);
  ~TextServer();
  TextServer(const TextServer&) = delete;
  TextServer& operator=(const TextServer&) = delete;

  /// What is answered from now on. From any thread.
  void show(std::string text);
  [[nodiscard]] std::uint16_t port() const;

 private:
  struct Parts;
  std::unique_ptr<Parts> parts_;
};

}  // namespace hopbench
