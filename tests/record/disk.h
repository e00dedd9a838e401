// A disk in memory that fails as it is told, can be held up, and remembers what a power cut would leave.
#pragma once

#include <algorithm>
#include <array>
#include <cerrno>
#include <condition_variable>
#include <cstdint>
#include <map>
#include <mutex>
#include <string>
#include <vector>

#include "record/file_ops.h"

namespace hopbench::sample {

enum class Call : std::uint8_t { open, write, sync, close, sync_directory, remove };
inline constexpr std::size_t call_count = 6;

class Disk final : public FileOps {
 public:
  struct File {
    std::vector<std::uint8_t> bytes;
    std::size_t synced = 0;     // bytes
    bool entry_synced = false;  // its name is in the directory on the disk
    bool removed = false;
    std::size_t reserved = 0;  // room kept up to this size
    bool operator==(const File&) const = default;
  };
  /// What is called, after it was done.
  struct Step {
    Call call;
    std::string path;
    std::size_t size;            // of the file, after it
    std::uint64_t acknowledged;  // as synced, before it
  };
  struct Fault {
    Call call = Call::write;
    int number = 0;  // of the call of that kind, from 1; 0: none
    int error = EIO;
    bool once = true;
  };

  std::map<std::string, File> files;
  std::vector<Step> steps;
  std::uint64_t acknowledged = 0;
  Fault fault;
  bool hit = false;                            // the fault has come
  std::size_t most_at_once = ~std::size_t{0};  // longer writes are cut short
  bool interrupts = false;                     // every other write returns EINTR
  std::size_t room = ~std::size_t{0};          // bytes in all files
  bool keeps_room = false;                     // if asked to
  std::array<int, call_count> calls{};
  bool called_after_error = false;  // a file was written or synced after a write or sync of it had failed

  int open_new(const std::string& path) override {
    const std::lock_guard lock(mutex_);
    if (const int error = failing(Call::open)) return -error;
    auto& file = files[path];
    if (!file.removed && !file.bytes.empty()) return -EEXIST;
    file = {};
    open_[++last_] = path;
    step(Call::open, path);
    return last_;
  }
  std::ptrdiff_t write(int number, std::span<const std::uint8_t> data) override {
    std::unique_lock lock(mutex_);
    ++at_gate_;
    changed_.notify_all();
    changed_.wait(lock, [&] { return !held_; });
    --at_gate_;
    if (interrupts && (interrupted_ = !interrupted_)) return -EINTR;
    called_after_error |= failed_[number];
    if (const int error = failing(Call::write)) return failed_[number] = true, -error;
    auto& bytes = files[open_[number]].bytes;
    const auto kept = std::max(bytes.size(), files[open_[number]].reserved) - bytes.size();
    const auto count = std::min({data.size(), most_at_once, kept + left()});
    if (count == 0) return failed_[number] = true, -ENOSPC;
    bytes.insert(bytes.end(), data.begin(), data.begin() + static_cast<std::ptrdiff_t>(count));
    step(Call::write, open_[number]);
    return static_cast<std::ptrdiff_t>(count);
  }
  int sync(int number) override {
    const std::lock_guard lock(mutex_);
    called_after_error |= failed_[number];
    if (const int error = failing(Call::sync)) return failed_[number] = true, -error;
    auto& file = files[open_[number]];
    file.synced = file.bytes.size();
    step(Call::sync, open_[number]);
    return 0;
  }
  int reserve(int number, std::uint64_t /*from*/, std::uint64_t to) override {
    const std::lock_guard lock(mutex_);
    if (!keeps_room) return -EOPNOTSUPP;
    auto& file = files[open_[number]];
    const auto held = std::max(file.bytes.size(), file.reserved);
    if (to > held && to - held > left()) return -ENOSPC;
    file.reserved = std::max<std::size_t>(file.reserved, to);
    return 0;
  }
  void give_back(int number) override {
    const std::lock_guard lock(mutex_);
    files[open_[number]].reserved = 0;
  }
  int close(int number) override {
    const std::lock_guard lock(mutex_);
    const std::string path = open_[number];
    open_.erase(number);
    if (const int error = failing(Call::close)) return -error;
    step(Call::close, path);
    return 0;
  }
  int sync_directory(const std::string& path) override {
    const std::lock_guard lock(mutex_);
    if (const int error = failing(Call::sync_directory)) return -error;
    for (auto& [name, file] : files) file.entry_synced = true;
    step(Call::sync_directory, path);
    return 0;
  }
  int remove(const std::string& path) override {
    const std::lock_guard lock(mutex_);
    if (const int error = failing(Call::remove)) return -error;
    files[path].removed = true;
    step(Call::remove, path);
    return 0;
  }
  PathUse path_use(const std::string& path) override {
    const std::lock_guard lock(mutex_);
    const auto found = files.find(path);
    return found == files.end() || found->second.removed || found->second.bytes.empty() ? PathUse::free : PathUse::used;
  }

  /// Writes wait until release().
  void hold() {
    const std::lock_guard lock(mutex_);
    held_ = true;
  }
  void release() {
    const std::lock_guard lock(mutex_);
    held_ = false;
    changed_.notify_all();
  }
  void wait_for_a_write() {
    std::unique_lock lock(mutex_);
    changed_.wait(lock, [&] { return at_gate_ > 0; });
  }
  [[nodiscard]] std::size_t left_open() const { return open_.size(); }

 private:
  [[nodiscard]] std::size_t left() const {
    std::size_t used = 0;
    for (const auto& [path, file] : files) used += file.removed ? 0 : std::max(file.bytes.size(), file.reserved);
    return room - std::min(room, used);
  }
  int failing(Call call) {
    const int number = ++calls[static_cast<std::size_t>(call)];
    if (fault.number == 0 || fault.call != call) return 0;
    if (fault.once ? number != fault.number : number < fault.number) return 0;
    hit = true;
    return fault.error;
  }
  void step(Call call, const std::string& path) {
    steps.push_back({call, path, files[path].bytes.size(), acknowledged});
  }

  std::mutex mutex_;
  std::condition_variable changed_;
  bool held_ = false;
  int at_gate_ = 0;
  bool interrupted_ = false;
  std::map<int, std::string> open_;
  std::map<int, bool> failed_;
  int last_ = 0;
};

}  // namespace hopbench::sample
