// Records on their way from the thread that makes them to the one that writes them.
#pragma once

#include <algorithm>
#include <cstdint>
#include <span>
#include <vector>

#include "base/time.h"
#include "record/frame_layout.h"

namespace hopbench {

/// Records that will not be in the file.
struct Lost {
  std::uint64_t records = 0;
  Nanos from = 0;
  Nanos to = 0;

  void add(const Lost& more) {
    if (more.records == 0) return;
    from = records == 0 ? more.from : std::min(from, more.from);
    to = records == 0 ? more.to : std::max(to, more.to);
    records += more.records;
  }
};

/// Payloads one after the other in one piece of memory, which is used again and again.
class Batch {
 public:
  struct Item {
    RecordKind kind = RecordKind::head;
    std::uint32_t size = 0;
    Nanos from = 0;  // span of what the record tells of
    Nanos to = 0;
    Nanos closed = 0;  // see BlockWriter::append
  };

  Lost lost_before;           // between the batch before and this one
  const char* why_lost = "";  // these; a literal

  void put(const Item& item, std::span<const std::uint8_t> payload) {
    items_.push_back(item);
    try {
      bytes_.insert(bytes_.end(), payload.begin(), payload.end());
    } catch (...) {
      items_.pop_back();  // or the payloads would no longer lie where the items say
      throw;
    }
  }
  [[nodiscard]] const std::vector<Item>& items() const { return items_; }
  [[nodiscard]] std::span<const std::uint8_t> bytes() const { return bytes_; }
  [[nodiscard]] bool empty() const { return items_.empty() && lost_before.records == 0; }
  /// Keeps the memory, unless one large record has made it larger than `keep`.
  void clear(std::size_t keep) {
    lost_before = {};
    why_lost = "";
    items_.clear();
    bytes_.clear();
    if (bytes_.capacity() > keep) std::vector<std::uint8_t>().swap(bytes_);
  }

 private:
  std::vector<std::uint8_t> bytes_;
  std::vector<Item> items_;
};

}  // namespace hopbench
