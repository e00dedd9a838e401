// A pseudo-terminal as the port of a controller that is a program on this computer.
#pragma once

#include <chrono>
#include <memory>
#include <string>
#include <variant>

#include "bus/description.h"
#include "port/byte_port.h"
#include "port/file_descriptor.h"
#include "port/wait_set.h"

namespace hopbench {

/// A pty with a link to its client side, which is raw from the start (a fresh one echoes, and an echo looks like an
/// answer). Clients may come and go; the port stays. We do not hold the client side ourselves, so that the system tells
/// whether anybody does. Bytes that a client does not fetch pile up until the kernel's buffer is full; then the oldest
/// are thrown away. What a client has not fetched when it goes is thrown away, so that the next one does not find it.
class PtyPort final : public BytePort {
 public:
  /// Makes the pty, and `link` to its client side. Only a link left behind by an earlier run is replaced: one that
  /// leads to a /dev/pts/ that is gone. `line` is what the client is expected to set. Takes a tenth of a second, in
  /// which the pty's own delay is measured.
  static std::variant<std::unique_ptr<PtyPort>, PortError> open(const std::string& link, const LineCoding& line);
  /// Takes the link away again, if it is still ours.
  ~PtyPort() override;
  PtyPort(const PtyPort&) = delete;
  PtyPort& operator=(const PtyPort&) = delete;

  [[nodiscard]] int descriptor() const override { return waits_.descriptor(); }
  void watch(bool input, bool room) override;
  [[nodiscard]] bool paced() const override { return false; }
  [[nodiscard]] bool somebody_there() const override;
  [[nodiscard]] bool read(PortRead& intake, std::size_t most) override;
  [[nodiscard]] std::ptrdiff_t write(std::span<const std::uint8_t> bytes) override;
  [[nodiscard]] PortLosses losses() const override { return losses_; }
  [[nodiscard]] PortDelay delay() const override { return delay_; }
  /// A client that has just come or set the port up may set it up again within microseconds; see swallow_parity().
  [[nodiscard]] bool restless() const override { return std::chrono::steady_clock::now() < restless_until_; }
  /// Tells once if the client has set another baud rate than the bus has, and once that a pty has no parity.
  [[nodiscard]] std::string take_note() override;

  /// Path of the client side, e.g. /dev/pts/3.
  [[nodiscard]] const std::string& client_path() const { return client_path_; }

 private:
  explicit PtyPort(LineCoding line) : line_(line) {}
  [[nodiscard]] short state() const;
  void wait_on_master(short now);
  [[nodiscard]] FileDescriptor open_client_side() const;
  bool see_comings();
  void swallow_parity();
  void stay_restless();
  void throw_away_unread();
  bool drop_oldest();

  FileDescriptor master_;
  FileDescriptor comings_;  // inotify on the client side
  WaitSet waits_;
  std::string client_path_;
  std::string link_;  // "" until it has been made
  LineCoding line_;
  PortLosses losses_;
  PortDelay delay_;
  bool there_ = false;  // somebody was, at the last read()
  bool input_ = true;   // as watch() was told
  bool room_ = false;
  bool heard_ = false;   // bytes have come in since the last note
  bool seen_ = false;    // a set-up, at the last read()
  bool set_up_ = false;  // a client has set the port up
  bool told_speed_ = false;
  bool told_parity_ = false;
  std::chrono::steady_clock::time_point restless_until_{};
};

}  // namespace hopbench
