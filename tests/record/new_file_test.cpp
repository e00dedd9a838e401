// Files are made once, by one program, and through no link.
#include "record/new_file.h"

#include <sys/stat.h>
#include <unistd.h>

#include <atomic>
#include <cerrno>
#include <filesystem>
#include <thread>
#include <vector>

#include "cli/program.h"
#include "support/catch.h"

using namespace hopbench;

namespace {

std::vector<std::uint8_t> bytes_of(std::string_view text) { return {text.begin(), text.end()}; }

}  // namespace

TEST_CASE("of several that make one file at once one has it, also where an empty one is there") {
  const program::Folder folder;
  for (int turn = 0; turn < 200; ++turn) {
    const std::string path = folder.file("new" + std::to_string(turn));
    if (turn % 2 == 0) folder.write("new" + std::to_string(turn), "");
    std::atomic<int> ready = 0;
    std::vector<int> files(4);
    std::vector<std::thread> threads;
    for (auto& file : files) {
      threads.emplace_back([&] {
        ++ready;
        while (ready < 4) std::this_thread::yield();
        file = open_new_file(path);
      });
    }
    for (auto& thread : threads) thread.join();
    int have = 0;
    for (const int file : files) {
      have += file >= 0 ? 1 : 0;
      CHECK((file >= 0 || file == -EBUSY || file == -EEXIST));
    }
    CHECK(have == 1);
    for (const int file : files) {
      if (file >= 0) ::close(file);
    }
  }
}

TEST_CASE("what holds something, a link, and what somebody writes to are refused") {
  const program::Folder folder;
  folder.write("full", "something");
  folder.write("empty", "");
  std::filesystem::create_symlink(folder.file("empty"), folder.file("link"));
  std::filesystem::create_symlink(folder.file("nothing"), folder.file("dangling"));
  CHECK(open_new_file(folder.file("full")) == -EEXIST);
  CHECK(open_new_file(folder.file("link")) == -EEXIST);
  CHECK(open_new_file(folder.file("dangling")) == -EEXIST);
  CHECK_FALSE(std::filesystem::exists(folder.file("nothing")));
  const int file = open_new_file(folder.file("empty"));
  REQUIRE(file >= 0);
  CHECK(open_new_file(folder.file("empty")) == -EBUSY);
  ::close(file);
}

TEST_CASE("what a killed program left is taken over, if it is that, and nobody holds it") {
  const program::Folder folder;
  const std::string path = folder.file("out.part");
  folder.write("out.part", "HBC? and more");
  take_over_unfinished(path, "other");
  CHECK(std::filesystem::file_size(path) == 13);
  take_over_unfinished(path, "HBC?");
  CHECK(std::filesystem::file_size(path) == 0);
  const int file = open_new_file(path);
  REQUIRE(file >= 0);
  REQUIRE(::write(file, "HBC? again", 10) == 10);
  take_over_unfinished(path, "HBC?");
  CHECK(std::filesystem::file_size(path) == 10);  // it is being written
  ::close(file);
  folder.write("victim", "HBC? of somebody");
  std::filesystem::remove(path);
  std::filesystem::create_symlink(folder.file("victim"), path);
  take_over_unfinished(path, "HBC?");
  CHECK(std::filesystem::file_size(folder.file("victim")) == 16);
}

TEST_CASE("a file is replaced only where that was asked for, and never through a link") {
  const program::Folder folder;
  folder.write("victim", "precious");
  std::filesystem::create_symlink(folder.file("victim"), folder.file("out"));
  CHECK(write_new_file(folder.file("out"), bytes_of("new text"), false) == EEXIST);
  CHECK(write_new_file(folder.file("out"), bytes_of("new text"), true) == 0);
  CHECK_FALSE(std::filesystem::is_symlink(folder.file("out")));
  CHECK(std::filesystem::file_size(folder.file("victim")) == 8);
  std::filesystem::create_symlink(folder.file("victim"), folder.file("other.new"));
  CHECK(write_new_file(folder.file("other"), bytes_of("new text"), true) == EEXIST);
  CHECK(std::filesystem::file_size(folder.file("victim")) == 8);
  CHECK(write_new_file(folder.file("third"), bytes_of("new text"), false) == 0);
  CHECK_FALSE(std::filesystem::exists(folder.file("third.new")));
}
