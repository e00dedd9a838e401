// `hopbench run --controller`: programs in the controller's seat, good ones and bad ones.
#include <algorithm>
#include <filesystem>
#include <fstream>
#include <sstream>
#include <string>

#include "program.h"
#include "support/catch.h"
#include "support/dice.h"
#include "support/flat.h"

namespace hopbench {
namespace {

namespace fs = std::filesystem;
using Catch::Matchers::Contains;
using Catch::Matchers::StartsWith;

std::string text_of(const std::string& path) {
  std::ifstream file(path, std::ios::binary);
  REQUIRE(file);
  std::ostringstream text;
  text << file.rdbuf();
  return text.str();
}

std::string replaced(std::string text, const std::string& what, const std::string& by) {
  const std::size_t at = text.find(what);
  REQUIRE(at != std::string::npos);
  return text.replace(at, what.size(), by);
}

const std::string scenarios = HOPBENCH_SOURCE_DIR "/tests/outside/scenarios/";
const std::string ring16 = HOPBENCH_SOURCE_DIR "/captures/ring16.txtpb";
/// Of a controller in Python that asks node 1 of modbus-short, and then does `what` after five exchanges.
std::string in_python(const std::string& what) {
  return "import os, signal, struct, sys\n"
         "sys.path.insert(0, '" HOPBENCH_SOURCE_DIR
         "/src/clients/python')\n"
         "import hopbench_time as hb\n"
         "bench = hb.Bench('bad')\n"
         "for number in range(5):\n"
         "    bench.write(bytes((1, 3, 0, 0, 0, 1, 0x84, 0x0a)))\n"
         "    bench.read(7, 500_000_000)\n"
         "    bench.decided(number, hb.ANSWERED)\n"
         "    bench.sleep(100_000_000)\n"
         "bench.wait(bench.now())\n" +
         what + "\n";
}

program::Ran run_bad(const program::Folder& folder, const std::string& what, const std::string& more = "") {
  folder.write("bad.py", in_python(what));
  fs::remove(folder.file("c.hbcap"));
  return folder.run("run " + scenarios +
                    "modbus-short.txtpb --for 1h --capture c.hbcap --controller 'exec:python3 bad.py' " + more);
}

/// One line about it, exit code 3, and what went before is in the capture.
void goes_wrong(const std::string& what, const std::string& said, const std::string& more = "") {
  INFO(what);
  const program::Folder folder;
  const auto ran = run_bad(folder, what, more);
  CHECK(ran.exit_code == 3);
  CHECK_THAT(ran.err, Contains(said));
  CHECK(std::count(ran.err.begin(), ran.err.end(), '\n') == 1);
  const auto measured = folder.run("measure c.hbcap");
  CHECK(measured.exit_code == 0);
  CHECK_THAT(flat(measured.out), Contains("5 answered"));
}

/// The part of a summary in JSON that begins with `"name": ` and ends with its line, or with the bracket that closes
/// it.
std::string part_of(const std::string& summary, const std::string& name) {
  const std::size_t at = summary.find("\n  \"" + name + "\": ");
  REQUIRE(at != std::string::npos);
  const std::size_t line = summary.find('\n', at + 1);
  const char last = summary[line - 1];
  if (last != '{' && last != '[') return summary.substr(at, line - at);
  return summary.substr(at, summary.find(last == '{' ? "\n  }" : "\n  ]", at) - at);
}

std::string count_of(const std::string& summary, const std::string& name) {
  const std::string part = part_of(summary, "exchanges");
  const std::size_t at = part.find("\"" + name + "\": ");
  REQUIRE(at != std::string::npos);
  return part.substr(at, part.find('\n', at) - at);
}

/// ring16 with this in its controller instead of what it has there.
std::string with_field(const std::string& field, const std::string& value) {
  const std::string text = text_of(ring16);
  const bool bare = value.find_first_not_of("0123456789") == std::string::npos ||
                    value.find_first_of("0123456789") == std::string::npos;
  const std::size_t block = text.find("\ncontroller {") + 1;
  const std::size_t line = text.find("\n  " + field + ": ", block);
  std::string out = text.substr(0, block) + "controller {\n  " + field + ": " + (bare ? value : '"' + value + '"');
  const std::size_t rest = block + std::string("controller {").size();
  if (line == std::string::npos) return out + text.substr(rest);
  return out + text.substr(rest, line - rest) + text.substr(text.find('\n', line + 1));
}

/// The bus of ring16 with other nodes, hops and controller.
std::string made_up_ring(Dice& dice, std::size_t& nodes, std::uint64_t& retries, std::uint64_t& time_out_ms,
                         std::uint64_t& pace_us) {
  std::string text = text_of(ring16);
  text.resize(text.find("shape: RING"));
  // Characters of whole nanoseconds, so that both reckon the same deadlines.
  text =
      replaced(text, "baud: 9600", "baud: " + dice.of(std::vector<std::string>{"10000", "20000", "50000", "100000"}));
  nodes = 2 + dice.up_to(8);
  retries = dice.up_to(2);
  time_out_ms = 200 + 100 * dice.up_to(3);
  pace_us = 1000 * (50 + dice.up_to(900));
  const auto number = [](std::uint64_t value) { return std::to_string(value); };
  text += "shape: RING\nkind { name: \"single\" answer_after: \"" + number(100 + dice.up_to(900)) + "us\" }\n";
  text += "kind { name: \"slow\" answer_after: \"" + number(dice.up_to(2 * time_out_ms)) + "ms\" }\n";
  text += "kind { name: \"busy\" processor { fifo_chars: " + number(1 + dice.up_to(3)) +
          " duty { name: \"store\" every: \"" + number(2 + dice.up_to(3)) + "s\" takes: \"" +
          number(1 + dice.up_to(400)) + "ms\" jitter: \"500ms\" masks: true } } }\n";
  for (std::size_t i = 1; i <= nodes; ++i) {
    const std::string kind = dice.one_in(5) ? "slow" : dice.one_in(4) ? "busy" : "single";
    text += "nodes { name: \"n" + number(i) + "\" kind: \"" + kind + "\" }\n";
  }
  const auto some_node = [&] { return "\"n" + number(1 + dice.up_to(nodes - 1)) + "\""; };
  if (dice.one_in(2))
    text += "hop { into: " + some_node() + " contact { mean_between: \"9s\" mean_open: \"300ms\" } }\n";
  if (dice.one_in(2)) {
    text += "fault { name: \"gone\" class: LOSS into: " + some_node() + " from: \"20s\" to: \"23s\" }\n";
  }
  if (dice.one_in(2))
    text += "every_hop { bit_error: \"" + dice.of(std::vector<std::string>{"1e-6", "1e-5", "1e-4"}) + "\" }\n";
  if (dice.one_in(2)) {
    text += "fault { name: \"slow\" class: DELAY into: " + some_node() + " rate: \"5%\" by: \"" +
            number(10 + dice.up_to(400)) + "ms\" }\n";
  }
  if (dice.one_in(3)) text += "fault { name: \"restart\" class: RESET nodes: " + some_node() + " at: \"40s\" }\n";
  text += "controller { time_out: \"" + number(time_out_ms) + "ms\" retries: " + number(retries) + " pace: \"" +
          number(pace_us) + "us\" poll { name: \"cell\" topic: \"cell\" nodes: \"*\" } }\n";
  return text;
}

}  // namespace

TEST_CASE("the same run with the same controller makes the same capture", "[granted]") {
  const program::Folder folder;
  const std::string line = "run " + ring16 + " --for 20min --controller 'exec:" HOPBENCH_RING16 "' --capture ";
  const auto one = folder.run(line + "one.hbcap");
  const auto two = folder.run(line + "two.hbcap");
  CHECK(one.exit_code == 0);
  CHECK_THAT(one.out, Contains("868 exchanges were asked"));  // 1,200 s are 868.06 times 1.3824 s
  CHECK(one.out == two.out);
  CHECK(one.err.empty());
  CHECK(folder.read("one.hbcap") == folder.read("two.hbcap"));
  CHECK(folder.run("measure one.hbcap").out == one.out);
}

TEST_CASE("every byte in granted time makes the same records as events", "[granted]") {
  const program::Folder folder;
  const std::string line = "run " + ring16 + " --for 10min --json --controller 'exec:" HOPBENCH_RING16 "'";
  const auto events = folder.run(line);
  const auto bytes = folder.run(line + " --every-byte");
  CHECK(events.exit_code == 0);
  CHECK(events.out == bytes.out);
}

TEST_CASE("a controller that is at fault gets one line, and its run up to there is whole", "[granted]") {
  goes_wrong("os._exit(7)", "python3: ended with exit code 7 at virtual time 558.4");
  goes_wrong("os.kill(os.getpid(), signal.SIGSEGV)", "python3: was ended by signal 11");
  goes_wrong("bench._socket.close(); signal.pause()", "python3: closed its connection");
  goes_wrong("while True: bench.write(b'U' * 4096)", "python3: floods: ");
  goes_wrong("while True: bench.wait(bench.now())", "python3: floods: 100000 messages");
  goes_wrong("bench._socket.sendall(b'\\xff' * 64); signal.pause()", "python3: sent a message of 4294967295 bytes");
  goes_wrong("bench._socket.sendall(struct.pack('<IBQQIQ', 29, 0x83, 0, 1, 0, 0)); signal.pause()",
             "asks to wait until 1ns, and it is ");
}

TEST_CASE("a controller that hangs is given up, and the line says where it stands", "[granted]") {
  goes_wrong("signal.pause()", "has not asked to wait since virtual time 558.44096ms, after exchange 4; ended after 2s",
             "--hang-after 2s");
  // It talks on, and never waits.
  goes_wrong("import time\nwhile True: bench.decided(4, hb.ANSWERED); bench._flush_out(); time.sleep(0.02)",
             "after exchange 4; ended after 2s", "--hang-after 2s");
}

TEST_CASE("a controller may leave, log, and be one that cannot be had", "[granted]") {
  const program::Folder folder;
  const auto left = run_bad(folder, "bench.log('that is enough'); bench.close()");
  CHECK(left.exit_code == 4);
  CHECK_THAT(left.err, Contains("hopbench: that is enough\n"));
  CHECK_THAT(left.err, Contains("python3: said goodbye before the end of the run"));
  const std::string run = "run " + ring16 + " --for 1h --controller ";
  const auto missing = folder.run(run + "exec:./no-such-program");
  CHECK(missing.exit_code == 3);
  CHECK_THAT(missing.err, Contains("./no-such-program: No such file or directory"));
  for (const std::string wrong : {"nonsense", "exec:", "socket:", "'exec:a | b'", "'exec:\"a'"}) {
    INFO(wrong);
    const auto ran = folder.run(run + wrong);
    CHECK(ran.exit_code == 2);
    CHECK(std::count(ran.err.begin(), ran.err.end(), '\n') == 1);
  }
  CHECK(folder.run(run + "exec:true --hang-after soon").exit_code == 2);
  CHECK(folder.run("run " + ring16 + " --exchanges 5 --controller exec:true").exit_code == 2);
}

TEST_CASE("a controller connects to a socket as well as it is started", "[granted]") {
  const program::Folder folder;
  const std::string run = "'" HOPBENCH_BINARY "' run " + ring16 + " --for 10min --controller ";
  const auto socket = folder.shell("cd '" + folder.file("") + "'; " + run +
                                   "socket:s & until [ -S s ]; do :; done; '" HOPBENCH_RING16 "' --socket s; wait");
  const auto started = folder.shell(run + "exec:" HOPBENCH_RING16);
  CHECK(socket.out == started.out);
  CHECK_THAT(socket.err, Contains("waits for the controller to connect to s"));
  CHECK_FALSE(fs::exists(folder.file("s")));
}

TEST_CASE("what a controller decides is what is counted", "[granted]") {
  const auto outcome = [](const std::string& verdict) {
    const program::Folder folder;
    folder.write("one.py", "import sys\nsys.path.insert(0, '" HOPBENCH_SOURCE_DIR
                           "/src/clients/python')\nimport hopbench_time as hb\nbench = hb.Bench('one')\n"
                           "bench.write(bytes((1, 3, 0, 0, 0, 1, 0x84, 0x0a)))\n"
                           "bench.read(7, 500_000_000)\n"
                           "bench.decided(0, hb." +
                               verdict + ")\ntry:\n    bench.wait(hb.NEVER)\nexcept hb.Ended:\n    bench.close()\n");
    const auto ran = folder.run("run " + scenarios + "modbus-short.txtpb --for 10s --controller 'exec:python3 one.py'");
    CHECK(ran.exit_code == 0);
    return ran.out;
  };
  CHECK_THAT(outcome("ANSWERED"), Contains("Outcomes    answered 1; 1 try"));
  CHECK_THAT(outcome("TIMED_OUT"), Contains("Outcomes    late 1; 1 try"));
  CHECK_THAT(outcome("REJECTED"), Contains("Outcomes    mismatched 1; 1 try"));
}

TEST_CASE("a controller whose numbers come round after 256 takes an old answer for a new one", "[granted]") {
  const program::Folder folder;
  // As it is it would take days.
  folder.write("often.txtpb", replaced(text_of(scenarios + "ticket-wrap.txtpb"), "rate: \"3e-7\"", "rate: \"1e-3\""));
  const auto with_bits = [&](const std::string& bits) {
    const auto ran = folder.run("run often.txtpb --for 10min --controller 'exec:" HOPBENCH_RING16
                                " --retries 1 --pace 100000 --ticket-bits " +
                                bits + "'");
    CHECK(ran.exit_code == 0);
    return ran.out;
  };
  CHECK_THAT(with_bits("8"), Contains("stale"));
  const auto right = with_bits("16");
  CHECK_THAT(right, !Contains("stale"));
  CHECK_THAT(right, !Contains("wrong"));
}

TEST_CASE("studies start the controller anew for each of their runs", "[granted]") {
  const program::Folder folder;
  folder.write("often.txtpb", replaced(text_of(scenarios + "ticket-wrap.txtpb"), "rate: \"3e-7\"", "rate: \"1e-3\""));
  const std::string controller =
      " --for 4min --controller 'exec:" HOPBENCH_RING16 " --retries 1 --pace 100000 --ticket-bits 8'";
  // 1.5 strikes are expected in 4 min, each of which leaves one old answer to be taken.
  const auto study = folder.run("explain often.txtpb --what-if" + controller);
  CHECK(study.exit_code == 0);
  CHECK_THAT(study.out, Contains("without all its mechanisms           0 failed of 2,400 asked"));
  const auto shrunk = folder.run("shrink often.txtpb --keep 'stale > 0' -o small.txtpb" + controller);
  CHECK(shrunk.exit_code == 0);
  const auto small =
      folder.run("run small.txtpb --controller 'exec:" HOPBENCH_RING16 " --retries 1 --pace 100000 --ticket-bits 8'");
  CHECK_THAT(small.out, Contains("stale"));
  // What a program did not run through says nothing.
  for (const std::string study_of_it :
       {"explain often.txtpb --what-if", "shrink often.txtpb --keep 'stale > 0' -o x"}) {
    const auto broken = folder.run(study_of_it + " --for 1min --controller exec:false");
    CHECK(broken.exit_code == 3);
    CHECK_THAT(broken.err, Contains("false: ended with exit code 1"));
    CHECK_FALSE(fs::exists(folder.file("x")));
  }
}

TEST_CASE("a soak test of a controller rejects the one whose numbers come round after 256", "[granted]") {
  const program::Folder folder;
  folder.write("often.txtpb", replaced(text_of(scenarios + "ticket-wrap.txtpb"), "rate: \"3e-7\"", "rate: \"1e-3\""));
  const auto soak = [&](const std::string& more, const std::string& bits) {
    return folder.run("soak often.txtpb --for 2h --json" + more +
                      " --controller 'exec:" HOPBENCH_RING16 " --retries 1 --pace 100000 --ticket-bits " + bits + "'");
  };
  const auto wraps = soak(" --dir kept", "8");
  CHECK(wraps.exit_code == 1);
  CHECK_THAT(wraps.out, Contains("\"end\": \"decided\""));
  CHECK_THAT(wraps.out, Contains("with the real controller on a simulated chain"));
  CHECK(soak("", "16").exit_code == 0);
  // Nothing that a program has in hand can be saved: it is run again, and comes to the same.
  const auto again = folder.run("soak --resume kept --json");
  CHECK(again.exit_code == 1);
  CHECK_THAT(again.err, Contains("is started anew"));
  CHECK(replaced(again.out, "\"resumed\": 1", "\"resumed\": 0") == wraps.out);
  const auto broken = folder.run("soak often.txtpb --for 1h --controller exec:false");
  CHECK(broken.exit_code == 3);
  CHECK_THAT(broken.err, Contains("false: ended with exit code 1"));
}

TEST_CASE("a sweep starts the controller for each of its runs", "[granted]") {
  const program::Folder folder;
  const std::string sweep = "sweep " + ring16 + " --vary every_hop.bit_error=0,1e-5 --seeds 2 --for 10min --json";
  const std::string controller = " --controller 'exec:" HOPBENCH_RING16 "'";
  const auto real = folder.run(sweep + controller + " --out kept");
  CHECK(real.exit_code == 0);
  // The program does what the scenario's own controller does.
  CHECK(replaced(real.out, "\"reality\": \"simulated_chain\"", "\"reality\": \"simulated\"") == folder.run(sweep).out);
  CHECK(folder.run(sweep + controller + " --out kept --threads 1").out == real.out);
  // Runs of another controller, or of none, do not go into that folder.
  CHECK(folder.run(sweep + " --out kept").exit_code == 2);
  const auto broken = folder.run(sweep + " --controller exec:false");
  CHECK(broken.exit_code == 3);
  CHECK_THAT(broken.err, Contains("false: ended with exit code 1"));
}

TEST_CASE("studies with a real controller say that it is real", "[granted]") {
  const program::Folder folder;
  const std::string controller = " --for 2min --controller 'exec:" HOPBENCH_RING16 "'";
  const std::string sweep = "sweep " + ring16 + " --vary every_hop.bit_error=0,1e-5";
  const auto swept = folder.run(sweep + controller + " --out kept");
  CHECK_THAT(swept.out, StartsWith("Simulated chain, real controller: a sweep of ring16"));
  CHECK(folder.run("sweep --merge kept").out == swept.out);
  CHECK_THAT(folder.run("sweep --merge kept --json").out, Contains("\"reality\": \"simulated_chain\""));
  CHECK_THAT(folder.run(sweep + " --for 2min").out, StartsWith("Simulated: a sweep"));
  CHECK_THAT(folder.run("explain " + ring16 + " --what-if" + controller).out,
             StartsWith("What if, simulated chain, real controller: "));
  CHECK_THAT(folder.run("explain " + ring16 + " --what-if --json" + controller).out,
             Contains("\"reality\": \"simulated_chain\""));
  CHECK_THAT(folder.run("shrink " + ring16 + " --keep 'lost > 0' -o small.txtpb" + controller).out,
             Contains("Simulated chain, real controller: "));
  CHECK_THAT(folder.run("shrink " + ring16 + " --keep 'wrong > 0' -o none.txtpb" + controller).out,
             StartsWith("Simulated chain, real controller: "));
}

TEST_CASE("what a program would ignore of the scenario is refused beside it", "[granted]") {
  const program::Folder folder;
  // Each field of the controller, with another value than that of ring16.
  const std::vector<std::pair<std::string, std::string>> ignored{{"time_out", "300ms"},
                                                                 {"retries", "3"},
                                                                 {"pace", "2s"},
                                                                 {"gap", "100ms"},
                                                                 {"fresh_within", "20s"},
                                                                 {"exact_within", "1uV"},
                                                                 {"late_window", "5s"},
                                                                 {"on_late", "ACCEPT"},
                                                                 {"order", "NODE_BY_NODE"},
                                                                 {"timer_first", "true"},
                                                                 {"retry_garbled_at_once", "true"},
                                                                 {"poll[cell].nodes", "[n1, n2]"}};
  const std::string controller = " --for 5min --controller 'exec:" HOPBENCH_RING16 "'";
  const std::string noisy = " --set every_hop.bit_error=1e-4";
  const auto as_it_is = folder.run("run " + ring16 + noisy + controller);
  REQUIRE(as_it_is.exit_code == 0);
  for (const auto& [field, value] : ignored) {
    const std::string edit = "controller." + field + "=" + value;
    INFO(edit);
    for (const std::string& command :
         {"run " + ring16 + " --set '" + edit + "'", "soak " + ring16 + " --set '" + edit + "'",
          "sweep " + ring16 + " --vary '" + edit + "'",
          "sweep " + ring16 + " --vary seed=1 --set 'scenario." + edit + "'",
          "explain " + ring16 + " --what-if --set '" + edit + "'",
          "shrink " + ring16 + " --keep 'lost > 0' -o x --set '" + edit + "'"}) {
      INFO(command);
      const auto refused = folder.run(command + controller);
      CHECK(refused.exit_code == 2);
      CHECK(refused.out.empty());
      CHECK_THAT(refused.err, Contains("a program ignores that, and has its own plan, time-out and retries"));
      CHECK(std::count(refused.err.begin(), refused.err.end(), '\n') == 1);
    }
    // It is ignored indeed: a scenario that states it has the same run. (What polls are called decides luck.)
    if (field.starts_with("poll")) continue;
    folder.write("other.txtpb", with_field(field, value));
    const auto other = folder.run("run other.txtpb" + noisy + controller);
    CHECK(other.exit_code == 0);
    CHECK(other.out == as_it_is.out);
  }
  CHECK(folder.run("run " + ring16 + " --unset controller.pace" + controller).exit_code == 2);
  CHECK(folder.run("run " + ring16 + " --set 'controller={ retries: 2 }'" + controller).exit_code == 2);
  // Its line is simulated: clock and receiver count, and so does all that is not the controller's.
  const auto slow = folder.run("run " + ring16 + " --set controller.clock.error=4% --set baud=19200" + controller);
  CHECK(slow.exit_code == 0);
  CHECK(slow.out != as_it_is.out);
  CHECK(folder.run("run " + ring16 + " --set controller.name=me" + controller).exit_code == 0);
  // Without a program they are what they were.
  CHECK(folder.run("run " + ring16 + " --for 1min --set controller.retries=3").exit_code == 0);
}

TEST_CASE("what a program decided is in no capture: it is not run again without it", "[granted]") {
  const program::Folder folder;
  REQUIRE(
      folder.run("run " + ring16 + " --for 1min --capture c.hbcap --controller 'exec:" HOPBENCH_RING16 "'").exit_code ==
      0);
  const auto again = folder.run("emulate --again c.hbcap --capture again.hbcap");
  CHECK(again.exit_code == 2);
  CHECK(again.out.empty());
  CHECK(again.err ==
        "hopbench: c.hbcap: a program was the controller, and the capture does not hold what it decided; run it again "
        "with `hopbench run SCENARIO --controller`\n");
  CHECK_FALSE(fs::exists(folder.file("again.hbcap")));
  // So too of a part of it.
  REQUIRE(folder.run("capture cut c.hbcap part.hbcap --from 10s --to 20s").exit_code == 0);
  CHECK(folder.run("emulate --again part.hbcap").exit_code == 2);
}

TEST_CASE("a soak test of a controller counts what a run with it counts", "[granted]") {
  const program::Folder folder;
  const std::string controller = " --for 3h --json --controller 'exec:" HOPBENCH_RING16 "'";
  const auto run = folder.run("run " + ring16 + controller);
  const auto soak = folder.run("soak " + ring16 + " --full" + controller);
  const auto number = [](const std::string& text, const std::string& name) {
    const std::size_t at = text.find("\"" + name + "\": ");
    REQUIRE(at != std::string::npos);
    return std::stoull(text.substr(at + name.size() + 4));
  };
  CHECK(number(soak.out, "asked") == number(run.out, "asked"));
  CHECK(number(soak.out, "failed") == number(run.out, "asked") - number(run.out, "answered"));
  CHECK_THAT(soak.out, Contains("\"reality\": \"simulated_chain\""));
}

TEST_CASE("a controller that does what the simulated one does has the same outcomes", "[granted]") {
  const program::Folder folder;
  std::uint64_t failed = 0;
  std::uint64_t run = 0;
  for (std::uint64_t number = 0; number < 25; ++number) {
    Dice dice("granted", number);
    std::size_t nodes = 0;
    std::uint64_t retries = 0;
    std::uint64_t time_out_ms = 0;
    std::uint64_t pace_us = 0;
    const std::string scenario = made_up_ring(dice, nodes, retries, time_out_ms, pace_us);
    INFO(scenario);
    folder.write("s.txtpb", scenario);
    const auto simulated = folder.run("run s.txtpb --for 1min --json");
    if (simulated.exit_code == 2) continue;  // not every scenario that is made up can be
    ++run;
    REQUIRE(simulated.exit_code == 0);
    const auto real = folder.run("run s.txtpb --for 1min --json --controller 'exec:" HOPBENCH_RING16 " --nodes " +
                                 std::to_string(nodes) + " --retries " + std::to_string(retries) + " --time-out " +
                                 std::to_string(time_out_ms) + " --pace " + std::to_string(pace_us) + "'");
    REQUIRE(real.exit_code == 0);
    for (const char* part : {"round_trip_us", "bursts", "hops"}) {
      INFO(part);
      CHECK(part_of(real.out, part) == part_of(simulated.out, part));
    }
    // An exchange that failed may be called lost by one and mismatched by the other.
    for (const char* count : {"asked", "answered", "late", "stale", "wrong", "bad_ask", "tries"}) {
      INFO(count);
      CHECK(count_of(real.out, count) == count_of(simulated.out, count));
    }
    failed += part_of(simulated.out, "exchanges").find("\"lost\": 0") == std::string::npos ? 1 : 0;
  }
  CHECK(run >= 20);
  CHECK(failed >= 10);
}

}  // namespace hopbench
