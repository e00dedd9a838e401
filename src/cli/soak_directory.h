// The folder in which a soak test keeps what it needs to go on: the scenario, its state, captures of what went wrong,
// and its verdict (docs/soak.md).
#pragma once

#include <cstdint>
#include <map>
#include <optional>
#include <span>
#include <string>
#include <vector>

#include "text/scenario.h"

namespace hopbench {

class SoakDirectory {
 public:
  /// Makes the folder, or takes an empty one, and puts the scenario into it. None, and one line on the standard error,
  /// if it holds something or cannot be made.
  static std::optional<SoakDirectory> make(const std::string& path, const Scenario& scenario);
  /// One that is there.
  static std::optional<SoakDirectory> open(const std::string& path);
  SoakDirectory(SoakDirectory&& other) noexcept;
  SoakDirectory& operator=(SoakDirectory&& other) = delete;
  SoakDirectory(const SoakDirectory&) = delete;
  ~SoakDirectory();

  /// As it was put there; what is wrong with it goes to the standard error.
  [[nodiscard]] std::optional<Scenario> scenario() const;
  /// Empty, with `why`, if it cannot be read.
  [[nodiscard]] std::vector<std::uint8_t> state(std::string& why) const;
  /// 0 or an errno. The old state stands until the new one is on the disk.
  [[nodiscard]] int save(std::span<const std::uint8_t> state) const;
  /// The verdict as text and as JSON. 0 or an errno.
  [[nodiscard]] int save_verdict(const std::string& text, const std::string& json) const;

  [[nodiscard]] const std::string& path() const { return path_; }
  [[nodiscard]] std::string detail(std::uint32_t number) const;
  /// Bytes of each detail capture that is there, all its files together.
  [[nodiscard]] std::map<std::uint32_t, std::uint64_t> details() const;
  /// All its files.
  void remove_detail(std::uint32_t number) const;
  /// Takes away all that a soak that did not begin has put there, and the folder, if nothing else is in it.
  void discard() const;

 private:
  SoakDirectory(std::string path, int lock) : path_(std::move(path)), lock_(lock) {}
  std::string path_;
  int lock_;
};

}  // namespace hopbench
