#include "inspect.h"

#include <fmt/format.h>
#include <sys/resource.h>
#include <sys/wait.h>
#include <unistd.h>

#include <algorithm>
#include <cstdio>
#include <filesystem>
#include <string>
#include <vector>

#include "base/luck.h"
#include "record/block_reader.h"
#include "record/capture_writer.h"
#include "view/inspector.h"
#include "workloads.h"

namespace hopbench {
namespace {

constexpr std::uint64_t exchanges = 10'000'000;
constexpr int looks = 400;
constexpr int columns = 200;
constexpr int lines = 60;

std::unique_ptr<Picture> opened(const std::string& path) {
  std::string why;
  bool no_capture = false;
  auto picture = Picture::open(path, "benchmark", why, no_capture);
  if (!picture) {
    fmt::print(stderr, "benchmark: {}: {}\n", path, why);
    std::exit(3);
  }
  return picture;
}

/// Ranges anywhere, as long as a screen of columns of any length: median and longest, in ms.
void bench_ranges(Picture& picture) {
  const auto luck = Luck(1).stream(name_hash("bench_inspect"), Purpose::test, 0);
  std::vector<double> ms;
  for (std::uint64_t i = 0; i < looks; ++i) {
    const Nanos span = column_spans[below(24, draw(luck, i, 0))];
    const auto all = static_cast<std::uint64_t>(picture.until());
    const Nanos from = slot_of(static_cast<Nanos>(below(all, draw(luck, i, 1))), span) * span;
    ms.push_back(1e3 * seconds([&] {
                   (void)picture.columns(from, span, 45);
                   (void)picture.part(from, from + 45 * span);
                 }));
  }
  std::sort(ms.begin(), ms.end());
  fmt::print("  any range            {:8.1f} ms  half of {} within it, 99 % within {:.1f}, the longest {:.1f}\n",
             ms[ms.size() / 2], looks, ms[ms.size() * 99 / 100], ms.back());
}

void bench_redraws(Picture& picture) {
  Inspector inspector(picture, nullptr, {}, true);
  inspector.resize(columns, lines);
  const double each = least_seconds(3,
                                    [&] {
                                      for (int i = 0; i < 100; ++i) {
                                        inspector.grown();
                                        (void)inspector.compose();
                                      }
                                    }) /
                      100;
  fmt::print("  a redraw at {} x {}    {:8.2f} ms  20 a second: {:.1f} % of a core, without the terminal's part\n",
             columns, lines, 1e3 * each, 100 * 20 * each);
}

}  // namespace

void bench_inspect() {
  const Scenario ring16 = captured_scenario("ring16");
  const std::string folder = std::filesystem::temp_directory_path() / "hopbench-benchmark";
  std::filesystem::remove_all(folder);
  std::filesystem::create_directories(folder);
  const std::string path = folder + "/all.hbcap";
  {
    CaptureWriter writer(system_file_ops(), path, {1, ring16.scenario_text, ring16.bus_text, {}},
                         unhurried_plan(monotonic_now));
    run_scenario(ring16, Way::repeats, exchanges, writer);
  }
  fmt::print("the inspector over {} exchanges of ring16, {:.2f} GB, in the file system's memory\n", exchanges,
             static_cast<double>(std::filesystem::file_size(path)) / 1e9);
  const double raw = seconds([&] {
    std::string why;
    BlockReader blocks(open_file(path, why));
    BlockReader::Raw record;
    while (blocks.next(record)) {
    }
  });
  fmt::print("  records, unread      {:8.2f} s\n", raw);
  std::fflush(stdout);
  // In a process of its own, for its memory.
  const pid_t child = fork();
  if (child == 0) {
    std::unique_ptr<Picture> picture;
    const double first = seconds([&] {
      picture = opened(path);
      Inspector inspector(*picture, nullptr, {}, false);
      inspector.resize(columns, lines);
      (void)inspector.compose();
    });
    fmt::print("  its latest part      {:8.1f} ms  no index yet\n", 1e3 * first);
    const double whole = seconds([&] {
      while (picture->grow(10'000) > 0) {
      }
    });
    fmt::print("  all of it            {:8.2f} s   {:.2f} x the records unread\n", whole, whole / raw);
    picture->keep();
    const double again = seconds([&] {
      picture = opened(path);
      Inspector inspector(*picture, nullptr, {}, false);
      inspector.resize(columns, lines);
      inspector.press({Key::character, U'o'});
      (void)inspector.compose();
    });
    fmt::print("  all of it, by index  {:8.1f} ms  index of {:.1f} MB\n", 1e3 * again,
               static_cast<double>(std::filesystem::file_size(index_path(path))) / 1e6);
    bench_ranges(*picture);
    bench_redraws(*picture);
    std::fflush(stdout);
    _exit(0);
  }
  int status = 0;
  rusage used{};
  wait4(child, &status, 0, &used);
  fmt::print("  largest memory       {:8.1f} MiB\n\n", static_cast<double>(used.ru_maxrss) / 1024);
  std::filesystem::remove_all(folder);
}

}  // namespace hopbench
