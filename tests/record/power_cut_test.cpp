// What a power cut may leave of a capture: of each file all that was synced, and of the rest a beginning of any length,
// whole sectors of which the last may hold anything; and no file at all if its directory was not synced.
#include <atomic>

#include "record/written.h"
#include "support/catch.h"

using namespace hopbench;
using namespace hopbench::sample;

namespace {

constexpr std::size_t sector = 512;

/// Records of the run that can be read, of a file that was cut to a length. Fails the test if any is wrong.
class Cuts {
 public:
  Cuts(const std::vector<std::uint8_t>& whole, std::uint32_t segment)
      : whole_(whole), segment_(segment), told_(read_segment(whole, segment).told) {}

  [[nodiscard]] std::size_t readable(const std::vector<std::uint8_t>& bytes) const {
    const auto read = read_segment(bytes, segment_);
    REQUIRE(read.told.size() <= told_.size());
    REQUIRE(std::equal(read.told.begin(), read.told.end(), told_.begin()));
    return own(read.told);
  }

  /// The fewest over all ends that a cut may leave, if `synced` bytes are safe and `size` were written.
  [[nodiscard]] std::size_t fewest(std::size_t synced, std::size_t size) {
    std::size_t fewest = ~std::size_t{0};
    for (std::size_t length = synced; length <= size; ++length) fewest = std::min(fewest, cut_to(length));
    return fewest;
  }

  /// A sector that was being written holds zeros or anything; what was synced before stays.
  void torn_at(std::size_t length, std::size_t synced, Dice& dice) const {
    const std::size_t from = std::max(synced, length / sector * sector);
    for (const bool zeros : {true, false}) {
      auto bytes = whole_;
      bytes.resize(std::max(length, from));
      for (std::size_t i = from; i < bytes.size(); ++i) bytes[i] = zeros ? 0 : static_cast<std::uint8_t>(dice.next());
      // The length may be on the disk before the bytes are.
      if (zeros) bytes.resize(std::min(whole_.size(), length + dice.below(3 * sector)));
      REQUIRE(readable(bytes) >= cut_at_most(synced));
    }
  }

 private:
  /// Heads of later files stand for none of the run's records.
  [[nodiscard]] std::size_t own(const std::vector<Payload>& payloads) const {
    if (segment_ == 0) return payloads.size();
    return payloads.size() - std::min<std::size_t>(2, payloads.size());
  }
  std::size_t cut_to(std::size_t length) {
    if (lengths_.size() <= length) lengths_.resize(length + 1, ~std::size_t{0});
    if (lengths_[length] == ~std::size_t{0}) {
      lengths_[length] = readable({whole_.begin(), whole_.begin() + static_cast<std::ptrdiff_t>(length)});
    }
    return lengths_[length];
  }
  [[nodiscard]] std::size_t cut_at_most(std::size_t length) const {
    return readable({whole_.begin(), whole_.begin() + static_cast<std::ptrdiff_t>(length)});
  }

  const std::vector<std::uint8_t>& whole_;
  std::uint32_t segment_;
  std::vector<Payload> told_;
  std::vector<std::size_t> lengths_;
};

}  // namespace

TEST_CASE("whenever the power is cut, everything synced is there and nothing wrong is given") {
  const auto run = wild_run(70, 60);
  Disk disk;
  Acknowledged acknowledged;
  acknowledged.disk = &disk;
  std::atomic<Nanos> now{0};
  auto plan = real_time_plan([&now] { return now.load(); });
  plan.rotate_bytes = 1;  // files of twice their head
  plan.acknowledge = &acknowledged;
  {
    CaptureWriter writer(disk, "a.hbcap", origin(), plan);
    writer.begin(run.info);
    for (std::size_t i = 0; i < run.events.size(); ++i) {
      run.tell_event(i, writer);
      if (i % 3 != 0) continue;
      now += plan.hand_over_every;
      if (i % 9 == 0) now += plan.sync_every;
      writer.drain();
    }
    writer.end(run.until, run.lateness);
    REQUIRE(writer.error() == 0);
  }
  REQUIRE(disk.files.size() >= 3);
  REQUIRE(disk.acknowledged == run.events.size() + 3);

  std::map<std::string, Cuts> cuts;
  for (std::uint32_t segment = 0; segment < disk.files.size(); ++segment) {
    const auto path = segment_path("a.hbcap", segment);
    cuts.emplace(path, Cuts(disk.files.at(path).bytes, segment));
  }
  struct OnDisk {
    std::size_t size = 0;
    std::size_t synced = 0;
    bool found = false;  // its name is on the disk
    bool operator==(const OnDisk&) const = default;
  };
  std::map<std::string, OnDisk> at;
  const auto surely_there = [&] {
    std::size_t records = 0;
    for (const auto& [path, file] : at) {
      if (file.found) records += cuts.at(path).fewest(file.synced, file.size);
    }
    return records;
  };
  std::uint64_t most = 0;
  // The power goes just before each call, and, within a write, after each byte: those are among the ends that
  // fewest() goes through.
  for (const auto& done : disk.steps) {
    REQUIRE(surely_there() >= done.acknowledged);
    most = std::max(most, done.acknowledged);
    auto& file = at[done.path];
    file.size = done.size;
    if (done.call == Call::sync) file.synced = done.size;
    if (done.call == Call::sync_directory) {
      for (auto& [path, other] : at) other.found = true;
    }
  }
  REQUIRE(surely_there() == disk.acknowledged);
  REQUIRE(most > 20);

  Dice dice(71);
  std::map<std::string, std::size_t> synced;
  std::map<std::string, std::size_t> size;
  for (const auto& done : disk.steps) {
    if (done.call == Call::sync) synced[done.path] = done.size;
    if (done.call != Call::write) continue;
    for (std::size_t length = size[done.path]; length <= done.size; length += 1 + dice.below(23)) {
      cuts.at(done.path).torn_at(length, synced[done.path], dice);
    }
    size[done.path] = done.size;
  }
}
