// An index belongs to just the bytes that it was made of: whatever becomes of a capture's files between two looks, the
// second one tells what a look without an index tells.
#include "picture/index.h"

#include <fcntl.h>
#include <sys/stat.h>

#include <filesystem>
#include <fstream>
#include <map>
#include <vector>

#include "a_look.h"
#include "measure/sample_run.h"
#include "run_to_look_at.h"
#include "support/catch.h"

namespace hopbench {
namespace {

namespace fs = std::filesystem;

/// A capture in several files.
struct Rotated : looked_at::Recorded {
  Rotated() : looked_at::Recorded("--rotate 1MB --for 2h") {
    names.emplace_back("c.cap");
    for (int i = 1; fs::exists(file(name_of(i))); ++i) names.push_back(name_of(i));
    for (const auto& name : names) good.push_back(bytes_of(file(name)));
    REQUIRE(good.size() > 4);
  }
  static std::string name_of(int number) { return "c.000" + std::to_string(number) + ".cap"; }
  void put(std::size_t at, const std::string& bytes) const { write(names[at], bytes); }
  void restore() const {
    for (std::size_t i = 0; i < names.size(); ++i) put(i, good[i]);
  }
  void leave_an_index() const {
    const auto picture = opened(capture());
    read_all(*picture);
    REQUIRE(picture->keep());
    REQUIRE(fs::exists(index_path(capture())));
  }

  std::vector<std::string> names;
  std::vector<std::string> good;
};

/// The second look against one without an index.
void check_second_look(const std::string& path) {
  const auto by_index = opened(path);
  const auto by_itself = opened(path, std::nullopt);
  read_all(*by_index);
  read_all(*by_itself);
  check_equal(*by_index, *by_itself);
}

std::string damaged(std::string bytes, std::size_t at) {
  for (std::size_t i = at; i < std::min(at + 5000, bytes.size()); ++i) bytes[i] = static_cast<char>(bytes[i] ^ 0x55);
  return bytes;
}

/// As `cp --preserve` and `touch --reference` set it.
void set_time(const std::string& path, const timespec& time) {
  const timespec both[2] = {time, time};
  REQUIRE(::utimensat(AT_FDCWD, path.c_str(), both, 0) == 0);
}

timespec time_of_file(const std::string& path) {
  struct stat info {};
  REQUIRE(::stat(path.c_str(), &info) == 0);
  return info.st_mtim;
}

/// As when the capture is another run's, of which the index says that there was nothing: to see which picture is shown.
void poison(const std::string& capture) {
  const auto picture = opened(capture);
  read_all(*picture);
  Slices none{Filter{}};
  none.begin(picture->run());
  none.end(second, {});
  IndexPlace place;
  Slices kept{Filter{}};
  REQUIRE(picture->keep());
  std::string why;
  const auto reader = open_capture(capture, why);
  Record record;
  REQUIRE(reader->next(record));
  REQUIRE(load_index(index_path(capture), picture->run(), record.head.run_id, kept, place));
  REQUIRE(save_index(index_path(capture), none, place));
}

}  // namespace

TEST_CASE("a file of several that is damaged is told at the second look, and one that is restored is whole again") {
  const Rotated folder;
  folder.leave_an_index();
  CHECK(opened(folder.capture())->caught_up());  // it is used where nothing has changed
  for (std::size_t at = 0; at < folder.good.size(); ++at) {
    CAPTURE(at);
    const auto& bytes = folder.good[at];
    const auto when = time_of_file(folder.file(folder.names[at]));
    folder.put(at, damaged(bytes, bytes.size() / 2));
    set_time(folder.file(folder.names[at]), when);
    CHECK_FALSE(opened(folder.capture())->read_until());
    check_second_look(folder.capture());
    folder.leave_an_index();
    const auto third = opened(folder.capture());
    CHECK(third->caught_up());
    CHECK(third->damage().in_the_middle());
    check_second_look(folder.capture());
    folder.put(at, bytes);
    set_time(folder.file(folder.names[at]), when);
    const auto restored = opened(folder.capture());
    CHECK_FALSE(restored->read_until());
    read_all(*restored);
    CHECK_FALSE(restored->damage().in_the_middle());
    folder.leave_an_index();
  }
}

TEST_CASE("whatever becomes of the files between two looks, the second tells what is there") {
  const Rotated folder;
  const auto count = folder.good.size();
  looked_at::Recorded other("--seed 4 --rotate 1MB --for 2h");
  const auto foreign = bytes_of(other.capture());
  sample::Dice dice(61);
  for (int turn = 0; turn < 12; ++turn) {
    CAPTURE(turn);
    folder.restore();
    for (int look = 0; look < 3; ++look) {
      for (auto strikes = dice.below(3); strikes > 0; --strikes) {
        const auto at = dice.below(count);
        const std::string path = folder.file(folder.names[at]);
        const auto from = dice.below(count);
        switch (dice.below(7)) {
          case 0:
            folder.put(at, damaged(folder.good[at], 30'000 + dice.below(folder.good[at].size() - 30'000)));
            break;
          case 1:
            folder.put(at, folder.good[at]);
            break;
          case 2:
            if (at > 0) folder.put(at, folder.good[from]);
            break;
          case 3:
            folder.put(at, folder.good[at].substr(0, 30'000 + dice.below(folder.good[at].size() - 30'000)));
            break;
          case 4:
            if (at > 0) fs::remove(path);
            break;
          case 5:
            if (at > 0) folder.put(at, foreign);
            break;
          default:
            if (at > 0) folder.put(at, "");
            break;
        }
      }
      check_second_look(folder.capture());
      const auto left = opened(folder.capture());
      left->grow(dice.chance(2) ? dice.below(20'000) : 1'000'000);
      REQUIRE(left->keep());
    }
  }
}

TEST_CASE("the index of a thinned capture does not serve the whole one, nor the other way round") {
  const looked_at::Recorded folder;
  REQUIRE(folder.run("capture thin c.cap thin.cap").exit_code == 0);
  const auto whole = bytes_of(folder.capture());
  const auto thin = bytes_of(folder.file("thin.cap"));
  REQUIRE(thin.size() < whole.size());
  for (const bool thin_first : {true, false}) {
    CAPTURE(thin_first);
    folder.write("c.cap", thin_first ? thin : whole);
    const auto first = opened(folder.capture());
    read_all(*first);
    REQUIRE(first->keep());
    folder.write("c.cap", thin_first ? whole : thin);
    CHECK_FALSE(opened(folder.capture())->read_until());
    check_second_look(folder.capture());
  }
}

TEST_CASE("a capture that grows is gone on with only if what was read of it has not changed") {
  const looked_at::Recorded folder;
  const auto whole = bytes_of(folder.capture());
  const auto part = whole.substr(0, whole.size() / 2);
  const auto leave = [&](const std::string& bytes) {
    folder.write("c.cap", bytes);
    const auto picture = opened(folder.capture());
    read_all(*picture);
    REQUIRE(picture->keep());
  };
  leave(part);
  folder.write("c.cap", whole);
  CHECK(opened(folder.capture())->read_until());
  check_second_look(folder.capture());
  leave(part);
  folder.write("c.cap", damaged(whole, part.size() / 2));
  CHECK_FALSE(opened(folder.capture())->read_until());
  leave(damaged(part, part.size() / 2));
  folder.write("c.cap", whole);
  CHECK_FALSE(opened(folder.capture())->read_until());
  check_second_look(folder.capture());
}

TEST_CASE("a damaged capture that is restored while it is looked at leaves no index") {
  const looked_at::Recorded folder;
  const auto whole = bytes_of(folder.capture());
  for (const auto& later : {whole, whole + "more"}) {
    folder.write("c.cap", damaged(whole, whole.size() / 2));
    const auto picture = opened(folder.capture());
    read_all(*picture);
    folder.write("c.cap", later);
    CHECK(picture->keep());
    CHECK_FALSE(fs::exists(index_path(folder.capture())));
  }
}

TEST_CASE("an index of another version of the program is made anew") {
  const looked_at::Recorded folder;
  const auto picture = opened(folder.capture(), "1.0");
  read_all(*picture);
  REQUIRE(picture->keep());
  CHECK(opened(folder.capture(), "1.0")->caught_up());
  CHECK_FALSE(opened(folder.capture(), "1.1")->read_until());
}

TEST_CASE("without an index none is read and none is written") {
  const looked_at::Recorded folder;
  poison(folder.capture());
  CHECK(opened(folder.capture())->slices().sum(0, 3600 * second).exchanges == 0);  // it would be believed
  const auto before = bytes_of(index_path(folder.capture()));
  const auto picture = opened(folder.capture(), std::nullopt);
  CHECK_FALSE(picture->read_until());
  read_all(*picture);
  CHECK(picture->slices().sum(0, 3600 * second).exchanges > 20'000);
  CHECK(picture->keep());
  CHECK(bytes_of(index_path(folder.capture())) == before);
}

TEST_CASE("an index is written through no link, and into no pipe or device") {
  const looked_at::Recorded folder;
  const auto path = index_path(folder.capture());
  const auto picture = opened(folder.capture());
  read_all(*picture);
  folder.write("victim", "precious");
  // The unfinished file.
  fs::create_symlink(folder.file("victim"), path + ".new");
  CHECK_FALSE(picture->keep());
  fs::remove(path + ".new");
  fs::create_symlink(folder.file("nothing"), path + ".new");
  CHECK_FALSE(picture->keep());
  CHECK_FALSE(fs::exists(folder.file("nothing")));
  fs::remove(path + ".new");
  REQUIRE(::mkfifo(folder.file("pipe").c_str(), 0600) == 0);
  fs::create_symlink(folder.file("pipe"), path + ".new");
  CHECK_FALSE(picture->keep());  // and does not wait for somebody to read it
  fs::remove(path + ".new");
  CHECK_FALSE(fs::exists(path));
  // The index itself.
  REQUIRE(::mkfifo(path.c_str(), 0600) == 0);
  CHECK_FALSE(picture->keep());
  CHECK_FALSE(opened(folder.capture())->read_until());
  fs::remove(path);
  fs::create_symlink(folder.file("victim"), path);
  CHECK(picture->keep());
  CHECK_FALSE(fs::is_symlink(path));
  CHECK(bytes_of(folder.file("victim")) == "precious");
}

}  // namespace hopbench
