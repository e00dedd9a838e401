// A pseudo-terminal as the port of a controller that is a program on this computer.
#pragma once

#include <memory>
#include <string>
#include <variant>

#include "bus/description.h"
#include "port/byte_port.h"
#include "port/file_descriptor.h"

namespace hopbench {

/// A pty with a link to its client side. The client side is raw from the start (a fresh one echoes, and an echo looks
/// like an answer) and held open by us, so that a client may come and go without the port going away.
/// Bytes that no client fetches pile up until the kernel's buffer is full; then the oldest are thrown away.
class PtyPort final : public BytePort {
 public:
  /// Makes the pty, and `link` to its client side. Only a link left behind by an earlier run is replaced: one that
  /// leads to a /dev/pts/ that is gone. `line` is what the client is expected to set.
  static std::variant<std::unique_ptr<PtyPort>, PortError> open(const std::string& link, const LineCoding& line);
  /// Takes the link away again, if it is still ours.
  ~PtyPort() override;
  PtyPort(const PtyPort&) = delete;
  PtyPort& operator=(const PtyPort&) = delete;

  [[nodiscard]] int descriptor() const override { return master_.get(); }
  [[nodiscard]] bool paced() const override { return false; }
  [[nodiscard]] bool read(Intake& intake) override;
  [[nodiscard]] std::ptrdiff_t write(std::span<const std::uint8_t> bytes) override;
  [[nodiscard]] std::uint64_t dropped() const override { return dropped_; }
  /// Tells once if the client has set another baud rate than the bus has.
  [[nodiscard]] std::string take_note() override;

  /// Path of the client side, e.g. /dev/pts/3.
  [[nodiscard]] const std::string& client_path() const { return client_path_; }

 private:
  PtyPort() = default;
  bool drop_oldest(std::size_t bytes);

  FileDescriptor master_;
  FileDescriptor client_;
  std::string client_path_;
  std::string link_;  // "" until it has been made
  LineCoding line_;
  std::uint64_t dropped_ = 0;
  bool noted_ = false;
};

}  // namespace hopbench
