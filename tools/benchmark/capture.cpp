#include "capture.h"

#include <fmt/format.h>

#include <cstdio>
#include <filesystem>
#include <string>
#include <vector>

#include "capture.pb.h"
#include "measure/causes.h"
#include "measure/fan_out.h"
#include "measure/measures.h"
#include "record/block_reader.h"
#include "record/capture_writer.h"
#include "record/truth.h"
#include "seen/ignoring_sink.h"
#include "workloads.h"

namespace hopbench {
namespace {

constexpr std::uint64_t exchanges = 300'000;

/// A disk without end that keeps nothing.
class Nowhere final : public FileOps {
 public:
  explicit Nowhere(FileOps& real) : real_(real) {}
  int open_new(const std::string& path) override { return real_.open_new(path); }
  std::ptrdiff_t write(int, std::span<const std::uint8_t> bytes) override {
    return static_cast<std::ptrdiff_t>(bytes.size());
  }
  int sync(int) override { return 0; }
  int close(int file) override { return real_.close(file); }

 private:
  FileOps& real_;
};

/// Exchanges with storage of their own, to be told again and again.
struct Kept final : IgnoringSink {
  std::vector<ExchangeRecord> records;
  RunInfo run;
  void begin(const RunInfo& info) override { run = info; }
  void exchange(const ExchangeObs& obs, const ExchangeTruth*) override {
    ExchangeRecord record;
    record.fixed = obs;
    record.attempts.assign(obs.attempts.begin(), obs.attempts.end());
    record.rows.assign(obs.rows.begin(), obs.rows.end());
    record.asked.assign(obs.asked.begin(), obs.asked.end());
    record.answered.assign(obs.answered.begin(), obs.answered.end());
    records.push_back(std::move(record));
  }
};

double rate(double bytes, double seconds) { return bytes / seconds / 1e6; }

}  // namespace

void bench_capture() {
  const Scenario ring16 = captured_scenario("ring16");
  const std::string folder = std::filesystem::temp_directory_path() / "hopbench-benchmark";
  std::filesystem::remove_all(folder);
  std::filesystem::create_directories(folder);
  const std::string path = folder + "/all.hbcap";
  const CaptureOrigin origin{1, ring16.scenario_text, ring16.bus_text, {}};

  {
    CaptureWriter writer(system_file_ops(), path, origin, unhurried_plan(monotonic_now));
    run_scenario(ring16, Way::repeats, exchanges, writer);
  }
  const auto file_bytes = static_cast<double>(std::filesystem::file_size(path));

  // What Protobuf alone takes, for the payloads of the same records.
  std::vector<std::string> payloads;
  {
    std::string why;
    BlockReader blocks(open_file(path, why));
    BlockReader::Raw raw;
    while (blocks.next(raw)) {
      const auto kind = static_cast<RecordKind>(raw.kind);
      if (kind != RecordKind::clean_exchange && kind != RecordKind::touched_exchange) continue;
      payloads.emplace_back(reinterpret_cast<const char*>(raw.payload.data()), raw.payload.size());
    }
  }
  double payload_bytes = 0;
  for (const std::string& payload : payloads) payload_bytes += static_cast<double>(payload.size());
  capture::Exchange message;
  const double parse = least_seconds(5, [&] {
    for (const std::string& payload : payloads) {
      if (!message.ParseFromString(payload)) std::abort();
    }
  });
  std::vector<capture::Exchange> messages(20'000);
  double message_bytes = 0;
  for (std::size_t i = 0; i < messages.size(); ++i) {
    if (!messages[i].ParseFromString(payloads[i])) std::abort();
    message_bytes += static_cast<double>(payloads[i].size());
  }
  std::string out;
  const double serialise = least_seconds(15, [&] {
    for (const capture::Exchange& each : messages) {
      if (!each.SerializeToString(&out)) std::abort();
    }
  });
  // As any program has to that writes by Protobuf: values into a message, the message into bytes.
  const double fill = least_seconds(15, [&] {
    for (const capture::Exchange& each : messages) {
      message.Clear();
      message.set_number(each.number());
      message.set_entry(each.entry());
      message.set_turn(each.turn());
      message.set_node_plus_1(each.node_plus_1());
      message.set_start_ns(each.start_ns());
      message.set_decided_after_ns(each.decided_after_ns());
      message.set_closed_after_ns(each.closed_after_ns());
      if (each.has_round_trip_ns()) message.set_round_trip_ns(each.round_trip_ns());
      if (each.has_since_last_ns()) message.set_since_last_ns(each.since_last_ns());
      message.set_outcome(each.outcome());
      for (const capture::Attempt& from : each.attempt()) {
        capture::Attempt& to = *message.add_attempt();
        to.set_after_ns(from.after_ns());
        to.set_ask_took_ns(from.ask_took_ns());
        to.set_outcome(from.outcome());
      }
      message.set_rows(each.rows());
      message.set_asked(each.asked());
      message.set_answered(each.answered());
      if (each.has_truth()) message.set_truth(each.truth());
      if (!message.SerializeToString(&out)) std::abort();
    }
  });

  // Ours: records made, checked, put into blocks, handed to the system.
  Kept kept;
  run_scenario(ring16, Way::repeats, messages.size(), kept);
  const auto write_all = [&](FileOps& ops, const std::string& to) {
    CaptureWriter writer(ops, to, origin, unhurried_plan(monotonic_now));
    writer.begin(kept.run);
    std::vector<AttemptTruth> none(1);
    const ExchangeTruth truth{{}, none};
    for (const ExchangeRecord& record : kept.records) {
      const ExchangeObs seen = record.seen();
      writer.exchange(seen, &truth);
    }
    writer.end(0, {});
  };
  Nowhere nowhere(system_file_ops());
  int number = 0;
  const double write_wall =
      least_wall_seconds(15, [&] { write_all(nowhere, folder + "/w" + std::to_string(number++)); });
  const double write = least_seconds(15, [&] { write_all(nowhere, folder + "/n" + std::to_string(number++)); });
  const double write_file =
      least_seconds(5, [&] { write_all(system_file_ops(), folder + "/f" + std::to_string(number++)); });

  const double read = least_seconds(5, [&] {
    std::string why;
    CaptureReader reader(open_file(path, why));
    MeasureFold fold;
    CauseFold causes;
    FanOut all{&fold, &causes};
    replay(reader, all);
    if (fold.measures().all.asked != exchanges) std::abort();
  });

  fmt::print("captures of ring16, every exchange: {:.1f} bytes each in the file, {:.1f} of them Protobuf's\n",
             file_bytes / exchanges, payload_bytes / exchanges);
  const double own_write = rate(message_bytes, fill);
  const double own_read = rate(payload_bytes, parse);
  fmt::print("  Protobuf fills and writes them at {:7.1f} MB/s (writes what is filled already at {:.1f})\n", own_write,
             rate(message_bytes, serialise));
  fmt::print("  hopbench records exchanges at     {:7.1f} MB/s, {:.2f} of it ({:.0f} ns an exchange), on two threads\n",
             rate(message_bytes, write_wall), rate(message_bytes, write_wall) / own_write,
             1e9 * write_wall / static_cast<double>(kept.records.size()));
  fmt::print("    both threads' time together     {:7.1f} MB/s, {:.2f} of it; to a file {:.2f}\n",
             rate(message_bytes, write), rate(message_bytes, write) / own_write,
             rate(message_bytes, write_file) / own_write);
  fmt::print("  Protobuf parses the messages at   {:7.1f} MB/s\n", own_read);
  fmt::print("  hopbench reads and measures at    {:7.1f} MB/s, {:.2f} of it ({:.0f} ns an exchange)\n\n",
             rate(payload_bytes, read), rate(payload_bytes, read) / own_read, 1e9 * read / exchanges);
  std::filesystem::remove_all(folder);
}

}  // namespace hopbench
