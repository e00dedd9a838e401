// Fuzz target: the capture reader on any bytes. The first byte chooses how deep the rest goes in: a whole file; the
// records of a file, with good check values put round them; or the columns of rows alone.
#include <cstdint>
#include <cstdlib>
#include <memory>
#include <string_view>
#include <vector>

#include "record/block_writer.h"
#include "record/row_columns.h"
#include "record/truth.h"
#include "seen/whole_sink.h"

namespace {

using namespace hopbench;

/// Looks at all that it is told, so that a wrong span does not go unnoticed.
class Reads final : public WholeSink {
 public:
  std::uint64_t sum = 0;

  void begin(const RunInfo& run) override { sum += run.scenario.size() + run.links.size(); }
  void exchange(const ExchangeObs& obs, const ExchangeTruth* truth) override {
    for (const auto& row : obs.rows) sum += row.link;
    for (const auto byte : obs.answered) sum += byte;
    if (truth == nullptr) return;
    if (truth->attempts.size() != obs.attempts.size()) std::abort();
    for (const auto& row : truth->rows) sum += obs.rows[row.row].chars;
  }
  void stray(const Stray& stray) override {
    for (const auto byte : stray.heard) sum += byte;
  }
  void arrival(const Arrival& arrival) override {
    for (const auto byte : arrival.bytes) sum += byte;
  }
  void end(Nanos until, const Lateness&) override { sum += static_cast<std::uint64_t>(until); }
  void tally(const Tally& tally) override {
    for (const auto byte : tally.measures) sum += byte;
  }
  void state(const State& state) override {
    for (const auto& node : state.nodes) sum += node.flags;
  }
  void gap(const Gap& gap) override { sum += gap.why.size(); }
  void dropped(const Dropped& dropped) override { sum += dropped.why.size(); }
  void command(const Remark& command) override { sum += command.text.size(); }
  void note(const Remark& note) override { sum += note.text.size(); }
};

void read(const std::vector<std::uint8_t>& file) {
  CaptureReader reader(std::make_unique<MemorySource>(file));
  Reads reads;
  replay(reader, reads);
  if (reader.damage().torn_bytes > file.size()) std::abort();
  if (reader.damage().bytes_skipped > 2 * file.size()) std::abort();
  // A search, whatever the headers say, ends as well.
  for (const Nanos time : {Nanos{0}, Nanos{5'000'000'000}, Nanos{1} << 62U}) {
    reader.seek(time);
    replay(reader, reads);
  }
}

class InMemory final : public FileOps {
 public:
  std::vector<std::uint8_t> bytes;
  int open_new(const std::string&) override { return 0; }
  std::ptrdiff_t write(int, std::span<const std::uint8_t> data) override {
    bytes.insert(bytes.end(), data.begin(), data.end());
    return static_cast<std::ptrdiff_t>(data.size());
  }
  int sync(int) override { return 0; }
  int close(int) override { return 0; }
};

/// Records of the form kind, two bytes of length, payload.
void read_records(std::span<const std::uint8_t> data) {
  InMemory file;
  {
    BlockWriter writer(file, "", 1);
    while (data.size() >= 3) {
      const std::size_t size = std::min<std::size_t>(data[1] + 256U * data[2], data.size() - 3);
      writer.append(static_cast<RecordKind>(data[0] & 0x0fU), data.subspan(3, size), 0);
      data = data.subspan(3 + size);
    }
  }
  read(file.bytes);
}

void read_rows(std::span<const std::uint8_t> data) {
  std::vector<HopRow> rows;
  const std::string_view columns(reinterpret_cast<const char*>(data.data()), data.size());
  if (!decode_rows(columns, 1000, rows)) return;
  // What can be read can be written again, and reads the same.
  std::string again;
  encode_rows(rows, 1000, again);
  std::vector<HopRow> back;
  if (!decode_rows(again, 1000, back) || back != rows) std::abort();
}

}  // namespace

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
  if (size == 0) return 0;
  const std::span<const std::uint8_t> rest(data + 1, size - 1);
  switch (data[0] % 3) {
    case 0:
      read({rest.begin(), rest.end()});
      break;
    case 1:
      read_records(rest);
      break;
    default:
      read_rows(rest);
      break;
  }
  return 0;
}
