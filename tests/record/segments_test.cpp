#include <filesystem>
#include <fstream>

#include "cli/program.h"
#include "record/capture_tools.h"
#include "record/segment_files.h"
#include "record/segment_path.h"
#include "support/catch.h"

using namespace hopbench;
using namespace hopbench::sample;

namespace {

ReadBack read_set(const std::map<std::uint32_t, Bytes>& files) {
  CaptureReader reader(std::make_unique<MemorySource>(files.at(0)), std::make_unique<MemorySegments>(files));
  return read_back(reader);
}

}  // namespace

TEST_CASE("a capture in several files is read as the one in a single file is") {
  const auto run = full_run(91, 300);
  const auto files = numbered(Files(capture_of(run), {20, 21, 150, 300}).files);
  REQUIRE(files.size() == 5);
  const auto back = read_set(files);
  CHECK(difference(back.lines, listing_of(run)) == "");
  CHECK_FALSE(back.damage.in_the_middle());
  CHECK_FALSE(back.damage.unclosed);
  CHECK(back.damage.torn_bytes == 0);
}

TEST_CASE("each file of a capture is a capture by itself") {
  const auto run = full_run(92, 100);
  std::size_t lines = 0;
  for (const auto& file : Files(capture_of(run), {30, 60}).files) {
    const auto back = read_back(file);
    CHECK(back.lines.front() == listing_of(run).front());
    CHECK(back.lines.back().starts_with("end "));
    CHECK_FALSE(back.damage.in_the_middle());
    CHECK_FALSE(back.damage.unclosed);
    lines += back.lines.size() - 2;
  }
  CHECK(lines == listing_of(run).size() - 2);
}

TEST_CASE("a file missing in the middle of a capture is damage, and so is one missing at its end") {
  const auto run = full_run(93, 200);
  auto files = numbered(Files(capture_of(run), {50, 80, 110, 140}).files);
  const auto last = files.extract(4);
  auto back = read_set(files);
  CHECK(back.damage.segments_missing == 1);
  CHECK(back.damage.first_bad_segment == 4U);
  CHECK(back.damage.unclosed);
  CHECK(back.lines.size() + 1 == 140 - 1 + 1);  // without the build
  files.erase(1);
  files.erase(2);
  back = read_set(files);
  CHECK(back.damage.segments_missing == 3);
  CHECK(back.damage.first_bad_segment == 1U);
  CHECK(back.damage.in_the_middle());
  CHECK(back.lines.size() == 1 + (50 - 2) + 30);
}

TEST_CASE("a file of another run among a capture's is passed over") {
  const auto run = full_run(94, 100);
  auto parts = Files(capture_of(run), {30, 60}).files;
  // The writer found the name taken.
  set_number(parts[1], 2);
  set_number(parts[2], 3);
  std::map<std::uint32_t, Bytes> files{
      {0, parts[0]}, {1, capture_of(wild_run(1, 5), origin(99))}, {2, parts[1]}, {3, parts[2]}};
  auto back = read_set(files);
  CHECK(difference(back.lines, listing_of(run)) == "");
  CHECK_FALSE(back.damage.in_the_middle());
  // In the place of one that is part of the capture it is missed.
  files[2] = files[1];
  back = read_set(files);
  CHECK(back.damage.segments_missing == 2);
}

TEST_CASE("a capture that was ended is not read on, whatever lies beside it") {
  const auto run = full_run(95, 50);
  const auto bytes = capture_of(run);
  const auto back = read_set({{0, bytes}, {1, bytes}});
  CHECK(difference(back.lines, listing_of(run)) == "");
}

TEST_CASE("a head that is damaged in one file is found in the next") {
  const auto run = full_run(96, 60);
  auto files = numbered(Files(capture_of(run), {30}).files);
  files[0][60] ^= 1;
  const auto back = read_set(files);
  REQUIRE_FALSE(back.lines.empty());
  CHECK(back.lines.front() == listing_of(run).front());
  CHECK(back.damage.bytes_skipped > 0);
}

TEST_CASE("what a failed file and the next one both hold is given once") {
  const auto run = full_run(97, 120);
  const auto lines = listing_of(run);
  const auto whole = capture_of(run);
  const auto parts = Files(whole, {40}, true).files;
  // The first file broke off: cut anywhere behind the place where the second one starts.
  auto longer = Files(whole, {60}).files[0];
  const auto end_of_40 = parts[0].size();
  Dice dice(3);
  for (int i = 0; i < 60; ++i) {
    const std::size_t size = end_of_40 + dice.below(longer.size() - end_of_40 - 40);
    CAPTURE(size);
    const auto back =
        read_set({{0, {longer.begin(), longer.begin() + static_cast<std::ptrdiff_t>(size)}}, {1, parts[1]}});
    auto told = back.lines;
    REQUIRE(std::erase_if(told, [](const auto& line) { return line.ends_with("a write failed"); }) == 1);
    REQUIRE(difference(told, lines) == "");
    REQUIRE_FALSE(back.damage.in_the_middle());
  }
}

TEST_CASE("a reader goes on to a file that comes while it reads") {
  const auto run = full_run(98, 100);
  const auto parts = Files(capture_of(run), {30, 60}).files;
  std::map<std::uint32_t, Bytes> files{{0, {}}};
  CaptureReader reader(std::make_unique<MemorySource>(files.at(0)), std::make_unique<MemorySegments>(files));
  Listing read;
  for (std::uint32_t k = 0; k < parts.size(); ++k) {
    auto& growing = files[k];
    // A writer makes the next file before it says that this one goes on.
    const auto begun = growing.size();
    for (std::size_t at = begun; at < parts[k].size(); at += 700) {
      const bool last = at + 700 >= parts[k].size();
      if (last && k + 1 < parts.size()) files[k + 1].assign(parts[k + 1].begin(), parts[k + 1].begin() + 700);
      growing.insert(growing.end(), parts[k].begin() + static_cast<std::ptrdiff_t>(at),
                     parts[k].begin() + static_cast<std::ptrdiff_t>(std::min(at + 700, parts[k].size())));
      replay(reader, read);
      REQUIRE_FALSE(reader.damage().in_the_middle());
    }
  }
  CHECK(difference(read.lines, listing_of(run)) == "");
  CHECK_FALSE(reader.damage().unclosed);
}

TEST_CASE("the files of a capture are found beside it by their names") {
  const program::Folder folder;
  const auto run = full_run(99, 100);
  const auto parts = Files(capture_of(run), {30, 60}).files;
  const std::string path = folder.file("ring.v2.hbcap");
  const auto put = [&](const std::string& to, const Bytes& bytes) {
    std::ofstream(to, std::ios::binary)
        .write(reinterpret_cast<const char*>(bytes.data()), static_cast<std::streamsize>(bytes.size()));
  };
  for (std::uint32_t k = 0; k < parts.size(); ++k) put(segment_path(path, k), parts[k]);
  for (const char* other : {"ring.v2.1.hbcap", "ring.v2.0001.hbcap.bak", "ring.0001.hbcap", "ring.v2.00x1.hbcap",
                            "ring.v2.99999999999.hbcap", "ring.v2.0000.hbcap", "ring.v2..hbcap"})
    put(folder.file(other), {1, 2, 3});
  CHECK((segments_of(path)->further() == std::vector<std::uint32_t>{1, 2}));
  std::string why;
  const auto reader = open_capture(path, why);
  REQUIRE(reader);
  Listing read;
  replay(*reader, read);
  CHECK(difference(read.lines, listing_of(run)) == "");
  CHECK(reader->segments_read() == 3);
  CHECK_FALSE(open_capture(folder.file("nothing.hbcap"), why));
  CHECK(why == "No such file or directory");
}
