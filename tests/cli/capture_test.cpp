// hopbench capture: what it says of captures, and what the ones that it makes hold.
#include <boost/json.hpp>
#include <string>
#include <utility>
#include <vector>

#include "program.h"
#include "record/capture_reader.h"
#include "support/catch.h"

namespace hopbench {
namespace {

namespace json = boost::json;

constexpr const char* golden = HOPBENCH_SOURCE_DIR "/tests/record/golden/mixed-1.0.hbcap";

using Bytes = std::vector<std::pair<int, std::string>>;

/// Kind and payload of every record but the end, which tells of its own file.
Bytes records_of(const std::string& path) {
  std::string why;
  const auto reader = open_capture(path, why);
  INFO(path << ": " << why);
  REQUIRE(reader);
  Bytes records;
  BlockReader::Raw raw;
  while (reader->next_raw(raw)) {
    if (raw.kind == static_cast<std::uint8_t>(RecordKind::end)) continue;
    records.emplace_back(raw.kind, std::string(raw.payload.begin(), raw.payload.end()));
  }
  CHECK_FALSE(reader->damage().in_the_middle());
  return records;
}

std::string copy_of_golden(const program::Folder& folder) {
  std::filesystem::copy_file(golden, folder.file("a.hbcap"));
  return folder.read("a.hbcap");
}

json::object checked(const program::Folder& folder, const std::string& file) {
  const auto ran = folder.run("capture check --json " + file);
  return json::parse(ran.out).at("files").at(0).get_object();
}

}  // namespace

TEST_CASE("capture check tells what is in a sound capture") {
  const program::Folder folder;
  copy_of_golden(folder);
  const auto ran = folder.run("capture check a.hbcap");
  CHECK(ran.exit_code == 0);
  CHECK(ran.err == "");
  CHECK(ran.out.starts_with("a.hbcap: sound\n"));
  const auto told = checked(folder, "a.hbcap");
  CHECK(told.at("format") == "1.0");
  CHECK(told.at("exchanges") == 200);  // as was asked for when it was made
  // These, a head, a build and an end; and a stray, as our own check says.
  CHECK(told.at("records") == 204);
  CHECK(told.at("closed") == true);
}

TEST_CASE("capture check tells damage, a missing end and what is no capture apart") {
  const program::Folder folder;
  const std::string bytes = copy_of_golden(folder);
  auto damaged = bytes;
  damaged[20'000] ^= 1;
  folder.write("damaged.hbcap", damaged);
  folder.write("torn.hbcap", bytes.substr(0, 30'000));
  folder.write("none.hbcap", "not a capture");
  auto ran = folder.run("capture check damaged.hbcap");
  CHECK(ran.exit_code == 4);
  CHECK(ran.out.starts_with("damaged.hbcap: damaged, not closed\n"));
  ran = folder.run("capture check torn.hbcap");
  CHECK(ran.exit_code == 0);
  CHECK(ran.out.starts_with("torn.hbcap: sound, not closed\n"));
  ran = folder.run("capture check none.hbcap");
  CHECK(ran.exit_code == 2);
  CHECK(ran.err == "hopbench: none.hbcap: no capture, or its head cannot be read\n");
  CHECK(folder.run("capture check nowhere.hbcap").exit_code == 3);
  ran = folder.run("capture check a.hbcap none.hbcap nowhere.hbcap damaged.hbcap");
  CHECK(ran.exit_code == 3);
  CHECK(ran.out.starts_with("a.hbcap: sound\n"));
}

TEST_CASE("cuts that meet, joined, hold the records of the whole") {
  const program::Folder folder;
  const std::string whole = copy_of_golden(folder);
  for (const char* line :
       {"capture cut a.hbcap p1.hbcap --to 4s", "capture cut a.hbcap p2.hbcap --from 4s --to 9s",
        "capture cut a.hbcap p3.hbcap --from 9s", "capture join b.hbcap p1.hbcap p2.hbcap p3.hbcap"}) {
    const auto ran = folder.run(line);
    INFO(line << ": " << ran.err);
    CHECK(ran.exit_code == 0);
  }
  CHECK((records_of(folder.file("b.hbcap")) == records_of(folder.file("a.hbcap"))));
  CHECK((folder.read("b.hbcap") == whole));  // nothing in a capture tells of where it was
  CHECK(folder.run("measure --json b.hbcap").out == folder.run("measure --json a.hbcap").out);
  const auto part = records_of(folder.file("p2.hbcap"));
  CHECK(part.size() > 20);
  CHECK(part.size() < 150);
}

TEST_CASE("records that two parts hold are taken once") {
  const program::Folder folder;
  copy_of_golden(folder);
  CHECK(folder.run("capture cut a.hbcap p1.hbcap --to 8s").exit_code == 0);
  CHECK(folder.run("capture cut a.hbcap p2.hbcap --from 3s --to 6s").exit_code == 0);
  CHECK(folder.run("capture cut a.hbcap p3.hbcap --from 5s").exit_code == 0);
  const auto ran = folder.run("capture join b.hbcap p1.hbcap p2.hbcap p3.hbcap");
  CHECK(ran.exit_code == 0);
  CHECK(ran.out.find("were taken once") != std::string::npos);
  CHECK((records_of(folder.file("b.hbcap")) == records_of(folder.file("a.hbcap"))));
}

TEST_CASE("parts out of order, of other runs, or with a hole between are told") {
  const program::Folder folder;
  copy_of_golden(folder);
  std::filesystem::copy_file(HOPBENCH_SOURCE_DIR "/tests/record/golden/line-1.0.hbcap", folder.file("other.hbcap"));
  CHECK(folder.run("capture cut a.hbcap p1.hbcap --to 4s").exit_code == 0);
  CHECK(folder.run("capture cut a.hbcap p3.hbcap --from 9s").exit_code == 0);
  auto ran = folder.run("capture join b.hbcap p3.hbcap p1.hbcap");
  CHECK(ran.exit_code == 2);
  CHECK(ran.err ==
        "hopbench: p1.hbcap: begins before p3.hbcap, which was named before it; name parts in order of time\n");
  ran = folder.run("capture join b.hbcap p1.hbcap other.hbcap");
  CHECK(ran.exit_code == 2);
  CHECK(ran.err == "hopbench: other.hbcap: of another run than p1.hbcap: another scenario\n");
  CHECK_FALSE(std::filesystem::exists(folder.file("b.hbcap")));
  CHECK_FALSE(std::filesystem::exists(folder.file("b.hbcap.part")));
  ran = folder.run("capture join b.hbcap p1.hbcap p3.hbcap");
  CHECK(ran.exit_code == 4);
  CHECK(ran.err.find("begins later than p1.hbcap ends") != std::string::npos);
}

TEST_CASE("a cut is measured as what it is, and what is made of a damaged capture says so") {
  const program::Folder folder;
  const std::string whole = copy_of_golden(folder);
  CHECK(folder.run("capture cut a.hbcap c.hbcap --from 4s --to 9s").exit_code == 0);
  const auto measured = folder.run("measure c.hbcap");
  // The first exchange closed in it had begun some tries before.
  CHECK(measured.out.find("exchanges were asked in 5.53 s") != std::string::npos);
  CHECK(measured.out.find("left out") == std::string::npos);

  std::string damaged = whole;
  damaged[damaged.size() / 2] = static_cast<char>(damaged[damaged.size() / 2] ^ 0x10);
  std::ofstream(folder.file("d.hbcap"), std::ios::binary) << damaged;
  for (const char* line :
       {"capture cut d.hbcap e.hbcap --from 1s", "capture thin d.hbcap f.hbcap", "capture join g.hbcap d.hbcap"}) {
    INFO(line);
    CHECK(folder.run(line).exit_code == 4);
  }
  for (const char* name : {"e.hbcap", "f.hbcap", "g.hbcap"}) {
    INFO(name);
    CHECK(folder.run(std::string("measure --json ") + name).out.find("\"holes\": 1") != std::string::npos);
  }
}

TEST_CASE("of a capture whose first head cannot be read all is measured that another file's head tells of") {
  const program::Folder folder;
  REQUIRE(folder.run("run " HOPBENCH_SOURCE_DIR "/captures/ring16.txtpb --exchanges 20000 --capture c.cap --rotate 1MB")
              .exit_code == 0);
  std::string bytes = folder.read("c.cap");
  bytes[100] = static_cast<char>(bytes[100] ^ 1);
  folder.write("c.cap", bytes);
  const auto told = checked(folder, "c.cap");
  CHECK(told.at("sound") == false);
  const auto measured = folder.run("measure --json c.cap");
  CHECK(measured.exit_code == 4);
  CHECK(json::parse(measured.out).at("exchanges").at("asked") == told.at("exchanges"));
  CHECK(told.at("exchanges").to_number<std::uint64_t>() > 19'000);
}

TEST_CASE("a file that ended as its run went on is not called unclosed, and damage that is none is not counted") {
  const program::Folder folder;
  REQUIRE(folder.run("run " HOPBENCH_SOURCE_DIR "/captures/ring16.txtpb --exchanges 20000 --capture c.cap --rotate 1MB")
              .exit_code == 0);
  folder.write("alone.cap", folder.read("c.0001.cap"));
  const std::string goes_on = "goes on in a file that is not here";
  CHECK(folder.run("capture check alone.cap").out.find(goes_on) != std::string::npos);
  const auto measured = folder.run("measure alone.cap");
  CHECK(measured.err.find("goes on in another, which is not here") != std::string::npos);
  CHECK(measured.err.find("still being written") == std::string::npos);
  folder.write("c.0001.cap", "");
  const auto damaged = folder.run("capture check c.cap");
  CHECK(damaged.exit_code == 4);
  CHECK(damaged.out.find(" 0 records missing") == std::string::npos);
  CHECK(damaged.out.find("one of its files is missing") != std::string::npos);
}

TEST_CASE("captures are never written over, and a cut of nothing makes none") {
  const program::Folder folder;
  const std::string bytes = copy_of_golden(folder);
  folder.write("there.hbcap", "precious");
  for (const char* line : {"capture cut a.hbcap there.hbcap", "capture join there.hbcap a.hbcap",
                           "capture thin a.hbcap there.hbcap", "capture cut a.hbcap a.hbcap"}) {
    INFO(line);
    CHECK(folder.run(line).exit_code == 3);
  }
  CHECK(folder.read("there.hbcap") == "precious");
  CHECK(folder.read("a.hbcap") == bytes);
  for (const char* line : {"capture cut a.hbcap b.hbcap --from 2h", "capture cut a.hbcap b.hbcap --from 3s --to 2s",
                           "capture cut a.hbcap b.hbcap --from soon", "capture", "capture thin a.hbcap"}) {
    INFO(line);
    CHECK(folder.run(line).exit_code == 2);
  }
  CHECK_FALSE(std::filesystem::exists(folder.file("b.hbcap")));
}

TEST_CASE("a thinned capture is measured as the whole one is, and is smaller") {
  const program::Folder folder;
  copy_of_golden(folder);
  CHECK(folder.run("capture thin a.hbcap thin.hbcap --around 1").exit_code == 0);
  const auto told = checked(folder, "thin.hbcap");
  CHECK(told.at("format") == "1.4");
  CHECK(told.at("exchanges").to_number<int>() + told.at("tallied").to_number<int>() == 200);
  CHECK(told.at("tallied").to_number<int>() > 50);
  const auto of = [&](const char* file) {
    return json::parse(folder.run(std::string("measure --json ") + file).out).at("hops");
  };
  CHECK(of("thin.hbcap") == of("a.hbcap"));
}

}  // namespace hopbench
