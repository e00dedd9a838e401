// A capture in several files, made in memory.
#pragma once

#include <map>
#include <memory>
#include <utility>
#include <vector>

#include "record/block_writer.h"
#include "record/capture_tools.h"
#include "record/crc32c.h"
#include "record/segments.h"
#include "support/catch.h"

namespace hopbench::sample {

using Bytes = std::vector<std::uint8_t>;

/// A capture in several files, made by hand from records of one in a single file: `starts` are the numbers of the
/// records with which the second and later files begin. `left`: as after failures, so that each of them says first that
/// something went wrong; the one before is cut by whoever asks for it.
class Files {
 public:
  Files(const Bytes& whole, const std::vector<std::uint64_t>& starts, bool left = false) {
    CaptureReader reader(std::make_unique<MemorySource>(whole));
    BlockReader::Raw raw;
    RecordDecoder decoder;
    RecordEncoder encoder;
    Record record;
    MemoryFile file;
    auto writer = std::make_unique<BlockWriter>(file, "", 0x1122334455667788);
    CaptureHead head;
    Bytes build;
    std::size_t next = 0;
    Nanos floor = 0;
    const auto finish = [&] {
      writer.reset();
      files.push_back(file.bytes);
      file.bytes.clear();
    };
    while (reader.next_raw(raw)) {
      if (next < starts.size() && raw.number == starts[next]) {
        ++next;
        writer->append(RecordKind::end, encoder.end({floor, {}, writer->records(), writer->crc_of_crcs(), true}), 0);
        finish();
        const auto number = static_cast<std::uint32_t>(files.size());
        writer = std::make_unique<BlockWriter>(file, "", 0x1122334455667788, number, floor);
        head.segment = number;
        writer->append(RecordKind::head, encoder.head(head), 0);
        writer->append(RecordKind::build, build, 0);
        if (left) writer->append(RecordKind::dropped, encoder.dropped({floor, floor, 0, "a write failed"}), 0);
      }
      REQUIRE(decoder.decode(raw.kind, raw.payload, record) == RecordDecoder::Result::good);
      if (record.kind == RecordKind::head) head = record.head;
      if (record.kind == RecordKind::build) build.assign(raw.payload.begin(), raw.payload.end());
      const auto time = time_of(record);
      if (time) floor = std::max(floor, *time);
      if (record.kind == RecordKind::end) {
        record.end.records = writer->records();
        record.end.crc_of_crcs = writer->crc_of_crcs();
        writer->append(RecordKind::end, encoder.end(record.end), 0);
      } else {
        writer->append(static_cast<RecordKind>(raw.kind), raw.payload, time.value_or(0));
      }
    }
    finish();
  }

  std::vector<Bytes> files;
};

/// As if the file had been given another number; with good check values.
inline void set_number(Bytes& file, std::uint32_t number) {
  for (std::size_t at = 0; at + block_header_bytes <= file.size(); at += block_bytes) {
    const auto header = std::span(file).subspan(at, block_header_bytes);
    for (unsigned i = 0; i < 4; ++i) header[16 + i] = static_cast<std::uint8_t>(number >> (8 * i));
    const auto crc = Crc32c().feed(header.first(40)).value();
    for (unsigned i = 0; i < 4; ++i) header[40 + i] = static_cast<std::uint8_t>(crc >> (8 * i));
  }
}

/// Segments in memory.
class MemorySegments final : public Segments {
 public:
  explicit MemorySegments(const std::map<std::uint32_t, Bytes>& files) : files_(files) {}
  std::unique_ptr<ByteSource> open(std::uint32_t segment) override {
    const auto at = files_.find(segment);
    return at == files_.end() ? nullptr : std::make_unique<MemorySource>(at->second);
  }
  std::vector<std::uint32_t> further() override {
    std::vector<std::uint32_t> numbers;
    for (const auto& [number, bytes] : files_) {
      if (number > 0) numbers.push_back(number);
    }
    return numbers;
  }

 private:
  const std::map<std::uint32_t, Bytes>& files_;
};

inline std::map<std::uint32_t, Bytes> numbered(const std::vector<Bytes>& files) {
  std::map<std::uint32_t, Bytes> result;
  for (const auto& file : files) result.emplace(static_cast<std::uint32_t>(result.size()), file);
  return result;
}

}  // namespace hopbench::sample
