// Programs that know nothing of hopbench, in granted time by the preload library: one with libmodbus, one with POSIX
// alone, one with pyserial, and what is refused.
#include <algorithm>
#include <filesystem>
#include <fstream>
#include <regex>
#include <string>
#include <vector>

#include "program.h"
#include "support/catch.h"

namespace hopbench {
namespace {

using Catch::Matchers::Contains;

const std::string source = HOPBENCH_SOURCE_DIR;
const std::string scenarios = source + "/tests/outside/scenarios/";
const std::string programs = std::filesystem::path(HOPBENCH_BINARY).parent_path().string();
const std::string preload = "env LD_PRELOAD=" HOPBENCH_PRELOAD " HOPBENCH_TIME_TTY=/dev/bench ";

/// `program` in the controller's seat of a scenario; what it prints is in `err`.
program::Ran run_with(const program::Folder& folder, const std::string& scenario, const std::string& program,
                      const std::string& more = "--for 1min") {
  return folder.run("run " + scenarios + scenario + ".txtpb " + more + " --controller \"exec:" + preload + program +
                    "\"");
}

std::string registers(const std::string& more = "") {
  return programs + "/controller_registers /dev/bench 57600" + more;
}
std::string plain_tty(const std::string& way) { return programs + "/controller_plain_tty /dev/bench " + way; }
std::string refused(const std::string& way) { return programs + "/controller_refused /dev/bench " + way; }

/// The number behind `before` in a text.
std::uint64_t number_in(const std::string& text, const std::string& before) {
  std::smatch found;
  INFO(text);
  REQUIRE(std::regex_search(text, found, std::regex(before + "([0-9]+)")));
  return std::stoull(found[1]);
}

/// What is printed by a program that then leaves.
std::string printed(const std::string& program, const std::string& scenario = "modbus-short") {
  const program::Folder folder;
  const auto ran = run_with(folder, scenario, program);
  CHECK(ran.exit_code == 4);
  const std::size_t end = ran.err.find("hopbench: ");
  REQUIRE(end != std::string::npos);
  CHECK_THAT(ran.err.substr(end), Contains(": said goodbye before the end of the run"));
  return ran.err.substr(0, end);
}

std::size_t count_of(const std::string& text, const std::string& what) {
  std::size_t count = 0;
  for (std::size_t at = text.find(what); at != std::string::npos; at = text.find(what, at + 1)) ++count;
  return count;
}

}  // namespace

TEST_CASE("an unchanged libmodbus program counts what the run counts", "[preload]") {
  const program::Folder folder;
  const auto ran = run_with(folder, "modbus-lossy", registers(" 3 1000"), "--for 1h --json");
  CHECK(ran.exit_code == 0);
  const std::uint64_t asked = number_in(ran.out, "\"asked\": ");
  const std::uint64_t answered = number_in(ran.out, "\"answered\": ");
  const std::uint64_t lost = number_in(ran.out, "\"lost\": ");
  CHECK(asked == answered + lost);
  CHECK(asked == 3'600);
  // 0.3 % of all answers are lost, and 0.2 % of the asks that go on to the second node, two in three: 15.6 of 3,600.
  // Fewer than 3 or more than 33 come less than once in 10,000 runs (Poisson).
  CHECK(lost >= 3);
  CHECK(lost <= 33);
  // It asks once more at the very end, which meets it.
  CHECK(number_in(ran.err, "asked ") == asked + 1);
  CHECK(number_in(ran.err, ", answered ") == answered);
  CHECK(count_of(ran.err, ": Connection timed out\n") == lost);
  CHECK_THAT(ran.err, Contains("2026-01-01 00:"));
}

TEST_CASE("the same run of an unchanged program makes the same capture", "[preload]") {
  const program::Folder folder;
  for (const std::string scenario : {"modbus-lossy", "modbus-noisy", "modbus-late"}) {
    const auto one = run_with(folder, scenario, registers(" 3 1000"), "--for 30min --capture " + scenario + "1.hbcap");
    const auto two = run_with(folder, scenario, registers(" 3 1000"), "--for 30min --capture " + scenario + "2.hbcap");
    CHECK(one.exit_code == 0);
    CHECK(one.out == two.out);
    CHECK(one.err == two.err);
    CHECK(folder.read(scenario + "1.hbcap") == folder.read(scenario + "2.hbcap"));
    const auto bytes = run_with(folder, scenario, registers(" 3 1000"), "--for 30min --every-byte");
    CHECK(bytes.out == one.out);
    CHECK(bytes.err == one.err);
  }
}

TEST_CASE("sleeps and time-outs of an unchanged program take what it says", "[preload]") {
  CHECK(printed(plain_tty("waits")) ==
        "nanos 123456789 ns, 0\n"
        "until a date 3000000000 ns, 0\n"
        "micros 1500000 ns, 0\n"
        "seconds 2000000000 ns, 0\n"
        "poll of none 250000000 ns, 0\n"
        "poll 35000000 ns, 0\n"
        "ppoll 1 ns, 0\n"
        "select 7000 ns, 0\n"
        "pselect of none 333 ns, 0\n"
        "poll of an empty pipe 40000000 ns, 0\n"
        "poll of a full pipe 0 ns, 1\n");
  CHECK(printed(plain_tty("dates")) ==
        "time 2026-01-01 00:00:00\n"
        "gettimeofday 1.250000\n"
        "boottime 1.250000000\n"
        "timespec_get 1.250000000\n");
}

TEST_CASE("an unchanged program reads as VMIN and VTIME say", "[preload]") {
  // POSIX.1-2017, Base Definitions, 11.1.7: cases A to D. When the answer's seventh character ends is the run's affair;
  // all else follows from it: a character has 11 bits of 57,600 Bd, so they come 190,972.2 ns apart.
  const std::string text = printed(plain_tty("reads"));
  const std::uint64_t seventh = number_in(text, "seven ");
  CHECK(seventh > 15 * 190'972);
  const auto at = [&](std::uint64_t character) {
    return std::to_string(seventh - (7 - character) * 11 * 1'000'000'000 / 57'600);
  };
  CHECK(text == "seven " + at(7) + " ns, 7\n" +  // A, but with MIN only
                    "255 or a tenth between " + std::to_string(seventh + 100'000'000) + " ns, 7\n" +   // A
                    "nothing in five tenths 500000000 ns, 0\n" +                                       // C
                    "one in five tenths " + at(1) + " ns, 1\n" +                                       // C
                    "three more 572916 ns, 3\n" +                                                      // B
                    "seven there, two tenths 200000000 ns, 7\n" +                                      // A
                    "none at once 0 ns, 0\n" +                                                         // D
                    "select " + at(1) + " ns, 1\n" +                                                   //
                    "left " + std::to_string((1'000'000'000 - std::stoull(at(1))) / 1000) + " us\n" +  // as Linux does
                    "there 1\n"
                    "poll for five " +
                    at(5) + " ns, 1\n" +  // as Linux does, with MIN only
                    "there 5\n"
                    "readv 0 ns, 7\n"
                    "bytes 1 3 2 0\n"
                    "not blocking 0 ns, -1\n"
                    "Resource temporarily unavailable\n");
}

TEST_CASE("an unchanged program writes at the pace of its line", "[preload]") {
  // 11 bits of 57,600 Bd each: 8 characters take 1,527,777.8 ns, 5,000 take 954,861,111.1 ns. With room for 4,095, the
  // rest of 5,000 is written when 256 are left, at 3,839 characters: 733,142,361.1 ns.
  CHECK(printed(plain_tty("writes")) ==
        "unsent 8\n"
        "drained 1527778 ns, 0\n"
        "unsent 0\n"
        "more than there is room for 733142362 ns, 5000\n"
        "unsent 1161\n"
        "closed 954861112 ns, 0\n"
        "not blocking 0 ns, 4095\n"
        "not blocking 0 ns, -1\n"
        "Resource temporarily unavailable\n");
}

TEST_CASE("time goes on for an unchanged program that waits by looking", "[preload]") {
  // 1,000 looks take no time, each further one 10 us: the 6,000th sees 50 ms, the one that is said is the 6,001st.
  CHECK(printed(plain_tty("spins")) == "looked 50010000 ns, 5999\n");
  const std::string text = printed(plain_tty("looks"));
  const std::uint64_t first = number_in(printed(plain_tty("reads")), "select ");
  CHECK(number_in(text, "looked ") >= first);
  CHECK(number_in(text, "looked ") < first + 30'000);
  CHECK(number_in(text, "ns, ") < 1'000 + first / 10'000 + 10);
}

TEST_CASE("an unchanged program is told that the run is over", "[preload]") {
  const program::Folder folder;
  // By the signal that it handles; libmodbus is in the middle of a wait.
  const auto handles = run_with(folder, "modbus-short", registers(" 3 1000"));
  CHECK(handles.exit_code == 0);
  CHECK(std::regex_match(handles.err, std::regex("asked 61, answered 60, slowest [0-9]+ us\n")));
  // As by exit(0) where it handles none: what it has printed is there.
  const auto sleeps = run_with(folder, "modbus-short", plain_tty("sleeps"));
  CHECK(sleeps.exit_code == 0);
  CHECK_THAT(sleeps.err, Contains(" 59 60 "));
  CHECK_THAT(sleeps.err, !Contains("61 62"));
  CHECK_THAT(sleeps.err, !Contains("hopbench"));
}

TEST_CASE("the terminal of an unchanged program is there whatever else it closes", "[preload]") {
  CHECK(printed(plain_tty("closes")) == "1 /dev/bench\n1\n");
}

TEST_CASE("an unchanged program in Python with pyserial", "[preload]") {
  const program::Folder folder;
  if (folder.shell("/usr/bin/python3 -c 'import serial'").exit_code != 0) {
    WARN("pyserial is not installed: not tried");
    return;
  }
  const auto ran = run_with(folder, "modbus-lossy",
                            "/usr/bin/python3 " + source + "/tests/outside/controllers/registers.py /dev/bench 57600",
                            "--for 30min --json");
  CHECK(ran.exit_code == 0);
  CHECK(number_in(ran.out, "\"asked\": ") == 3'600);  // twice a second
  CHECK(number_in(ran.err, "asked ") == 3'600);
  CHECK(number_in(ran.err, ", answered ") == number_in(ran.out, "\"answered\": "));
  CHECK_THAT(ran.err, Contains("2026-01-01 00:30:00"));
}

TEST_CASE("an unchanged program is started by a shell, or connects to a socket", "[preload]") {
  const program::Folder folder;
  const auto straight = run_with(folder, "modbus-short", registers());
  const auto by_shell = run_with(folder, "modbus-short", "sh -c 'exec " + registers() + "'");
  CHECK(by_shell.out == straight.out);
  CHECK(by_shell.err == straight.err);
  const auto by_socket =
      folder.shell("cd '" + folder.file("") + "'; timeout 60 '" HOPBENCH_BINARY "' run " + scenarios +
                   "modbus-short.txtpb --for 1min --controller socket:s 2>&1 & until [ -S s ]; do :; done; " + preload +
                   "HOPBENCH_TIME_SOCKET=s " + registers() + " >&2; wait");
  CHECK_THAT(by_socket.out, Contains(straight.out.substr(straight.out.find("Outcomes"))));
  CHECK(by_socket.err == straight.err);
}

TEST_CASE("what an unchanged program has no place for ends it with a line that names the call", "[preload]") {
  const std::vector<std::pair<std::string, std::string>> ways{
      {"threads", "pthread_create: "},
      {"forks", "fork: "},
      {"runs-shell", "system: "},
      {"alarms", "alarm: "},
      {"sets-timer", "setitimer: "},
      {"makes-timer", "timer_create: "},
      {"timer-descriptor", "timerfd_create: "},
      {"epolls", "epoll_create1: "},
      {"signal-descriptor", "signalfd: "},
      {"past-the-library", "syscall: "},
      {"breaks", "tcsendbreak: "},
      {"breaks-by-ioctl", "ioctl: the bench has no way to send a break"},
      {"stream", "fopen: "},
      {"stream-of-it", "fdopen: "},
      {"prints-to-it", "dprintf: "},
      {"copies", "dup: "},
      {"copies-by-fcntl", "fcntl: "},
      {"twice", "open: "},
      {"without-end", "poll: it waits without end"},
      {"takes-back", "tcflush: "},
      {"writes-as-opened", "write: the program has set 9600 Bd, 8N1, the scenario's line has 57600 Bd, 8E1: "},
      {"other-rate", "write: the program has set 9600 Bd, 8E1, "},
      {"other-parity", "poll: the program has set 57600 Bd, 8O1, "},
      {"no-parity", "poll: the program has set 57600 Bd, 8N1, "},
      {"two-stop-bits", "write: the program has set 57600 Bd, 8E2, "},
      {"seven-bits", "write: the program has set 57600 Bd, 7E1, "},
      {"lines-of-text", "read: the terminal would change, swallow or hold back bytes: clear ICANON ECHO\n"},
      {"line-ends", "clear ICRNL OPOST\n"},
      {"handshake", "clear CRTSCTS\n"},
      {"deaf", "set CREAD\n"},
      {"closes-many", "closefrom: "}};
  const program::Folder folder;
  for (const auto& [way, said] : ways) {
    INFO(way);
    const auto ran = run_with(folder, "modbus-short", refused(way));
    CHECK(ran.exit_code == 3);
    CHECK_THAT(ran.err, Contains("controller_refused: refused in granted time: "));
    CHECK_THAT(ran.err, Contains(said));
    CHECK_THAT(ran.err, Contains("controller_refused: ended with exit code 120 at virtual time 0s"));
    CHECK(std::count(ran.err.begin(), ran.err.end(), '\n') == 2);
  }
  for (const std::string harmless : {"no-alarm", "other-calls", "takes-back-16"}) {
    INFO(harmless);
    CHECK_THAT(run_with(folder, "modbus-short", refused(harmless)).err, Contains("not refused"));
  }
}

TEST_CASE("each call that is always refused is one of the C library's, and is refused", "[preload]") {
  std::ifstream file(source + "/src/clients/preload/refused.c");
  REQUIRE(file);
  const program::Folder folder;
  std::size_t tried = 0;
  for (std::string line; std::getline(file, line);) {
    std::smatch found;
    if (!std::regex_match(line, found, std::regex("REFUSED\\((.*), [A-Z_]+\\)"))) continue;
    INFO(line);
    const std::string name = found[1];
    const auto ran = run_with(folder, "modbus-short", refused("call " + name));
    CHECK_THAT(ran.err, Contains("controller_refused: refused in granted time: " + name + ": "));
    CHECK_THAT(ran.err, Contains("exit code 120"));
    ++tried;
  }
  CHECK(tried >= 40);
}

TEST_CASE("the preload library says what it misses", "[preload]") {
  const program::Folder folder;
  const auto no_name =
      folder.run("run " + scenarios + "modbus-short.txtpb --controller 'exec:env LD_PRELOAD=" + HOPBENCH_PRELOAD " " +
                 registers() + "'");
  CHECK(no_name.exit_code == 3);
  CHECK_THAT(no_name.err, Contains("HOPBENCH_TIME_TTY does not name the terminal"));
  const auto no_bench = folder.shell(preload + registers());
  CHECK(no_bench.exit_code == 120);
  CHECK_THAT(no_bench.err, Contains("there is no bench; start the program with hopbench run --controller"));
  const auto no_socket = folder.shell(preload + "HOPBENCH_TIME_SOCKET=/nonexistent/s " + registers());
  CHECK(no_socket.exit_code == 120);
  CHECK_THAT(no_socket.err, Contains("the connection to the bench: No such file or directory"));
}

}  // namespace hopbench
