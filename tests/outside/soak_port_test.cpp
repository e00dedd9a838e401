// A soak test in real time: its controller is killed, the bench is killed, the cable is pulled, the computer stands
// still. What was asked is counted, and what was nobody's fault is not held against the chain.
#include <fcntl.h>
#include <sys/inotify.h>

#include <array>
#include <boost/json.hpp>
#include <cstring>
#include <filesystem>
#include <fstream>
#include <iterator>
#include <memory>
#include <string>
#include <variant>
#include <vector>

#include "port/fixtures.h"
#include "port/pty.h"
#include "process.h"
#include "support/catch.h"
#include "support/flat.h"

namespace hopbench {
namespace {

namespace json = boost::json;
using Bytes = std::vector<std::uint8_t>;

// Read two registers from 0 at node 1; as printed in many descriptions of the standard, check value 0x0BC4.
const Bytes ask_two_cells{0x01, 0x03, 0x00, 0x00, 0x00, 0x02, 0xc4, 0x0b};
constexpr std::size_t two_cells_size = 9;

std::string text_of(const std::string& path) {
  std::ifstream file(path, std::ios::binary);
  return {std::istreambuf_iterator<char>(file), {}};
}

/// Three nodes, and what is required of them.
std::string scenario_in(const Folder& folder, const char* of = "modbus-short.txtpb") {
  const std::string path = folder / "scenario.txtpb";
  std::ofstream(path) << text_of(std::string(HOPBENCH_SOURCE_DIR) + "/tests/outside/scenarios/" + of)
                      << "requirement { that: \"failed <= 5%\" acceptable: \"0.1%\" }\n"
                         "requirement { that: \"unseen <= 1h\" }\n";
  return path;
}

FileDescriptor open_client(const std::string& path) {
  FileDescriptor client(::open(path.c_str(), O_RDWR | O_NOCTTY | O_CLOEXEC));
  REQUIRE(client.valid());
  return client;
}

void ask(int client, int times) {
  for (int i = 0; i < times; ++i) {
    write_bytes(client, ask_two_cells);
    REQUIRE(read_bytes(client, two_cells_size).size() == two_cells_size);
  }
}

/// Waits until the state has been saved anew: begun and done, after the call.
void wait_for_save(const std::string& folder) {
  const FileDescriptor watch(inotify_init1(IN_CLOEXEC));
  REQUIRE(inotify_add_watch(watch.get(), folder.c_str(), IN_MOVED_TO) >= 0);
  // The first one may have been begun before.
  for (int saves = 0; saves < 2;) {
    REQUIRE(readable_within(watch.get(), patience_ms));
    alignas(inotify_event) std::array<char, 4096> events;
    const ssize_t got = ::read(watch.get(), events.data(), events.size());
    for (ssize_t at = 0; at < got;) {
      inotify_event event{};
      std::memcpy(&event, events.data() + at, sizeof event);
      if (std::string(events.data() + at + sizeof event) == "state") ++saves;
      at += static_cast<ssize_t>(sizeof event + event.len);
    }
  }
}

std::uint64_t number(const json::object& document, const char* name) {
  return document.at(name).to_number<std::uint64_t>();
}

json::object verdict_of(Process& process, int exit_code) {
  process.send(SIGTERM);
  const int ended = process.wait();
  INFO(process.err());
  CHECK(ended == exit_code);
  return json::parse(process.out()).as_object();
}

std::unique_ptr<PtyPort> far_end(const std::string& path) {
  LineCoding line;
  line.baud = 2400;
  auto made = PtyPort::open(path, line);
  REQUIRE(std::holds_alternative<std::unique_ptr<PtyPort>>(made));
  return std::move(std::get<std::unique_ptr<PtyPort>>(made));
}

}  // namespace

TEST_CASE("a soak in real time outlives the end of its controller and its own") {
  const Folder folder;
  const std::string link = folder / "chain";
  const std::string dir = folder / "soak";
  constexpr int each = 20;
  {
    Process soak({HOPBENCH_BINARY, "soak", scenario_in(folder), "--pty", link, "--time-out", "500ms", "--for", "1h",
                  "--full", "--dir", dir, "--save-every", "20ms"});
    REQUIRE(soak.says("the controller's place is at " + link));
    ask(open_client(link).get(), each);
    ask(open_client(link).get(), each);
    wait_for_save(dir);
    soak.send(SIGKILL);
    CHECK(soak.wait() == -SIGKILL);
  }
  Process soak({HOPBENCH_BINARY, "soak", "--resume", dir, "--save-every", "20ms", "--json"});
  REQUIRE(soak.says("the controller's place is at " + link));
  const auto client = open_client(link);
  ask(client.get(), each);
  const auto verdict = verdict_of(soak, 4);
  CHECK(verdict.at("end") == "interrupted");
  CHECK(verdict.at("reality") == "simulated_chain");
  CHECK(number(verdict, "resumed") == 1);
  // Before the first ask, and from the kill to the next.
  CHECK(number(verdict, "gaps") == 2);
  CHECK(number(verdict, "failed") == 0);
  // What the computer was late for stands apart. The one before the kill was perhaps not closed yet.
  const auto counted = number(verdict, "asked") + number(verdict, "late_apart");
  CHECK(counted >= 3 * each - 1);
  CHECK(counted <= 3 * each);
}

TEST_CASE("what a killed soak had recorded but not saved is counted when it is resumed") {
  const Folder folder;
  const std::string link = folder / "chain";
  const std::string dir = folder / "soak";
  // A node that is not there does not answer: each exchange is recorded whole.
  // (Its check value was reckoned with a CRC written for that, from the standard's description.)
  const Bytes ask_nobody{0x09, 0x03, 0x00, 0x00, 0x00, 0x02, 0xc5, 0x43};
  {
    Process soak({HOPBENCH_BINARY, "soak", scenario_in(folder), "--pty", link, "--time-out", "20ms", "--for", "1h",
                  "--full", "--dir", dir, "--save-every", "1min"});
    REQUIRE(soak.says("the controller's place is at " + link));
    const auto client = open_client(link);
    for (int i = 0; i < 3; ++i) {
      write_bytes(client.get(), ask_nobody);
      CHECK_FALSE(readable_within(client.get(), 30));
      ask(client.get(), 1);
    }
    // Until they are on the disk.
    const FileDescriptor watch(inotify_init1(IN_CLOEXEC));
    const std::string detail = dir + "/detail-000001.hbcap";
    REQUIRE(inotify_add_watch(watch.get(), detail.c_str(), IN_MODIFY) >= 0);
    const auto recorded = [&] {
      Process measure({HOPBENCH_BINARY, "measure", detail, "--json"});
      if (measure.wait() != 0) return false;
      return number(json::parse(measure.out()).as_object().at("exchanges").as_object(), "lost") >= 2;
    };
    while (!recorded()) {
      REQUIRE(readable_within(watch.get(), patience_ms));
      std::array<char, 4096> events;
      REQUIRE(::read(watch.get(), events.data(), events.size()) > 0);
    }
    soak.send(SIGKILL);
    CHECK(soak.wait() == -SIGKILL);
  }
  Process soak({HOPBENCH_BINARY, "soak", "--resume", dir, "--json"});
  REQUIRE(soak.says("the controller's place is at " + link));
  const auto verdict = verdict_of(soak, 4);
  CHECK(soak.err().find("the state did not have them yet") != std::string::npos);
  CHECK(number(verdict, "failed") + number(verdict, "late_apart") >= 2);
}

TEST_CASE("a soak does not count what another run has recorded") {
  const Folder folder;
  const std::string link = folder / "chain";
  const std::string dir = folder / "soak";
  const std::string detail = dir + "/detail-000001.hbcap";
  {
    Process soak({HOPBENCH_BINARY, "soak", scenario_in(folder), "--pty", link, "--for", "1h", "--full", "--dir", dir});
    REQUIRE(soak.says("the controller's place is at " + link));
    soak.send(SIGKILL);
    CHECK(soak.wait() == -SIGKILL);
  }
  Process other(
      {HOPBENCH_BINARY, "run", scenario_in(folder), "--for", "10s", "--seed", "77", "--capture", folder / "other"});
  REQUIRE(other.wait() == 0);
  REQUIRE(std::rename((folder / "other").c_str(), detail.c_str()) == 0);
  Process soak({HOPBENCH_BINARY, "soak", "--resume", dir});
  CHECK(soak.wait() == 2);
  CHECK(soak.out().empty());
  CHECK(soak.err() == "hopbench: " + detail + ": is of another run; move it out of the folder\n");
}

TEST_CASE("a soak in real time waits for a cable that was pulled, and holds it against nobody") {
  // A pty's client side is a serial port as far as this goes; the test holds the other end of the cable.
  const Folder folder;
  const std::string cable = folder / "cable";
  auto far = far_end(cable);
  const std::string dir = folder / "soak";
  Process soak({HOPBENCH_BINARY, "soak", scenario_in(folder, "old-style-short.txtpb"), "--serial", cable,
                "--send-on-real-port", "--time-out", "500ms", "--for", "1h", "--full", "--json", "--dir", dir});
  REQUIRE(soak.says("the controller's place is at " + cable));
  far.reset();
  REQUIRE(soak.says("the port is gone"));
  far = far_end(cable);
  REQUIRE(soak.says("the port is there again"));
  // Unit 1, command 1, cell 0, and the sum; back come the unit, the command with the bit for answers, and 3312 in BCD.
  const Bytes ask{0x01, 0x01, 0x00, 0x00, 0x00, 0x00, 0x00, 0x02};
  const Bytes answer{0x01, 0x81, 0x00, 0x33, 0x12, 0x00, 0x00, 0xc7};
  // The second shows that the first is over: on the wire an answer takes longer than in the pty.
  for (int i = 0; i < 2; ++i) {
    REQUIRE(far->write(ask) == static_cast<std::ptrdiff_t>(ask.size()));
    PortRead intake;
    while (intake.bytes.size() < answer.size() && readable_within(far->descriptor(), patience_ms))
      REQUIRE(far->read(intake, 4096));
    CHECK(intake.bytes == answer);
  }
  const auto verdict = verdict_of(soak, 4);
  // The time before the first ask, and in it the time without the port.
  CHECK(number(verdict, "gaps") == 1);
  CHECK(number(verdict, "failed") == 0);
  CHECK(number(verdict, "asked") + number(verdict, "late_apart") >= 1);
  // What was permitted then is not permitted for ever.
  Process again({HOPBENCH_BINARY, "soak", "--resume", dir});
  CHECK(again.wait() == 2);
  CHECK(again.err().find("--send-on-real-port") != std::string::npos);
}

TEST_CASE("what a computer that stood still may have decided stands apart in a soak") {
  const Folder folder;
  const std::string link = folder / "chain";
  Process soak({HOPBENCH_BINARY, "soak", scenario_in(folder), "--pty", link, "--time-out", "50ms", "--for", "1h",
                "--full", "--json"});
  REQUIRE(soak.says("the controller's place is at " + link));
  const auto client = open_client(link);
  ask(client.get(), 1);
  soak.stop();
  write_bytes(client.get(), ask_two_cells);
  // The controller gives up.
  CHECK_FALSE(readable_within(client.get(), 60));
  soak.send(SIGCONT);
  REQUIRE(read_bytes(client.get(), two_cells_size).size() == two_cells_size);
  ask(client.get(), 1);
  const auto verdict = verdict_of(soak, 4);
  CHECK(number(verdict, "late_apart") >= 1);
  CHECK(number(verdict, "failed") == 0);
  CHECK(verdict.at("port").at("stalls").to_number<std::uint64_t>() >= 1);
}

TEST_CASE("what is under way at the end of a soak has come to nothing yet") {
  const Folder folder;
  const std::string link = folder / "chain";
  Process soak({HOPBENCH_BINARY, "soak", scenario_in(folder), "--pty", link, "--time-out", "500ms", "--for", "1h",
                "--full", "--json"});
  REQUIRE(soak.says("the controller's place is at " + link));
  const auto client = open_client(link);
  ask(client.get(), 3);
  write_bytes(client.get(), ask_two_cells);
  const auto verdict = verdict_of(soak, 4);
  CHECK(number(verdict, "failed") == 0);
}

TEST_CASE("a soak that is killed again before anybody asks has one long time in which nothing was tested") {
  const Folder folder;
  const std::string link = folder / "chain";
  const std::string dir = folder / "soak";
  std::vector<std::string> command{
      HOPBENCH_BINARY, "soak", scenario_in(folder), "--pty", link, "--time-out", "500ms", "--for", "1h", "--full",
      "--dir",         dir,    "--save-every",      "20ms"};
  for (int i = 0; i < 3; ++i) {
    Process soak(command);
    REQUIRE(soak.says("the controller's place is at " + link));
    if (i == 0) ask(open_client(link).get(), 5);
    wait_for_save(dir);
    soak.send(SIGKILL);
    CHECK(soak.wait() == -SIGKILL);
    command = {HOPBENCH_BINARY, "soak", "--resume", dir, "--save-every", "20ms"};
  }
  Process soak({HOPBENCH_BINARY, "soak", "--resume", dir, "--json"});
  REQUIRE(soak.says("the controller's place is at " + link));
  ask(open_client(link).get(), 5);
  const auto verdict = verdict_of(soak, 4);
  CHECK(number(verdict, "failed") == 0);
  // Each start is at a whole step of the battery's, 10 s on; no cell that is read counts as unseen for that.
  const auto& unseen = verdict.at("requirements").as_array().at(1).as_object();
  CHECK(number(verdict, "gap_ns") > 10'000'000'000);
  CHECK(unseen.at("decision") == "undecided");
}

TEST_CASE("a soak that nobody asks anything keeps no limit") {
  const Folder folder;
  const std::string link = folder / "chain";
  const std::string scenario = scenario_in(folder);
  Process soak({HOPBENCH_BINARY, "soak", scenario, "--set", "requirement[1].that=unseen <= 100ms", "--pty", link,
                "--for", "300ms", "--full", "--json"});
  const int code = soak.wait();
  INFO(soak.err());
  CHECK(code == 4);
}

TEST_CASE("a soak that could not begin leaves nothing behind") {
  const Folder folder;
  const std::string dir = folder / "soak";
  const std::string scenario = scenario_in(folder);
  std::vector<std::string> options;
  SECTION("a port without permission") { options = {"--serial", "/dev/null"}; }
  SECTION("something in the place of the link") {
    std::ofstream(folder / "precious") << "precious";
    options = {"--pty", folder / "precious"};
  }
  std::vector<std::string> command{HOPBENCH_BINARY, "soak", scenario, "--dir", dir};
  command.insert(command.end(), options.begin(), options.end());
  Process soak(command);
  CHECK(soak.wait() != 0);
  CHECK_FALSE(std::filesystem::exists(dir));
}

TEST_CASE("a soak in real time that is over is told again as it was") {
  const Folder folder;
  const std::string link = folder / "chain";
  const std::string dir = folder / "soak";
  Process soak({HOPBENCH_BINARY, "soak", scenario_in(folder), "--pty", link, "--time-out", "500ms", "--for", "500ms",
                "--full", "--json", "--dir", dir});
  REQUIRE(soak.says("the controller's place is at " + link));
  ask(open_client(link).get(), 3);
  CHECK(soak.wait() == 4);
  Process again({HOPBENCH_BINARY, "soak", "--resume", dir, "--json"});
  CHECK(again.wait() == 4);
  CHECK(again.err().find("the controller's place") == std::string::npos);
  const auto first = json::parse(soak.out()).as_object();
  const auto second_time = json::parse(again.out()).as_object();
  for (const char* key : {"asked", "failed", "gaps", "gap_ns", "until_ns", "late_apart", "requirements", "end"})
    CHECK(first.at(key) == second_time.at(key));
}

TEST_CASE("a soak in real time ends when its time is over, and says what that is worth") {
  const Folder folder;
  const std::string link = folder / "chain";
  Process soak(
      {HOPBENCH_BINARY, "soak", scenario_in(folder), "--pty", link, "--time-out", "500ms", "--for", "500ms", "--full"});
  REQUIRE(soak.says("the controller's place is at " + link));
  ask(open_client(link).get(), 3);
  CHECK(soak.wait() == 4);
  CHECK(soak.out().find("Simulated chain, real controller: soak of modbus-short") != std::string::npos);
  CHECK(flat(soak.out()).find("with the real controller on a simulated chain") != std::string::npos);
  CHECK(soak.out().find("of it untested)") != std::string::npos);
}

TEST_CASE("wrong options of a soak in real time give one line and exit 2") {
  const Folder folder;
  const std::string scenario = scenario_in(folder);
  const std::string link = folder / "chain";
  std::vector<std::string> options;
  SECTION("two ports") { options = {"--pty", link, "--socket", folder / "socket"}; }
  SECTION("a port and a program") { options = {"--pty", link, "--controller", "exec:true"}; }
  SECTION("no duration") { options = {"--pty", link, "--time-out", "soon"}; }
  SECTION("a time-out for nothing") { options = {"--time-out", "50ms"}; }
  SECTION("a permission for nothing") { options = {"--pty", link, "--send-on-real-port"}; }
  SECTION("a real port without permission") { options = {"--serial", "/dev/null"}; }
  std::vector<std::string> command{HOPBENCH_BINARY, "soak", scenario};
  command.insert(command.end(), options.begin(), options.end());
  Process soak(command);
  CHECK(soak.wait() == 2);
  CHECK(soak.out().empty());
  INFO(soak.err());
  CHECK(soak.err().find("hopbench: ") != std::string::npos);
}

}  // namespace hopbench
