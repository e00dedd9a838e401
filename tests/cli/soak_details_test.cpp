// The captures of a soak test: how much room they take, and what is told of those that went.
#include "cli/soak_details.h"

#include <filesystem>
#include <map>
#include <string>

#include "measure/sample_run.h"
#include "program.h"
#include "support/catch.h"
#include "text/scenario.h"

namespace hopbench {
namespace {

namespace fs = std::filesystem;

/// Bytes of what lies in the folder, by the number of the capture, without asking what is tested.
std::map<std::uint32_t, std::uint64_t> lying_in(const std::string& path) {
  std::map<std::uint32_t, std::uint64_t> all;
  for (const auto& entry : fs::directory_iterator(path)) {
    const std::string name = entry.path().filename().string();
    if (name.starts_with("detail-"))
      all[static_cast<std::uint32_t>(std::stoul(name.substr(7, 6)))] += entry.file_size();
  }
  return all;
}

class Soaked {
 public:
  explicit Soaked(std::uint64_t seed)
      : dice_(seed),
        pace_(dice_.chance(2) ? SoakPace::of_its_own : SoakPace::of_the_clock),
        most_(1'000'000 + dice_.below(3'000'000)),
        run_(sample::wild_run(seed, 3000)),
        directory_(*SoakDirectory::make(folder_.file("kept"), Scenario{})) {
    begin(false);
  }

  void go_through() {
    for (int step = 0; step < 60; ++step) {
      const std::size_t some = dice_.below(3000);
      for (std::size_t i = 0; i < some; ++i) run_.tell_event(dice_.below(run_.events.size()), *details_);
      details_->tick(step);
      if (dice_.chance(3)) save(step);
      if (dice_.chance(3)) goes_on_in_further_files();
      if (dice_.chance(12)) is_killed();
      look();
    }
    details_->close(60);
    look();
  }

  std::uint64_t went = 0;
  std::uint64_t further = 0;

 private:
  void begin(bool again) {
    details_ = std::make_unique<SoakDetails>(directory_, CaptureOrigin{1, "", "", {}}, most_, pace_);
    if (again) details_->take_up(saved_, most_);
    details_->begin(run_.info);
  }
  void save(Nanos at) {
    details_->close(at);
    saved_ = details_->next();
    details_->go_on();
  }
  /// As a writer does that meets an error.
  void goes_on_in_further_files() {
    const std::uint32_t number = details_->writing();
    const std::string path = directory_.path() + "/detail-00" + std::to_string(10'000 + number).substr(1);
    for (const char* end : {".0001.hbcap", ".0002.hbcap"}) {
      std::ofstream(path + end) << std::string(dice_.below(most_ / 8), 'x');
    }
    ++further;
  }
  void is_killed() {
    details_.reset();
    begin(true);
  }
  void look() {
    const auto there = lying_in(directory_.path());
    std::uint64_t bytes = 0;
    std::uint64_t largest = 0;
    for (const auto& [number, size] : there) {
      bytes += size;
      largest = std::max(largest, size);
    }
    CHECK(bytes <= most_ + largest);
    std::uint64_t gone = 0;
    for (std::uint32_t number = 1; number < details_->next(); ++number) gone += there.contains(number) ? 0 : 1;
    CHECK(details_->removed() == gone);
    went = std::max(went, gone);
  }

  sample::Dice dice_;
  SoakPace pace_;
  std::uint64_t most_;
  sample::Run run_;
  program::Folder folder_;
  SoakDirectory directory_;
  std::unique_ptr<SoakDetails> details_;
  std::uint32_t saved_ = 1;  // what a state would say comes next
};

}  // namespace

TEST_CASE("captures of a soak keep within their bound, whatever becomes of it, and what went is told", "[soak]") {
  std::uint64_t went = 0;
  std::uint64_t further = 0;
  for (std::uint64_t seed = 0; seed < 12; ++seed) {
    CAPTURE(seed);
    Soaked soaked(seed);
    soaked.go_through();
    went += soaked.went;
    further += soaked.further;
  }
  CHECK(went > 100);
  CHECK(further > 100);
}

}  // namespace hopbench
