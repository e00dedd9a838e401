#include <unistd.h>

#include <atomic>
#include <cerrno>
#include <cstdlib>
#include <filesystem>

#include "record/capture_tools.h"
#include "support/catch.h"

using namespace hopbench;
using namespace hopbench::sample;

namespace {

/// A folder of its own that goes away with the test.
class Folder {
 public:
  Folder() {
    std::string name = (std::filesystem::temp_directory_path() / "hopbench-test-XXXXXX").string();
    REQUIRE(::mkdtemp(name.data()) != nullptr);
    path_ = name;
  }
  ~Folder() { std::filesystem::remove_all(path_); }
  Folder(const Folder&) = delete;
  Folder& operator=(const Folder&) = delete;
  [[nodiscard]] std::string file(const std::string& name) const { return (path_ / name).string(); }

 private:
  std::filesystem::path path_;
};

}  // namespace

TEST_CASE("interrupted and short writes lose nothing") {
  const auto run = wild_run(31, 2000);
  MemoryFile file;
  file.most_at_once = 777;
  file.fail_write = 3;
  file.fail_with = EINTR;
  file.fail_once = true;
  CaptureWriter writer(file, "memory", origin(), still_plan());
  run.tell(writer);
  CHECK(writer.error() == 0);
  CHECK(writer.dropped() == 0);
  CHECK(writer.acknowledged() == run.events.size() + 3);
  CHECK((file.bytes == capture_of(run)));
}

TEST_CASE("whichever write fails, what was acknowledged is there and the rest is counted") {
  const auto run = wild_run(32, 1500);
  const auto lines = listing_of(run);
  for (int number = 1; number <= 12; ++number) {
    for (const bool once : {true, false}) {
      CAPTURE(number, once);
      MemoryFile file;
      file.fail_write = number;
      file.fail_with = EIO;
      file.fail_once = once;
      std::uint64_t acknowledged = 0;
      std::uint64_t dropped = 0;
      int error = 0;
      {
        CaptureWriter writer(file, "memory", origin(), still_plan());
        run.tell(writer);
        acknowledged = writer.acknowledged();
        dropped = writer.dropped();
        error = writer.error();
      }
      if (file.writes < number) {
        CHECK(error == 0);
        continue;
      }
      CHECK(error == EIO);
      // Nothing more after the first failure: a torn file is not appended to.
      CHECK(file.writes == number);
      CHECK_FALSE(file.open);
      const auto back = read_back(file.bytes);
      // Build has no line.
      const auto expected = acknowledged >= 2 ? acknowledged - 1 : acknowledged;
      CHECK(back.lines.size() == expected);
      CHECK(std::equal(back.lines.begin(), back.lines.end(), lines.begin()));
      CHECK_FALSE(back.damage.in_the_middle());
      CHECK(acknowledged + dropped == run.events.size() + 3);
    }
  }
}

TEST_CASE("a full disk at any byte leaves a capture that is torn at most") {
  const auto run = wild_run(33, 400);
  const auto lines = listing_of(run);
  const auto size = capture_of(run).size();
  for (std::size_t room = 0; room < size; room += 997) {
    CAPTURE(room);
    MemoryFile file;
    file.room = room;
    CaptureWriter writer(file, "memory", origin(), still_plan());
    run.tell(writer);
    CHECK(writer.error() == ENOSPC);
    CHECK(writer.dropped() > 0);
    const auto back = read_back(file.bytes);
    CHECK(back.lines.size() <= lines.size());
    CHECK(std::equal(back.lines.begin(), back.lines.end(), lines.begin()));
    CHECK_FALSE(back.damage.in_the_middle());
  }
}

TEST_CASE("a file that cannot be opened or synced is told, and the run goes on") {
  const auto run = wild_run(34, 10);
  MemoryFile closed;
  closed.fail_open_with = EACCES;
  CaptureWriter first(closed, "memory", origin(), still_plan());
  CHECK(first.error() == EACCES);
  run.tell(first);
  CHECK(first.error() == EACCES);
  CHECK(first.dropped() == run.events.size() + 3);

  MemoryFile unsynced;
  unsynced.fail_sync_with = EIO;
  CaptureWriter other(unsynced, "memory", origin(), still_plan());
  run.tell(other);
  CHECK(other.error() == EIO);
  CHECK(unsynced.syncs == 1);
}

TEST_CASE("records wait for a block to fill, for flush or for the interval") {
  const auto info = ring(2);
  MemoryFile file;
  std::atomic<Nanos> now{0};
  const auto plan = unhurried_plan([&now] { return now.load(); });
  CaptureWriter writer(file, "memory", origin(), plan);
  writer.begin(info);
  CHECK(file.bytes.empty());
  now = plan.hand_over_every - 1;
  writer.tick();
  CHECK(writer.acknowledged() == 0);
  now = plan.hand_over_every;
  writer.tick();
  writer.drain();
  CHECK(writer.acknowledged() == 2);
  const auto size = file.bytes.size();
  CHECK(size > 0);
  clean_exchange(info, 0, 0).tell(writer);
  now = 2 * plan.hand_over_every - 1;
  writer.tick();
  CHECK(file.bytes.size() == size);
  writer.flush();
  writer.drain();
  CHECK(file.bytes.size() > size);
}

TEST_CASE("a real file is written, read back, and never written over") {
  const Folder folder;
  const auto path = folder.file("a.hbcap");
  const auto run = wild_run(35, 900);
  {
    CaptureWriter writer(system_file_ops(), path, origin(), still_plan());
    REQUIRE(writer.error() == 0);
    run.tell(writer);
    CHECK(writer.error() == 0);
  }
  std::string why;
  auto source = open_file(path, why);
  REQUIRE(source);
  CaptureReader reader(std::move(source));
  Listing listing;
  replay(reader, listing);
  CHECK(difference(listing.lines, listing_of(run)) == "");

  CaptureWriter other(system_file_ops(), path, origin(), still_plan());
  CHECK(other.error() == EEXIST);
  CaptureWriter nowhere(system_file_ops(), folder.file("no/such/folder.hbcap"), origin(), still_plan());
  CHECK(nowhere.error() == ENOENT);
}

TEST_CASE("a device that is always full is an error like any other") {
  // /dev/full fails every write with ENOSPC: full(4).
  if (::access("/dev/full", W_OK) != 0) return;
  CaptureWriter writer(system_file_ops(), "/dev/full", origin(), still_plan());
  REQUIRE(writer.error() == 0);
  wild_run(36, 5).tell(writer);
  CHECK(writer.error() == ENOSPC);
  CHECK(writer.acknowledged() == 0);
}

TEST_CASE("only regular files are read") {
  std::string why;
  CHECK_FALSE(open_file("/dev/null", why));
  CHECK(why == "it is no regular file");
  CHECK_FALSE(open_file("/no/such/file", why));
  CHECK(why == "No such file or directory");
}
