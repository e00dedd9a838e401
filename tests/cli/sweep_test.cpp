// `hopbench sweep` as a user runs it: on any number of threads, in shards, broken off and gone on with.
#include <filesystem>
#include <string>
#include <vector>

#include "program.h"
#include "support/catch.h"
#include "support/flat.h"

namespace hopbench {
namespace {

const std::string captures = std::string(HOPBENCH_SOURCE_DIR) + "/captures/";
const std::string noise = "sweep " + captures + "mechanisms/bit-noise.txtpb ";
const std::string grid = noise + "--vary controller.retries=0..2 --vary \"baud=9600,38400,1\" --seeds 3 --for 3min ";

bool has(const std::string& text, const std::string& part) { return text.find(part) != std::string::npos; }

bool is_one_line(const std::string& text) { return !text.empty() && text.find('\n') == text.size() - 1; }

/// `lines` of shell, with $H for the program.
program::Ran shell(const program::Folder& folder, const std::string& lines) {
  return folder.shell("H='" HOPBENCH_BINARY "'; cd '" + folder.file("") + "'; " + lines);
}

std::size_t runs_in(const program::Folder& folder, const std::string& name) {
  std::size_t count = 0;
  for (const auto& entry : std::filesystem::directory_iterator(folder.file(name)))
    count += entry.path().filename().string().starts_with("run-") && entry.path().extension().empty() ? 1 : 0;
  return count;
}

/// Begins `command` in the background, waits until it has finished `enough` runs into the folder "d", and sends it
/// `signal`. The command must have more to do; it yields to who waits, so that it has not ended by then.
program::Ran stopped(const program::Folder& folder, const std::string& command, const std::string& enough,
                     const std::string& signal) {
  return shell(folder, "nice -n 15 $H " + command +
                           " --out d & n=0; until [ \"$(ls d 2>/dev/null | grep -c '^run-[0-9]*$')\" -ge " + enough +
                           " ] || [ $n -gt 50000 ]; do n=$((n + 1)); done; kill -" + signal + " $!; wait $!");
}

}  // namespace

TEST_CASE("a sweep comes out the same on any number of threads, in shards, and with its results kept") {
  const program::Folder folder;
  for (const std::string how : {"", "--json", "--csv"}) {
    INFO(how);
    const auto one = folder.run(grid + how + " --threads 1");
    REQUIRE(one.exit_code == 0);
    CHECK(one.err.empty());
    CHECK(folder.run(grid + how + " --threads 2").out == one.out);
    CHECK(folder.run(grid + how + " --threads 3").out == one.out);
    CHECK(folder.run(grid + how + " --threads 3 --out whole").out == one.out);
    CHECK(folder.run("sweep --merge whole " + how).out == one.out);
    if (how.empty()) {
      for (const std::string part : {"3/3", "1/3", "2/3"}) {
        const auto shard = folder.run(grid + "--shard " + part + " --out part" + part.substr(0, 1) + " --threads 2");
        CHECK(shard.exit_code == 0);
        CHECK(has(flat(shard.out), "9 of 27 runs so far"));
      }
    }
    const auto merged = folder.run("sweep --merge part2 part1 part3 " + how);
    CHECK(merged.exit_code == 0);
    CHECK(merged.err.empty());
    CHECK(merged.out == one.out);
  }
  CHECK(runs_in(folder, "whole") == 27);
  CHECK(runs_in(folder, "part1") == 9);

  const auto two_of_three = folder.run("sweep --merge part1 part3");
  CHECK(two_of_three.exit_code == 4);
  CHECK(has(flat(two_of_three.out), "18 of 27 runs so far"));
  CHECK(two_of_three.err == "hopbench: 9 of 27 runs are missing; make them with the same command and --out\n");
}

TEST_CASE("shards may share a folder") {
  const program::Folder folder;
  const auto both = shell(folder, "$H " + grid + "--shard 1/2 --out d >/dev/null & $H " + grid +
                                      "--shard 2/2 --out d >/dev/null; wait; $H sweep --merge d");
  CHECK(both.err.empty());
  CHECK(both.exit_code == 0);
  CHECK(both.out == folder.run(grid).out);
}

TEST_CASE("a sweep that is killed goes on where it was, and one that is interrupted says what it has") {
  for (const std::string signal : {"KILL", "INT", "TERM"}) {
    INFO(signal);
    const program::Folder folder;
    const std::string large = noise + "--vary controller.retries=0..2 --seeds 20 --for 2h";
    const auto broken = stopped(folder, large + " --threads 2", "3", signal);
    const std::size_t made = runs_in(folder, "d");
    CHECK(made >= 3);
    REQUIRE(made < 60);
    if (signal == "KILL") {
      CHECK(broken.exit_code == 137);
    } else {
      CHECK(broken.exit_code == 4);
      CHECK(has(flat(broken.out), std::to_string(made) + " of 60 runs so far"));
      CHECK(broken.err == "hopbench: interrupted; the same command goes on from there\n");
    }
    const auto on = folder.run(large + " --out d --json");
    CHECK(on.exit_code == 0);
    CHECK(on.err.empty());
    CHECK(runs_in(folder, "d") == 60);
    if (signal == "INT") CHECK(on.out == folder.run(large + " --json --threads 3").out);
    CHECK(folder.run("sweep --merge d --json").out == on.out);
  }
}

TEST_CASE("finished runs are not made again, and a damaged one is") {
  const program::Folder folder;
  const auto whole = folder.run(grid + "--out d");
  REQUIRE(whole.exit_code == 0);
  const std::string before = folder.read("d/run-000004");
  folder.write("d/run-000004", before.substr(0, before.size() - 1) + "?");
  std::filesystem::remove(folder.file("d/run-000005"));
  const auto old = std::filesystem::last_write_time(folder.file("d/run-000003"));
  const auto merged = folder.run("sweep --merge d");
  CHECK(merged.exit_code == 4);
  CHECK(merged.err ==
        "hopbench: d/run-000004: is damaged, and left out\n"
        "hopbench: 2 of 27 runs are missing; make them with the same command and --out\n");
  const auto again = folder.run(grid + "--out d");
  CHECK(again.exit_code == 0);
  CHECK(again.out == whole.out);
  CHECK(again.err == "hopbench: d/run-000004: is damaged; made anew\n");
  CHECK(folder.read("d/run-000004") == before);
  CHECK(std::filesystem::last_write_time(folder.file("d/run-000003")) == old);
}

TEST_CASE("a folder of another sweep is refused in one line that says what differs") {
  const program::Folder folder;
  REQUIRE(folder.run(noise + "--vary controller.retries=0,1 --seeds 2 --for 1min --out d").exit_code == 0);
  const auto refused = [&](const std::string& arguments, const std::string& why) {
    const auto ran = folder.run(arguments + " --out d");
    INFO(arguments);
    CHECK(ran.exit_code == 2);
    CHECK(ran.out.empty());
    CHECK(ran.err == "hopbench: --out: d was made by another sweep: " + why + "\n");
  };
  const std::string retries = noise + "--vary controller.retries=";
  refused(retries + "0,1 --seeds 3 --for 1min", "number of seeds: 2 there, 3 here");
  refused(retries + "0,1 --seeds 2 --for 1min --from-seed 2", "first seed: 1 there, 2 here");
  refused(retries + "0,1 --seeds 2 --for 2min", "length of a run: 1min there, 2min here");
  refused(retries + "0,1 --seeds 2", "length of a run: 1min there, as the scenario says here");
  refused(retries + "0,1,2 --seeds 2 --for 1min",
          "varied field: controller.retries=0,1 there, controller.retries=0,1,2 here");
  refused(retries + "0,1 --seeds 2 --for 1min --set baud=9600", "another scenario");
  // Another way to say the same.
  CHECK(folder.run(retries + "0..1 --seeds 2 --for 60s --out d --set baud=19200").exit_code == 0);

  REQUIRE(folder.run(retries + "0,1 --seeds 3 --for 1min --out e").exit_code == 0);
  const auto merged = folder.run("sweep --merge d e");
  CHECK(merged.exit_code == 2);
  CHECK(merged.err == "hopbench: e is of another sweep than d: number of seeds: 3 there, 2 here\n");
  std::filesystem::create_directory(folder.file("mine"));
  folder.write("mine/letter", "hello");
  const auto not_one = folder.run(retries + "0,1 --out mine");
  CHECK(not_one.exit_code == 3);
  CHECK(is_one_line(not_one.err));
  CHECK(folder.run("sweep --merge mine").exit_code == 3);
  CHECK(folder.run("sweep --merge nowhere").exit_code == 3);
}

TEST_CASE("a folder that has no room is told in one line, and nothing half is left in it") {
  const program::Folder folder;
  const auto ran = shell(folder, "ulimit -f 1; $H " + noise + "--vary controller.retries=0,1 --for 1min --out d");
  CHECK(ran.exit_code == 3);
  CHECK(ran.out.empty());
  CHECK(ran.err == "hopbench: --out: d: File too large\n");
  CHECK(std::filesystem::is_empty(folder.file("d")));
}

TEST_CASE("a point that cannot be is told as such, and only if all are the sweep fails") {
  const program::Folder folder;
  const auto some = folder.run(noise + "--vary baud=1,9600 --for 1min");
  CHECK(some.exit_code == 0);
  CHECK(has(some.out, "cannot be run"));
  CHECK(has(some.out, "baud=1: baud: baud must be 50 to 10000000, not 1"));
  const auto csv = folder.run(noise + "--vary baud=1,9600 --for 1min --csv");
  CHECK(has(csv.out, "\n1,\"baud: baud must be 50 to 10000000, not 1\",1,0,0,0,0,,,,,"));
  const auto all = folder.run(noise + "--vary baud=1,2 --for 1min --out d");
  CHECK(all.exit_code == 2);
  CHECK(all.out.empty());
  CHECK(all.err == "hopbench: --vary: baud: baud must be 50 to 10000000, not 1 (no other point can be run either)\n");
  CHECK_FALSE(std::filesystem::exists(folder.file("d")));
}

TEST_CASE("what is wrong with the command is told in one line") {
  const program::Folder folder;
  const std::vector<std::string> wrong{"sweep",
                                       noise,
                                       noise + "--vary controller.retries",
                                       noise + "--vary controller.tries=1",
                                       noise + "--vary baud=9600 --vary baud=19200",
                                       noise + "--vary baud=9600 --seeds 0",
                                       noise + "--vary baud=9600 --seeds 1000000",
                                       noise + "--vary baud=9600 --for 0s",
                                       noise + "--vary baud=9600 --shard 1/2",
                                       noise + "--vary baud=9600 --shard 3/2 --out d",
                                       noise + "--vary baud=9600 --shard 0/2 --out d",
                                       "sweep --merge d --seeds 2",
                                       "sweep no-such-file --vary a=1"};
  for (const auto& arguments : wrong) {
    INFO(arguments);
    const auto ran = folder.run(arguments);
    CHECK(ran.exit_code == 2);
    CHECK(ran.out.empty());
    CHECK(is_one_line(ran.err));
  }
  CHECK_FALSE(std::filesystem::exists(folder.file("d")));
}

TEST_CASE("one point of a sweep says what `run` says of it") {
  const program::Folder folder;
  const auto swept = folder.run(noise + "--vary controller.retries=1 --from-seed 5 --for 20min --json");
  const auto run = folder.run("run " + captures +
                              "mechanisms/bit-noise.txtpb --seed 5 --for 20min --set controller.retries=1 --json");
  REQUIRE(swept.exit_code == 0);
  const auto value = [](const std::string& text, const std::string& key) {
    const auto at = text.find("\"" + key + "\": ");
    REQUIRE(at != std::string::npos);
    return text.substr(at, text.find_first_of(",}\n", at) - at);
  };
  for (const std::string key : {"asked", "answered", "lost", "tries", "p50", "p99", "max"})
    CHECK(value(swept.out, key) == value(run.out, key));
}

}  // namespace hopbench
