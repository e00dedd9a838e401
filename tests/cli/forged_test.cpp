// Every command that reads captures, on captures whose check values are good and whose values are not: each ends with
// a code of its own, and what it prints as JSON is JSON.
#include <boost/json/parse.hpp>
#include <cstdlib>
#include <filesystem>

#include "cli/program.h"
#include "record/forged.h"
#include "support/catch.h"

namespace hopbench {
namespace {

int captures_wanted() {
  const char* asked = std::getenv("HOPBENCH_FORGED");
  return asked == nullptr ? 25 : std::atoi(asked);
}

void check_ran(const program::Folder& folder, const std::string& command) {
  CAPTURE(command);
  // 124: it did not end by itself; above: a signal. What a sanitizer says is on stderr.
  const auto ran = folder.shell("cd '" + folder.file("") + "' && timeout 120 '" HOPBENCH_BINARY "' " + command);
  CHECK(ran.exit_code <= 4);
  CHECK(ran.err.find("runtime error") == std::string::npos);
  CHECK(ran.err.find("Sanitizer") == std::string::npos);
  if (command.find("--json") == std::string::npos || ran.out.empty()) return;
  boost::system::error_code error;
  boost::json::parse(ran.out, error);
  INFO(ran.out.substr(0, 2000));
  CHECK_FALSE(error);
}

}  // namespace

TEST_CASE("every command takes any capture whose records are well formed") {
  const program::Folder folder;
  const std::string sound = "sound.cap";
  {
    const auto bytes = sample::capture_of(sample::full_run(1, 80));
    folder.write(sound, std::string(bytes.begin(), bytes.end()));
  }
  for (int i = 0; i < captures_wanted(); ++i) {
    const auto seed = static_cast<std::uint64_t>(1000 + i);
    CAPTURE(seed);
    const auto bytes = sample::forged(sample::capture_of(sample::full_run(seed, 80)), seed, 1 + seed % 9);
    folder.write("f.cap", std::string(bytes.begin(), bytes.end()));
    for (const std::string command :
         {"capture check f.cap", "capture check f.cap --json", "measure f.cap", "measure f.cap --json",
          "measure f.cap --series /dev/null --step 1s", "explain f.cap", "explain f.cap --json",
          "explain f.cap --vantage controller", "compare f.cap sound.cap --json", "compare sound.cap f.cap",
          "capture cut f.cap o.cap --from 10s --to 40s", "capture thin f.cap t.cap --keep-one-in 3",
          "measure t.cap --json", "capture join j.cap f.cap", "emulate --again f.cap --json"}) {
      check_ran(folder, command);
    }
    for (const char* made : {"o.cap", "t.cap", "j.cap"}) std::filesystem::remove(folder.file(made));
  }
}

TEST_CASE("figures say how much is of a kind that this version does not know") {
  auto run = sample::Run{};
  run.info = sample::ring(3);
  for (std::uint64_t i = 0; i < 10; ++i) {
    run.events.emplace_back(sample::clean_exchange(run.info, i, static_cast<Nanos>(i) * second));
  }
  auto& strange = std::get<sample::OwnedExchange>(run.events[4]);
  strange.fixed.outcome = static_cast<Outcome>(57);
  strange.rows[1].symptom = static_cast<Symptom>(59);
  strange.attempt_truth.front().cause = static_cast<Cause>(60);
  run.info.links[2].vantage = static_cast<Vantage>(61);
  run.until = 10 * second;
  const program::Folder folder;
  const auto bytes = sample::capture_of(run);
  folder.write("f.cap", std::string(bytes.begin(), bytes.end()));
  const auto table = folder.run("measure f.cap");
  CHECK(table.exit_code == 0);
  CHECK(table.out.find("answered 9, unknown 1; 10 tries") != std::string::npos);
  CHECK(table.out.find("seen: unknown 1") != std::string::npos);
  CHECK(table.out.find("unknown (60)") != std::string::npos);
  const auto json = boost::json::parse(folder.run("measure f.cap --json").out).as_object();
  CHECK(json.at("exchanges").at("unknown").as_int64() == 1);
  CHECK(json.at("exchanges").at("answered").as_int64() == 9);
  CHECK(json.at("hops").as_array()[1].at("unknown").as_int64() == 1);
  CHECK(json.at("causes").at("unknown (60)").as_int64() == 1);
  CHECK(json.at("vantage").as_string() == "unknown (61)");
}

}  // namespace hopbench
