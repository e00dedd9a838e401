// A Unix socket as the port of a controller that is a program on this computer and needs no terminal line.
#pragma once

#include <memory>
#include <string>
#include <variant>

#include "port/byte_port.h"
#include "port/file_descriptor.h"
#include "port/unix_listener.h"
#include "port/wait_set.h"

namespace hopbench {

/// A stream socket at a path, for one client at a time: the next one to connect is served when the first has gone. The
/// kernel moves the bytes while the sender sends, so the port adds nothing of its own. A client that ends its sending
/// side is answered until it closes. Bytes that a client does not fetch pile up in the kernel; write() then takes none.
class SocketPort final : public BytePort {
 public:
  /// Makes the socket file, for its owner only. A socket file with nobody behind it is replaced, nothing else.
  static std::variant<std::unique_ptr<SocketPort>, PortError> open(const std::string& path);
  ~SocketPort() override = default;
  SocketPort(const SocketPort&) = delete;
  SocketPort& operator=(const SocketPort&) = delete;

  [[nodiscard]] int descriptor() const override { return waits_.descriptor(); }
  void watch(bool input, bool room) override;
  [[nodiscard]] bool paced() const override { return false; }
  [[nodiscard]] bool somebody_there() const override { return client_.valid(); }
  [[nodiscard]] bool read(PortRead& intake, std::size_t most) override;
  [[nodiscard]] std::ptrdiff_t write(std::span<const std::uint8_t> bytes) override;
  [[nodiscard]] PortLosses losses() const override { return {}; }
  /// Tells once that a second client waits.
  [[nodiscard]] std::string take_note() override;

 private:
  SocketPort() = default;
  void take_client();
  void let_client_go();

  std::unique_ptr<UnixListener> listener_;
  FileDescriptor client_;
  WaitSet waits_;
  bool input_ = true;  // as watch() was told
  bool room_ = false;
  bool input_over_ = false;  // the client sends no more
  bool told_second_ = false;
};

}  // namespace hopbench
