// Folders of results: what was put in comes out, and nothing else does.
#include "record/result_folder.h"

#include <fmt/format.h>

#include <cerrno>
#include <cstdlib>
#include <filesystem>
#include <fstream>
#include <sstream>

#include "support/catch.h"
#include "support/dice.h"

namespace hopbench {
namespace {

namespace fs = std::filesystem;
using Bytes = std::vector<std::uint8_t>;

class Place {
 public:
  Place() {
    std::string pattern = (fs::temp_directory_path() / "hopbench-folder-XXXXXX").string();
    REQUIRE(mkdtemp(pattern.data()) != nullptr);
    path_ = pattern;
  }
  ~Place() {
    std::error_code ignored;
    fs::remove_all(path_, ignored);
  }
  Place(const Place&) = delete;
  Place& operator=(const Place&) = delete;
  std::string operator/(const std::string& name) const { return path_ + "/" + name; }

 private:
  std::string path_;
};

const std::vector<FolderPart> made_for{{"seeds", "5"}, {"scenario", "name: \"x\"\nbaud: 9600\n"}, {"empty", ""}};

ResultFolder opened(const std::string& path, FileOps& ops = system_file_ops()) {
  auto folder = ResultFolder::open(ops, path, made_for);
  if (const auto* trouble = std::get_if<FolderTrouble>(&folder)) FAIL(trouble->why);
  return std::get<ResultFolder>(std::move(folder));
}

FolderTrouble refused(const std::variant<ResultFolder, FolderTrouble>& folder) {
  REQUIRE(std::holds_alternative<FolderTrouble>(folder));
  return std::get<FolderTrouble>(folder);
}

std::string content(const std::string& path) {
  std::ifstream in(path, std::ios::binary);
  std::ostringstream text;
  text << in.rdbuf();
  return text.str();
}

void overwrite(const std::string& path, const std::string& text) { std::ofstream(path, std::ios::binary) << text; }

std::optional<Bytes> got(const ResultFolder& folder, std::size_t index) {
  bool damaged = false;
  auto result = folder.get(index, damaged);
  CHECK_FALSE(damaged);
  return result;
}

bool is_damaged(const ResultFolder& folder, std::size_t index) {
  bool damaged = false;
  CHECK_FALSE(folder.get(index, damaged));
  return damaged;
}

std::size_t files_in(const std::string& path) {
  return static_cast<std::size_t>(std::distance(fs::directory_iterator(path), fs::directory_iterator()));
}

/// A disk that is full after so many bytes; whatever else it does is real.
class FullDisk final : public FileOps {
 public:
  explicit FullDisk(std::size_t room) : room_(room) {}
  int open_new(const std::string& path) override { return system_file_ops().open_new(path); }
  std::ptrdiff_t write(int file, std::span<const std::uint8_t> bytes) override {
    if (room_ == 0) return -ENOSPC;
    const auto part = bytes.first(std::min(room_, bytes.size()));
    room_ -= part.size();
    return system_file_ops().write(file, part);
  }
  int sync(int file) override { return system_file_ops().sync(file); }
  int close(int file) override { return system_file_ops().close(file); }
  int remove(const std::string& path) override { return system_file_ops().remove(path); }

 private:
  std::size_t room_;
};

}  // namespace

TEST_CASE("a folder gives back what was put into it, also when it is opened again") {
  const Place place;
  {
    const auto folder = opened(place / "f");
    CHECK_FALSE(got(folder, 3));
    CHECK(folder.put(3, Bytes{1, 2, 0, 255}) == 0);
    CHECK(folder.put(0, Bytes{}) == 0);
    CHECK(folder.put(3, Bytes{9}) == 0);  // it is there already
  }
  for (const auto& folder : {opened(place / "f"), std::get<ResultFolder>(ResultFolder::existing(place / "f"))}) {
    CHECK(got(folder, 3) == Bytes{1, 2, 0, 255});
    CHECK(got(folder, 0) == Bytes{});
    CHECK_FALSE(got(folder, 1));
    CHECK(folder.made_for() == made_for);
  }
  CHECK(files_in(place / "f") == 3);
}

TEST_CASE("a folder that was made for something else is refused, and it is said in what they differ") {
  const Place place;
  (void)opened(place / "f");
  const auto why = [&](std::vector<FolderPart> wanted) {
    const auto trouble = refused(ResultFolder::open(system_file_ops(), place / "f", wanted));
    CHECK(trouble.differs);
    return trouble.why;
  };
  CHECK(why({{"seeds", "6"}, made_for[1], made_for[2]}) == "was made by another sweep: seeds: 5 there, 6 here");
  CHECK(why({made_for[0], {"scenario", "name: \"y\"\n"}, made_for[2]}) ==
        "was made by another sweep: another scenario");
  CHECK(why({made_for[0], made_for[1]}) == "was made by another sweep: it has \"empty\" as well");
  CHECK(why({made_for[0], made_for[1], made_for[2], {"more", "1"}}) ==
        "was made by another sweep: it knows nothing of \"more\"");
}

TEST_CASE("what is no folder of results is left alone") {
  const Place place;
  fs::create_directory(place / "other");
  overwrite(place / "other/letter.txt", "hello");
  const auto trouble = refused(ResultFolder::open(system_file_ops(), place / "other", made_for));
  CHECK_FALSE(trouble.differs);
  CHECK(trouble.why.find("holds no results") == 0);
  CHECK(files_in(place / "other") == 1);
  overwrite(place / "file", "hello");
  CHECK_FALSE(refused(ResultFolder::open(system_file_ops(), place / "file", made_for)).differs);
  CHECK(content(place / "file") == "hello");
  CHECK(refused(ResultFolder::existing(place / "nowhere")).why == "No such file or directory");
  CHECK(refused(ResultFolder::open(system_file_ops(), place / "no/where", made_for)).why ==
        "No such file or directory");
  // What a killed program left of its first file is no obstacle.
  fs::create_directory(place / "begun");
  overwrite(place / "begun/folder.new-1-0", "hopb");
  CHECK(opened(place / "begun").made_for() == made_for);
}

TEST_CASE("a result with any byte changed, cut short, or of another place is damaged, and is made anew") {
  const Place place;
  const auto folder = opened(place / "f");
  REQUIRE(folder.put(7, Bytes{10, 20, 30, 40, 50}) == 0);
  const std::string whole = content(folder.file_of(7));
  for (std::size_t i = 0; i < whole.size(); ++i) {
    for (int bit = 0; bit < 8; ++bit) {
      std::string bad = whole;
      bad[i] = static_cast<char>(bad[i] ^ (1 << bit));
      overwrite(folder.file_of(7), bad);
      CHECK(is_damaged(folder, 7));
    }
    overwrite(folder.file_of(7), whole.substr(0, i));
    CHECK(is_damaged(folder, 7));
  }
  overwrite(folder.file_of(8), whole);  // under another number
  CHECK(is_damaged(folder, 8));
  CHECK(folder.put(7, Bytes{1}) == 0);
  CHECK(got(folder, 7) == Bytes{1});

  const auto other = std::get<ResultFolder>(ResultFolder::open(system_file_ops(), place / "g", {{"seeds", "1"}}));
  overwrite(other.file_of(7), whole);  // out of another folder
  CHECK(is_damaged(other, 7));
}

TEST_CASE("a full disk leaves no half result behind") {
  const Place place;
  const std::size_t head = opened(place / "real").made_for().empty() ? 0 : content(place / "real/folder").size();
  for (const std::size_t room : {std::size_t{0}, std::size_t{5}, head - 1}) {
    FullDisk disk(room);
    const std::string path = place / fmt::format("head{}", room);
    CHECK(refused(ResultFolder::open(disk, path, made_for)).why == "No space left on device");
    CHECK(files_in(path) == 0);
  }
  FullDisk disk(head + 30);
  const auto folder = opened(place / "f", disk);
  CHECK(folder.put(0, Bytes(10, 1)) == 0);  // 22 bytes
  CHECK(folder.put(1, Bytes(10, 1)) == ENOSPC);
  CHECK(got(folder, 0) == Bytes(10, 1));
  CHECK_FALSE(got(folder, 1));
  CHECK(files_in(place / "f") == 2);
}

TEST_CASE("whatever stands in a folder's first file is read or refused") {
  const Place place;
  (void)opened(place / "f");
  const std::string whole = content(place / "f/folder");
  std::size_t read = 0;
  for (std::uint64_t i = 0; i < 3000; ++i) {
    Dice dice("folder head", i);
    std::string text = whole;
    for (auto n = dice.up_to(3); n > 0; --n)
      text[dice.up_to(text.size() - 1)] = "0123456789: \n\xff\0x"[dice.up_to(14)];
    if (dice.one_in(3)) text.resize(dice.up_to(text.size()));
    overwrite(place / "f/folder", text);
    const auto folder = ResultFolder::existing(place / "f");
    if (const auto* trouble = std::get_if<FolderTrouble>(&folder)) {
      CHECK(trouble->why.find("damaged") != std::string::npos);
    } else {
      ++read;
    }
  }
  CHECK(read > 100);
  CHECK(read < 2900);
}

}  // namespace hopbench
