// The fuzz target's small corpus, replayed: what once was interesting stays harmless.
#include <filesystem>
#include <fstream>
#include <iterator>
#include <vector>

#include "record/capture_tools.h"
#include "support/catch.h"

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size);  // tools/fuzz/capture.cpp

namespace {

std::vector<std::uint8_t> file_bytes(const std::filesystem::path& path) {
  std::ifstream in(path, std::ios::binary);
  return {std::istreambuf_iterator<char>(in), std::istreambuf_iterator<char>()};
}

}  // namespace

TEST_CASE("the reader is harmless on every file of the corpus") {
  std::size_t files = 0;
  for (const auto& entry : std::filesystem::directory_iterator(HOPBENCH_SOURCE_DIR "/tests/record/corpus")) {
    INFO(entry.path());
    const auto bytes = file_bytes(entry.path());
    REQUIRE_FALSE(bytes.empty());
    CHECK(LLVMFuzzerTestOneInput(bytes.data(), bytes.size()) == 0);
    ++files;
  }
  CHECK(files >= 10);
}

TEST_CASE("records with any payload are harmless when their check values are good") {
  using namespace hopbench::sample;
  Dice dice(61);
  for (int i = 0; i < 300; ++i) {
    auto bytes = dice.bytes(2 + dice.below(400));
    bytes[0] = 1;
    static_cast<void>(LLVMFuzzerTestOneInput(bytes.data(), bytes.size()));
  }
  // Real payloads with a few bytes changed go further in.
  const auto run = wild_run(62, 20);
  hopbench::RecordEncoder encoder;
  for (const auto& event : run.events) {
    const auto* exchange = std::get_if<OwnedExchange>(&event);
    if (exchange == nullptr) continue;
    hopbench::ExchangeObs obs = exchange->fixed;
    obs.rows = exchange->rows;
    obs.attempts = exchange->attempts;
    const hopbench::ExchangeTruth truth{exchange->row_truth, exchange->attempt_truth, exchange->strikes};
    const auto payload = encoder.exchange(obs, &truth);
    for (int i = 0; i < 200; ++i) {
      std::vector<std::uint8_t> bytes{1, 4, static_cast<std::uint8_t>(payload.size()),
                                      static_cast<std::uint8_t>(payload.size() >> 8U)};
      bytes.insert(bytes.end(), payload.begin(), payload.end());
      for (int n = 0; n < 3; ++n) bytes[4 + dice.below(payload.size())] = static_cast<std::uint8_t>(dice.next());
      static_cast<void>(LLVMFuzzerTestOneInput(bytes.data(), bytes.size()));
    }
  }
}
