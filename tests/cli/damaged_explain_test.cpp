// A capture of which a part cannot be read: how much is missing is said where it is known, and else that it is not.
#include <boost/json.hpp>

#include "program.h"
#include "support/catch.h"

namespace hopbench {

TEST_CASE("of two captures in one file the second is skipped, and no number of its records is made up") {
  const program::Folder folder;
  REQUIRE(
      folder.run("run " HOPBENCH_SOURCE_DIR "/captures/ring16.txtpb --exchanges 3000 --capture one.cap").exit_code ==
      0);
  const auto bytes = folder.read("one.cap");
  folder.write("glued.cap", bytes + bytes);
  for (const char* command : {"explain glued.cap", "measure glued.cap", "capture check glued.cap"}) {
    const auto ran = folder.run(command);
    INFO(command << ran.out << ran.err);
    CHECK(ran.exit_code == 4);
    const auto said = ran.out + ran.err;
    CHECK(said.find("how many records they held cannot be told") != std::string::npos);
    CHECK(said.find("0 records") == std::string::npos);
  }
  const auto explained = boost::json::parse(folder.run("explain glued.cap --json").out);
  CHECK(explained.at("damage").at("in_the_middle") == true);
  CHECK(explained.at("damage").at("bytes_skipped").to_number<std::uint64_t>() > bytes.size() / 2);
  CHECK(explained.at("damage").at("records_missing").is_null());
  CHECK(boost::json::parse(folder.run("measure glued.cap --json").out).at("capture").at("records_missing").is_null());
  const auto sound = boost::json::parse(folder.run("explain one.cap --json").out);
  CHECK(sound.at("damage").at("in_the_middle") == false);
  CHECK(sound.at("damage").at("records_missing") == 0);
}

}  // namespace hopbench
