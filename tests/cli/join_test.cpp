// hopbench capture join of files that are named one by one.
#include <boost/json.hpp>
#include <filesystem>
#include <string>
#include <utility>
#include <vector>

#include "measure/sample_run.h"
#include "program.h"
#include "record/capture_reader.h"
#include "support/catch.h"

namespace hopbench {
namespace {

namespace fs = std::filesystem;

/// A capture in several files, and what joins of them come to.
struct Several : program::Folder {
  Several() {
    const std::string scenario = HOPBENCH_SOURCE_DIR "/captures/ring16.txtpb";
    REQUIRE(run("run " + scenario + " --exchanges 40000 --capture c.cap --rotate 1MB").exit_code == 0);
    names.emplace_back("c.cap");
    for (int i = 1; fs::exists(file("c.000" + std::to_string(i) + ".cap")); ++i) {
      names.push_back("c.000" + std::to_string(i) + ".cap");
    }
    REQUIRE(names.size() >= 4);
  }
  [[nodiscard]] program::Ran join(const std::vector<std::string>& parts) const {
    fs::remove(file("out.cap"));
    std::string line = "capture join out.cap";
    for (const auto& part : parts) line += " " + part;
    return run(line);
  }
  /// Kind and payload of every record but the ends.
  [[nodiscard]] std::vector<std::pair<int, std::string>> records(const std::string& name) const {
    std::string why;
    const auto reader = open_capture(file(name), why);
    REQUIRE(reader);
    std::vector<std::pair<int, std::string>> all;
    BlockReader::Raw raw;
    while (reader->next_raw(raw)) {
      if (raw.kind == static_cast<std::uint8_t>(RecordKind::end)) continue;
      all.emplace_back(raw.kind, std::string(raw.payload.begin(), raw.payload.end()));
    }
    return all;
  }
  [[nodiscard]] bool closed(const std::string& name) const {
    return run("capture check --json " + name).out.find("\"closed\": true") != std::string::npos;
  }
  /// How many records say that something is missing.
  [[nodiscard]] std::size_t holes(const std::string& name) const {
    std::size_t count = 0;
    for (const auto& [kind, payload] : records(name)) count += kind == static_cast<int>(RecordKind::dropped) ? 1U : 0U;
    return count;
  }

  std::vector<std::string> names;
};

}  // namespace

TEST_CASE("the files of a capture, named one by one, are joined to what they are together") {
  const Several folder;
  const auto ran = folder.join(folder.names);
  CHECK(ran.exit_code == 0);
  CHECK(ran.err == "");
  CHECK((folder.records("out.cap") == folder.records("c.cap")));
  CHECK(folder.closed("out.cap"));
}

TEST_CASE("a file that is not named is told, and an end that goes on is never the end of what is joined") {
  const Several folder;
  for (std::size_t left_out = 0; left_out < folder.names.size(); ++left_out) {
    CAPTURE(left_out);
    auto parts = folder.names;
    parts.erase(parts.begin() + static_cast<std::ptrdiff_t>(left_out));
    const auto ran = folder.join(parts);
    CHECK(ran.exit_code == 4);
    const bool last = left_out + 1 == folder.names.size();
    if (left_out == 0) {
      CHECK(ran.err == "hopbench: c.0001.cap: is file 1 of its capture; what lies before it is told as left out\n");
    } else {
      CHECK(ran.err.find("one of its files is missing (the first: number " + std::to_string(left_out) + ")") !=
            std::string::npos);
    }
    CHECK(folder.closed("out.cap") == !last);
    CHECK(folder.holes("out.cap") == 1);
    CHECK(folder.records("out.cap").size() < folder.records("c.cap").size());
  }
  // One in the middle alone, of which nothing lies beside it.
  fs::copy_file(folder.file("c.0002.cap"), folder.file("alone.cap"));
  CHECK(folder.join({"alone.cap"}).exit_code == 4);
  CHECK_FALSE(folder.closed("out.cap"));
}

TEST_CASE("one file under several names is joined once, and it is said") {
  const Several folder;
  fs::create_symlink("c.0001.cap", folder.file("link"));
  fs::create_hard_link(folder.file("c.0001.cap"), folder.file("hard"));
  for (const std::string name : {"c.0001.cap", "./c.0001.cap", "link", "hard"}) {
    auto parts = folder.names;
    parts.insert(parts.begin() + 2, name);
    const auto ran = folder.join(parts);
    CHECK(ran.exit_code == 0);
    CHECK(ran.err == "hopbench: " + name + ": the same file as c.0001.cap; it counts once\n");
    CHECK((folder.records("out.cap") == folder.records("c.cap")));
  }
  // A copy is another file with the same records.
  fs::copy_file(folder.file("c.0001.cap"), folder.file("copy"));
  auto parts = folder.names;
  parts.insert(parts.begin() + 2, "copy");
  const auto ran = folder.join(parts);
  CHECK(ran.exit_code == 0);
  CHECK(ran.out.find("were taken once") != std::string::npos);
  CHECK((folder.records("out.cap") == folder.records("c.cap")));
}

TEST_CASE("files out of order, of another run or cut short are told") {
  const Several folder;
  const auto ran = folder.join({"c.cap", "c.0002.cap", "c.0001.cap", "c.0003.cap"});
  CHECK(ran.exit_code == 2);
  CHECK(ran.err ==
        "hopbench: c.0001.cap: is file 1 of its capture, and file 2 was named before it; name parts in order of "
        "time\n");
  CHECK_FALSE(fs::exists(folder.file("out.cap")));
  const auto bytes = folder.read("c.0001.cap");
  folder.write("short.cap", bytes.substr(0, bytes.size() / 2));
  auto parts = folder.names;
  parts[1] = "short.cap";
  CHECK(folder.join(parts).exit_code == 4);
  CHECK(folder.holes("out.cap") == 1);
  REQUIRE(folder
              .run("run " HOPBENCH_SOURCE_DIR "/captures/ring16.txtpb --seed 9 --exchanges 40000 --capture o.cap"
                   " --rotate 1MB")
              .exit_code == 0);
  parts[1] = "o.0001.cap";
  CHECK(folder.join(parts).exit_code == 2);
}

TEST_CASE("cuts and files of one run, in whatever mixture, come to all of it, or it is said what is not there") {
  const Several folder;
  const auto whole = folder.records("c.cap");
  std::vector<std::string> cuts;
  const auto measured = folder.run("capture check --json c.cap").out;
  const auto until = boost::json::parse(measured).at("files").at(0).at("to_ns").to_number<std::int64_t>() / 1'000'000;
  for (int i = 0; i < 4; ++i) {
    cuts.push_back("cut" + std::to_string(i));
    std::string line = "capture cut c.cap " + cuts.back();
    if (i > 0) line += " --from " + std::to_string(until * i / 4) + "ms";
    if (i < 3) line += " --to " + std::to_string(until * (i + 1) / 4) + "ms";
    REQUIRE(folder.run(line).exit_code == 0);
  }
  sample::Dice dice(81);
  int all = 0;
  int told = 0;
  for (int turn = 0; turn < 40; ++turn) {
    // Some stretches of the run by cuts, the others by files.
    const auto border = dice.below(5);
    const bool cuts_first = dice.chance(2);
    std::vector<std::string> parts;
    const auto add = [&](const std::vector<std::string>& from, std::uint64_t quarter, std::uint64_t to) {
      for (std::uint64_t i = 0; i < from.size(); ++i) {
        const auto at = i * 4 / from.size();
        if (at >= quarter && at < to && !dice.chance(12)) parts.push_back(from[i]);
      }
    };
    add(cuts_first ? cuts : folder.names, 0, border);
    add(cuts_first ? folder.names : cuts, border, 4);
    if (parts.empty() || (parts.size() == 1 && parts[0] == "c.cap")) continue;
    const auto ran = folder.join(parts);
    CAPTURE(turn, parts, ran.err, ran.exit_code);
    if (ran.exit_code == 2) continue;
    const bool is_all = folder.records("out.cap") == whole;
    // Cuts that meet, of which none goes to the start or end of the run, are a cut themselves.
    const bool from_cut = parts.front().starts_with("cut") && parts.front() != cuts.front();
    const bool to_cut = parts.back().starts_with("cut") && parts.back() != cuts.back();
    CHECK((is_all || ran.exit_code == 4 || from_cut || to_cut));
    CHECK(folder.closed("out.cap") == (parts.back().starts_with("cut") || parts.back() == folder.names.back()));
    (ran.exit_code == 0 ? all : told) += 1;
  }
  CHECK(all > 3);
  CHECK(told > 10);
}

}  // namespace hopbench
