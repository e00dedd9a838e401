// Tells another program, line by line, how far a capture has got.
#pragma once

#include <cstdint>
#include <string>

#include "record/write_plan.h"

namespace hopbench {

/// Writes "written N" and "synced N" to a descriptor, numbers as in Acknowledge. Never waits for whoever reads: what
/// finds no room is left out, and the next line, or finish(), tells the newest number. A reader that went away is no
/// error. The descriptor stays the caller's, and is not changed: others may have it too.
class AckLines final : public Acknowledge {
 public:
  explicit AckLines(int fd) : fd_(fd) {}
  /// 0, or the errno that tells why lines cannot be written to `fd`.
  [[nodiscard]] static int trouble_with(int fd);

  void written(std::uint64_t records) override;
  void synced(std::uint64_t records) override;
  /// Tries once more what found no room.
  void finish() { tell(); }

 private:
  void tell();
  /// False: no room for more.
  bool send_rest();

  int fd_;
  bool gone_ = false;
  std::string rest_;  // of a line that was begun
  std::uint64_t written_ = 0;
  std::uint64_t synced_ = 0;
  std::uint64_t written_told_ = 0;
  std::uint64_t synced_told_ = 0;
};

}  // namespace hopbench
