// The real program is killed while it writes, and its disk fills up. What it had told to be written is kept outside it.
#include <fcntl.h>
#include <poll.h>
#include <unistd.h>

#include <array>
#include <cstdlib>
#include <filesystem>
#include <fstream>
#include <iterator>
#include <random>

#include "capture_set.h"
#include "port/fixtures.h"
#include "process.h"
#include "record/segment_path.h"
#include "support/catch.h"

namespace hopbench {
namespace {

const std::string ring16 = std::string(HOPBENCH_SOURCE_DIR) + "/captures/ring16.txtpb";

/// A program with a pipe for --ack-fd, and what has come through it.
class Recording {
 public:
  explicit Recording(std::vector<std::string> command) : Recording(std::move(command), pipe()) {}
  ~Recording() { ::close(out_); }
  Recording(const Recording&) = delete;
  Recording& operator=(const Recording&) = delete;

  /// Until so many lines are there, or the program has closed its end.
  void read_lines(std::size_t count) {
    while (lines_ < count && more()) {
    }
  }
  void read_all() {
    while (more()) {
    }
  }
  [[nodiscard]] std::uint64_t written() const { return last("written "); }
  [[nodiscard]] std::uint64_t synced() const { return last("synced "); }
  Process process;

 private:
  static std::array<int, 2> pipe() {
    std::array<int, 2> ends{};
    REQUIRE(::pipe2(ends.data(), O_CLOEXEC) == 0);
    ::fcntl(ends[1], F_SETFD, 0);
    return ends;
  }
  Recording(std::vector<std::string> command, std::array<int, 2> ends)
      : process(with_fd(std::move(command), ends[1])), out_(ends[0]) {
    ::close(ends[1]);
  }
  static std::vector<std::string> with_fd(std::vector<std::string> command, int fd) {
    command.insert(command.end(), {"--ack-fd", std::to_string(fd)});
    return command;
  }
  bool more() {
    pollfd waiting{out_, POLLIN, 0};
    REQUIRE(::poll(&waiting, 1, 30'000) > 0);
    // A little at a time, so that the number of lines is exact.
    std::array<char, 16> buffer;
    const auto size = ::read(out_, buffer.data(), buffer.size());
    if (size <= 0) return false;
    for (ssize_t i = 0; i < size; ++i) lines_ += buffer[static_cast<std::size_t>(i)] == '\n' ? 1 : 0;
    text_.append(buffer.data(), static_cast<std::size_t>(size));
    return true;
  }
  [[nodiscard]] std::uint64_t last(const std::string& word) const {
    // A line without its end is not told yet.
    const auto end = text_.rfind('\n');
    const auto at = end == std::string::npos ? end : text_.rfind(word, end);
    return at == std::string::npos ? 0 : std::stoull(text_.substr(at + word.size()));
  }

  int out_;
  std::size_t lines_ = 0;
  std::string text_;
};

std::vector<std::string> run_command(const std::string& capture, std::vector<std::string> more) {
  more.insert(more.begin(), {HOPBENCH_BINARY, "run", ring16, "--capture", capture});
  return more;
}

int kills() {
  const char* asked = std::getenv("HOPBENCH_KILLS");
  return asked == nullptr ? 100 : std::atoi(asked);
}

std::string bytes_of(const std::string& path) {
  std::ifstream file(path, std::ios::binary);
  return {std::istreambuf_iterator<char>(file), {}};
}

}  // namespace

TEST_CASE("killed at any moment, the program leaves every record that it told to be written") {
  const char* asked = std::getenv("HOPBENCH_SEED");
  const unsigned seed = asked == nullptr ? std::random_device()() : static_cast<unsigned>(std::stoul(asked));
  std::mt19937 dice(seed);
  std::uint64_t most = 0;
  std::uint32_t most_files = 0;
  for (int kill = 0; kill < kills(); ++kill) {
    const Folder folder;
    const std::string capture = folder / "killed.hbcap";
    const auto lines = dice() % 45;
    CAPTURE(seed, kill, lines);
    Recording run(run_command(capture, {"--for", "80d", "--rotate", "1MB"}));
    run.read_lines(lines);
    run.process.send(SIGKILL);
    REQUIRE(run.process.wait() == -SIGKILL);
    run.read_all();
    const auto set = CaptureSet::read(capture);
    REQUIRE(set.told >= run.written());
    REQUIRE(set.consecutive);
    REQUIRE(set.same_run);
    REQUIRE_FALSE(set.damaged);
    REQUIRE_FALSE(set.ended);
    most = std::max(most, run.written());
    most_files = std::max(most_files, set.files);
  }
  // The kills came while it wrote, and on both sides of the end of a file.
  CHECK(most > 10'000);
  CHECK(most_files > 2);
}

TEST_CASE("a run that ends in order tells of every record twice: written, and synced") {
  const Folder folder;
  const std::string capture = folder / "whole.hbcap";
  Recording run(run_command(capture, {"--exchanges", "20000", "--rotate", "1MB"}));
  run.read_all();
  CHECK(run.process.wait() == 0);
  CHECK(run.process.err() == "");
  const auto set = CaptureSet::read(capture);
  CHECK(set.exchanges == 20'000);
  CHECK(set.told == run.written());
  CHECK(set.told == run.synced());
  CHECK(set.ended);
  CHECK(set.files == 3);
  CHECK_FALSE(set.damaged);
  for (std::uint32_t file = 0; file < set.files; ++file) {
    CHECK(std::filesystem::file_size(segment_path(capture, file)) <= 1'000'000);
  }
}

TEST_CASE("the same run makes the same bytes, in one file or in several, told of or not") {
  const Folder folder;
  const auto record = [&](const std::string& name, std::vector<std::string> more) {
    more.insert(more.begin(), {"--exchanges", "12000"});
    Process run(run_command(folder / name.c_str(), std::move(more)));
    CHECK(run.wait() == 0);
    return bytes_of(folder / name.c_str());
  };
  const auto one = record("a.hbcap", {});
  CHECK(one.size() > 1'000'000);
  CHECK(record("b.hbcap", {}) == one);
  CHECK(record("c.hbcap", {"--ack-fd", "2"}) == one);
  CHECK(record("d.hbcap", {"--rotate", "1MB"}) == record("e.hbcap", {"--rotate", "1000kB"}));
  CHECK(bytes_of(folder / "d.0001.hbcap") == bytes_of(folder / "e.0001.hbcap"));
  CHECK(bytes_of(folder / "d.0001.hbcap").size() > 100'000);
}

TEST_CASE("nobody has to read what --ack-fd tells") {
  const Folder folder;
  std::array<int, 2> ends{};
  REQUIRE(::pipe2(ends.data(), O_CLOEXEC) == 0);
  ::fcntl(ends[1], F_SETFD, 0);
  // Room for one page of lines: far fewer than come.
  REQUIRE(::fcntl(ends[1], F_SETPIPE_SZ, 4096) >= 4096);
  Process run(run_command(folder / "a.hbcap", {"--exchanges", "300000", "--ack-fd", std::to_string(ends[1])}));
  CHECK(run.wait() == 0);
  ::close(ends[0]);
  Process gone(run_command(folder / "b.hbcap", {"--exchanges", "20000", "--ack-fd", std::to_string(ends[1])}));
  CHECK(gone.wait() == 0);
  ::close(ends[1]);
}

TEST_CASE("where files may not grow beyond a size, the run goes on in further ones, and nothing is missing") {
  const Folder folder;
  const std::string capture = folder / "full.hbcap";
  // setrlimit(2): a write beyond the limit is cut short, the next fails with EFBIG.
  const std::string script = "ulimit -f 300; exec \"$0\" run \"$1\" --exchanges 30000 --capture \"$2\"";
  Process run({"/bin/sh", "-c", script, HOPBENCH_BINARY, ring16, capture});
  CHECK(run.wait() == 0);
  const std::string& err = run.err();
  CAPTURE(err);
  CHECK(std::count(err.begin(), err.end(), '\n') == 1);
  CHECK(err.find(": File too large; no record is missing; it goes on in " + (folder / "full.00")) != std::string::npos);
  const auto set = CaptureSet::read(capture);
  CHECK(set.told == 30'004);
  CHECK(set.dropped == 0);
  CHECK(set.ended);
  CHECK_FALSE(set.damaged);
  CHECK(set.exchanges == 30'000);
}

TEST_CASE("a device that is always full gets no further file") {
  if (::access("/dev/full", W_OK) != 0) return;
  Process run({HOPBENCH_BINARY, "run", ring16, "--exchanges", "100", "--capture", "/dev/full"});
  CHECK(run.wait() == 4);
  CHECK(run.err() == "hopbench: /dev/full: No space left on device; 104 records are not in it\n");
  CHECK_FALSE(std::filesystem::exists("/dev/full.0001"));
}

TEST_CASE("capture options that cannot be met give one line and exit 2") {
  const Folder folder;
  const std::string capture = folder / "x.hbcap";
  const auto refused = [&](std::vector<std::string> options, const std::string& why) {
    for (const std::vector<std::string>& command :
         {std::vector<std::string>{HOPBENCH_BINARY, "run", ring16},
          std::vector<std::string>{HOPBENCH_BINARY, "emulate", ring16, "--pty", folder / "link"}}) {
      auto all = command;
      all.insert(all.end(), options.begin(), options.end());
      Process run(all);
      CHECK(run.wait() == 2);
      CHECK(run.err() == "hopbench: " + why + "\n");
      CHECK_FALSE(std::filesystem::exists(capture));
    }
  };
  refused({"--capture", capture, "--ack-fd", "97"}, "--ack-fd 97: no such descriptor is open");
  refused({"--capture", capture, "--ack-fd", "-1"}, "--ack-fd -1: no such descriptor is open");
  refused({"--ack-fd", "2"}, "--ack-fd goes with --capture");
  refused({"--rotate", "1GB"}, "--rotate goes with --capture");
  refused({"--capture", capture, "--rotate", "lots"}, "--rotate lots: give a size, such as 256MB");
  refused({"--capture", capture, "--rotate", "10kB"}, "--rotate 10kB: must be at least 1MB");
  const int only_read = ::open("/dev/null", O_RDONLY);
  refused({"--capture", capture, "--ack-fd", std::to_string(only_read)},
          "--ack-fd " + std::to_string(only_read) + ": it is open for reading only");
  ::close(only_read);
}

TEST_CASE("a second file left over from another run is not added to") {
  const Folder folder;
  std::ofstream(folder / "a.0001.hbcap") << "something";
  Process run(run_command(folder / "a.hbcap", {"--exchanges", "10"}));
  CHECK(run.wait() == 3);
  CHECK(run.err() == "hopbench: " + (folder / "a.0001.hbcap") +
                         ": File exists; captures are never written over: name another or remove it\n");
  CHECK_FALSE(std::filesystem::exists(folder / "a.hbcap"));
}

TEST_CASE("a session at a port tells what is written as well") {
  const Folder folder;
  const std::string capture = folder / "s.hbcap";
  Recording session({HOPBENCH_BINARY, "emulate", ring16, "--pty", folder / "link", "--capture", capture});
  session.read_lines(1);  // head, build and the first state, although nobody has asked for anything yet
  // On a busy machine the port's lateness is a record, too.
  CHECK(session.written() >= 3);
  CHECK(CaptureSet::read(capture).told >= session.written());
  session.process.send(SIGTERM);
  session.read_all();
  CHECK(session.process.wait() == 0);
  CHECK(session.synced() >= 4);
  CHECK(session.synced() == session.written());
  CHECK(session.synced() == CaptureSet::read(capture).told);
}

}  // namespace hopbench
