// `hopbench emulate` as its user meets it: options, exit codes, links, a session and the same session run again.
#include <fcntl.h>
#include <modbus.h>
#include <sys/inotify.h>

#include <algorithm>
#include <array>
#include <boost/json.hpp>
#include <chrono>
#include <filesystem>
#include <fstream>
#include <memory>
#include <sstream>
#include <string>

#include "capture_records.h"
#include "port/fixtures.h"
#include "port/line_speed.h"
#include "port/pty.h"
#include "process.h"
#include "record/truth.h"
#include "support/catch.h"

namespace hopbench {
namespace {

namespace fs = std::filesystem;
namespace json = boost::json;
using Bytes = std::vector<std::uint8_t>;

// Read two registers from 0 at node 1; as printed in many descriptions of the standard, check value 0x0BC4.
const Bytes ask_two_cells{0x01, 0x03, 0x00, 0x00, 0x00, 0x02, 0xc4, 0x0b};
// Two cells at 3312 mV, as the scenario states; without the check value.
const Bytes two_cells{0x01, 0x03, 0x04, 0x0c, 0xf0, 0x0c, 0xf0};
constexpr std::size_t two_cells_size = 9;

std::string scenario(const char* name) { return std::string(HOPBENCH_SOURCE_DIR) + "/tests/outside/scenarios/" + name; }

std::vector<std::string> emulate(std::vector<std::string> rest) {
  rest.insert(rest.begin(), {HOPBENCH_BINARY, "emulate"});
  return rest;
}

struct Ended {
  int code;
  std::string out;
  std::string err;
};

Ended run(std::vector<std::string> rest) {
  Process process(emulate(std::move(rest)));
  const int code = process.wait();
  return {code, process.out(), process.err()};
}

FileDescriptor open_client(const std::string& path) {
  FileDescriptor client(::open(path.c_str(), O_RDWR | O_NOCTTY | O_CLOEXEC));
  REQUIRE(client.valid());
  return client;
}

std::string text_of(const std::string& path) {
  std::ifstream file(path);
  std::ostringstream text;
  text << file.rdbuf();
  return text.str();
}

/// Waits until exchanges are in a capture that is being written; it is handed over a few times a second.
class CaptureWatch {
 public:
  explicit CaptureWatch(std::string capture) : capture_(std::move(capture)), watch_(inotify_init1(IN_CLOEXEC)) {
    REQUIRE(inotify_add_watch(watch_.get(), capture_.c_str(), IN_MODIFY) >= 0);
  }
  void wait_for_exchanges(std::size_t count) const {
    while (CaptureRecords::read(capture_).exchanges.size() < count) {
      REQUIRE(readable_within(watch_.get(), patience_ms));
      std::array<char, 4096> events;
      REQUIRE(::read(watch_.get(), events.data(), events.size()) > 0);
    }
  }

 private:
  std::string capture_;
  FileDescriptor watch_;
};

json::object summary_of(const Process& process) { return json::parse(process.out()).as_object(); }

std::uint64_t count_in(const json::object& summary, const char* group, const char* name) {
  return summary.at(group).at(name).to_number<std::uint64_t>();
}

void check_answer(const Bytes& answer) {
  REQUIRE(answer.size() == two_cells_size);
  CHECK(Bytes(answer.begin(), answer.begin() + static_cast<std::ptrdiff_t>(two_cells.size())) == two_cells);
}

TEST_CASE("a capture that is not there is file trouble") {
  const Folder folder;
  const auto ended = run({"--again", folder / "x.hbcap"});
  CHECK(ended.code == 3);
  CHECK(ended.err.find("No such file") != std::string::npos);
}

TEST_CASE("wrong options give one line and exit 2") {
  const Folder folder;
  const auto link = folder / "chain";
  const auto given = scenario("modbus-short.txtpb");
  std::vector<std::string> options;
  SECTION("no port") { options = {given}; }
  SECTION("two ports") { options = {given, "--pty", link, "--serial", "/dev/null"}; }
  SECTION("a pty and a socket") { options = {given, "--pty", link, "--socket", folder / "socket"}; }
  SECTION("no scenario") { options = {"--pty", link}; }
  SECTION("a scenario that is not there") { options = {folder / "missing.txtpb", "--pty", link}; }
  SECTION("no duration") { options = {given, "--pty", link, "--for", "soon"}; }
  SECTION("a permission for nothing") { options = {given, "--pty", link, "--send-on-real-port"}; }
  SECTION("a seed for what is recorded") { options = {"--again", folder / "x.hbcap", "--seed", "4"}; }
  SECTION("something else than a capture") { options = {"--again", given}; }
  const auto ended = run(options);
  INFO(ended.err);
  CHECK(ended.code == 2);
  CHECK(ended.out.empty());
  CHECK(std::count(ended.err.begin(), ended.err.end(), '\n') == 1);
  CHECK_FALSE(fs::exists(fs::symlink_status(link)));
}

TEST_CASE("files in the way are left as they are, exit 3") {
  const Folder folder;
  const auto file = folder / "precious";
  std::ofstream(file) << "precious";
  SECTION("in the place of the link") {
    const auto ended = run({scenario("modbus-short.txtpb"), "--pty", file});
    CHECK(ended.code == 3);
    CHECK(ended.err.find(file) != std::string::npos);
  }
  SECTION("in the place of the socket") {
    const auto ended = run({scenario("modbus-short.txtpb"), "--socket", file});
    CHECK(ended.code == 3);
    CHECK(ended.err.find(file) != std::string::npos);
  }
  SECTION("in the place of the capture") {
    const auto ended = run({scenario("modbus-short.txtpb"), "--pty", folder / "chain", "--capture", file});
    CHECK(ended.code == 3);
    CHECK(ended.err.find(file) != std::string::npos);
    CHECK_FALSE(fs::exists(fs::symlink_status(folder / "chain")));
  }
  CHECK(text_of(file) == "precious");
}

TEST_CASE("a real port is not opened without being asked for in words") {
  const Folder folder;
  // No such device: opening it would be exit 3.
  const auto device = folder / "no-device";
  SECTION("to send") {
    const auto ended = run({scenario("modbus-short.txtpb"), "--serial", device});
    CHECK(ended.code == 2);
    CHECK(ended.err.find("not isolated") < ended.err.find("--send-on-real-port"));
    CHECK(ended.err.find("short circuit") != std::string::npos);
    CHECK(ended.err.find("--inject-on-real-port") == std::string::npos);
  }
  SECTION("to inject") {
    const auto ended = run({scenario("modbus-late.txtpb"), "--serial", device, "--send-on-real-port"});
    CHECK(ended.code == 2);
    CHECK(ended.err.find("--inject-on-real-port") != std::string::npos);
  }
  SECTION("noise counts as injecting") {
    const auto ended = run({scenario("modbus-noisy.txtpb"), "--serial", device, "--send-on-real-port"});
    CHECK(ended.code == 2);
  }
  SECTION("with all words said it is opened") {
    const auto ended =
        run({scenario("modbus-late.txtpb"), "--serial", device, "--send-on-real-port", "--inject-on-real-port"});
    CHECK(ended.code == 3);
    CHECK(ended.err.find("No such file") != std::string::npos);
  }
}

TEST_CASE("a session ends at its time with a summary, and the link goes away") {
  const Folder folder;
  const auto ended = run({scenario("modbus-short.txtpb"), "--pty", folder / "chain", "--for", "100ms", "--json"});
  INFO(ended.err);
  CHECK(ended.code == 0);
  CHECK(ended.out.find("\"hopbench.summary/1\"") != std::string::npos);
  CHECK(ended.out.find("\"modbus-short\"") != std::string::npos);
  CHECK_FALSE(fs::exists(fs::symlink_status(folder / "chain")));
}

TEST_CASE("a signal ends a session; before its time is over it is incomplete") {
  const Folder folder;
  const bool with_time = GENERATE(false, true);
  std::vector<std::string> options{scenario("modbus-short.txtpb"), "--pty", folder / "chain"};
  if (with_time) options.insert(options.end(), {"--for", "1h"});
  Process process(emulate(options));
  REQUIRE(process.says("the controller's place is at"));
  process.send(GENERATE(SIGTERM, SIGINT, SIGHUP));
  CHECK(process.wait() == (with_time ? 4 : 0));
  CHECK_FALSE(process.out().empty());
  CHECK_FALSE(fs::exists(fs::symlink_status(folder / "chain")));
}

TEST_CASE("what a bench had seen outlives its sudden death, and the next one takes its link over") {
  const Folder folder;
  const auto link = folder / "chain";
  const auto capture = folder / "session.hbcap";
  Process process(emulate({scenario("modbus-short.txtpb"), "--pty", link, "--capture", capture}));
  REQUIRE(process.says("the controller's place is at"));
  const CaptureWatch watch(capture);
  {
    const auto client = open_client(link);
    write_bytes(client.get(), ask_two_cells);
    check_answer(read_bytes(client.get(), two_cells_size));
  }
  watch.wait_for_exchanges(1);
  process.send(SIGKILL);
  CHECK(process.wait() == -SIGKILL);
  CHECK(CaptureRecords::read(capture).exchanges.size() == 1);
  CHECK_FALSE(CaptureRecords::read(capture).end.has_value());

  REQUIRE(fs::is_symlink(fs::symlink_status(link)));
  CHECK(run({scenario("modbus-short.txtpb"), "--pty", link, "--for", "10ms"}).code == 0);
}

TEST_CASE("a controller at another baud rate is told of, once") {
  const Folder folder;
  const auto link = folder / "chain";
  Process process(emulate({scenario("modbus-short.txtpb"), "--pty", link}));
  REQUIRE(process.says("the controller's place is at"));
  const auto client = open_client(link);
  REQUIRE(set_line_speed(client.get(), 9600));
  for (int turn = 0; turn < 2; ++turn) {
    write_bytes(client.get(), ask_two_cells);
    check_answer(read_bytes(client.get(), two_cells_size));
  }
  process.send(SIGINT);
  CHECK(process.wait() == 0);
  const std::string note = "has set 9600 Bd, but the bus runs at 57600 Bd";
  const auto first = process.err().find(note);
  REQUIRE(first != std::string::npos);
  CHECK(process.err().find(note, first + 1) == std::string::npos);
}

TEST_CASE("at a socket the chain answers, and the socket goes away at the end") {
  const Folder folder;
  const auto path = folder / "chain.socket";
  Process process(emulate({scenario("modbus-short.txtpb"), "--socket", path, "--json"}));
  REQUIRE(process.says("the controller's place is at " + path));
  CHECK(process.err().find("the pty adds") == std::string::npos);
  for (int client_number = 0; client_number < 2; ++client_number) {
    const auto client = connect_to(path);
    write_bytes(client.get(), ask_two_cells);
    check_answer(read_bytes(client.get(), two_cells_size));
  }
  process.send(SIGTERM);
  CHECK(process.wait() == 0);
  CHECK_FALSE(fs::exists(fs::symlink_status(path)));
  const auto summary = summary_of(process);
  CHECK(summary.at("exchanges").at("answered").to_number<int>() == 2);
  CHECK(count_in(summary, "lateness", "sends") == 2);
  CHECK(summary.at("lateness").at("port_median_us").is_null());
}

TEST_CASE("a bench that was killed leaves a socket that the next one takes over") {
  const Folder folder;
  const auto path = folder / "chain.socket";
  Process process(emulate({scenario("modbus-short.txtpb"), "--socket", path}));
  REQUIRE(process.says("the controller's place is at"));
  CHECK(run({scenario("modbus-short.txtpb"), "--socket", path, "--for", "10ms"}).code == 3);
  process.send(SIGKILL);
  CHECK(process.wait() == -SIGKILL);
  REQUIRE(fs::is_socket(fs::symlink_status(path)));
  CHECK(run({scenario("modbus-short.txtpb"), "--socket", path, "--for", "10ms"}).code == 0);
  CHECK_FALSE(fs::exists(fs::symlink_status(path)));
}

TEST_CASE("an answer made while nobody has the port open is not kept for who comes next") {
  const Folder folder;
  const bool at_socket = GENERATE(false, true);
  const auto place = folder / "chain";
  const auto capture = folder / "session.hbcap";
  Process process(emulate(
      {scenario("modbus-short.txtpb"), at_socket ? "--socket" : "--pty", place, "--capture", capture, "--json"}));
  REQUIRE(process.says("the controller's place is at"));
  const CaptureWatch watch(capture);
  const auto come = [&] { return at_socket ? connect_to(place) : open_client(place); };
  write_bytes(come().get(), ask_two_cells);  // and gone at once
  watch.wait_for_exchanges(1);
  {
    const auto client = come();
    const Bytes ask_one_cell{0x02, 0x03, 0x00, 0x00, 0x00, 0x01, 0x84, 0x39};
    write_bytes(client.get(), ask_one_cell);
    // 3287 mV, as the scenario states for the second node.
    const Bytes answer = read_bytes(client.get(), 7);
    REQUIRE(answer.size() == 7);
    CHECK(Bytes(answer.begin(), answer.begin() + 5) == Bytes{0x02, 0x03, 0x02, 0x0c, 0xd7});
    watch.wait_for_exchanges(2);
  }
  process.send(SIGTERM);
  CHECK(process.wait() == 0);
  const auto summary = summary_of(process);
  CHECK(count_in(summary, "dropped_bytes", "nobody_there") == two_cells_size);
  CHECK(count_in(summary, "dropped_bytes", "not_fetched") == 0);
  CHECK(count_in(summary, "lateness", "sends") == 1);
  CHECK(CaptureRecords::read(capture).end->lateness.nobody_there == two_cells_size);
}

TEST_CASE("a bench that was stopped says for how long, though nothing was due then") {
  const Folder folder;
  const auto link = folder / "chain";
  Process process(emulate({scenario("modbus-short.txtpb"), "--pty", link, "--json"}));
  REQUIRE(process.says("the controller's place is at"));
  const auto client = open_client(link);
  // Answered once, so that it has looked since the client is there.
  write_bytes(client.get(), ask_two_cells);
  check_answer(read_bytes(client.get(), two_cells_size));
  process.stop();
  const auto from = std::chrono::steady_clock::now();
  write_bytes(client.get(), ask_two_cells);
  CHECK_FALSE(readable_within(client.get(), 100));
  const auto stopped = std::chrono::steady_clock::now() - from;
  process.send(SIGCONT);
  check_answer(read_bytes(client.get(), two_cells_size));
  process.send(SIGTERM);
  CHECK(process.wait() == 0);
  const auto late = summary_of(process).at("lateness").as_object();
  const auto stopped_us = std::chrono::duration<double, std::micro>(stopped).count();
  CHECK(late.at("stalls").to_number<int>() >= 1);
  CHECK(late.at("worst_stall_us").to_number<double>() >= stopped_us);
  CHECK(late.at("stalled_us").to_number<double>() >= stopped_us);
}

TEST_CASE("a bench whose terminal has gone still ends in good order") {
  const Folder folder;
  const auto capture = folder / "session.hbcap";
  Process process({"/bin/sh", "-c",
                   std::string("exec ") + HOPBENCH_BINARY + " emulate " + scenario("modbus-short.txtpb") + " --pty " +
                       (folder / "chain") + " --capture " + capture + " >/dev/full"});
  REQUIRE(process.says("the controller's place is at"));
  process.close_err();
  {
    const auto client = open_client(folder / "chain");
    REQUIRE(set_line_speed(client.get(), 9600));  // something to be said, with nobody to hear it
    write_bytes(client.get(), ask_two_cells);
    check_answer(read_bytes(client.get(), two_cells_size));
  }
  process.send(SIGHUP);
  CHECK(process.wait() == 3);  // the summary could not be written
  CHECK(CaptureRecords::read(capture).end.has_value());
  CHECK_FALSE(fs::exists(fs::symlink_status(folder / "chain")));
}

TEST_CASE("from nodes that forward by character an answer comes character by character") {
  const Folder folder;
  const auto link = folder / "chain";
  const std::string given = GENERATE(as<std::string>(), "old-style-short.txtpb", "old-style-by-character.txtpb");
  Process process(emulate({scenario(given.c_str()), "--pty", link, "--json"}));
  REQUIRE(process.says("the controller's place is at"));
  {
    const auto client = open_client(link);
    // Unit 1, whose answer passes through units 2 and 3; as in the test at a serial port.
    const Bytes ask{0x01, 0x01, 0x00, 0x00, 0x00, 0x00, 0x00, 0x02};
    const Bytes answer{0x01, 0x81, 0x00, 0x33, 0x12, 0x00, 0x00, 0xc7};
    write_bytes(client.get(), ask);
    CHECK(read_bytes(client.get(), answer.size()) == answer);
  }
  process.send(SIGTERM);
  CHECK(process.wait() == 0);
  CHECK(count_in(summary_of(process), "lateness", "sends") == (given == "old-style-short.txtpb" ? 1 : 8));
}

/// Waits for `size` bytes at the far end of a cable.
Bytes read_far(PtyPort& far, std::size_t size) {
  PortRead intake;
  while (intake.bytes.size() < size && readable_within(far.descriptor(), patience_ms)) {
    REQUIRE(far.read(intake, 4096));
  }
  return intake.bytes;
}

TEST_CASE("at a serial port the chain answers, and a port that goes away ends it with exit 3") {
  // A pty's client side is a serial port as far as this goes; the test holds the other end of the cable.
  const Folder folder;
  const auto device = folder / "cable";
  LineCoding line;
  line.baud = 2400;
  auto made = PtyPort::open(device, line);
  REQUIRE(std::holds_alternative<std::unique_ptr<PtyPort>>(made));
  auto far = std::move(std::get<std::unique_ptr<PtyPort>>(made));
  Process process(emulate({scenario("old-style-short.txtpb"), "--serial", device, "--send-on-real-port"}));
  INFO(process.err());
  REQUIRE(process.says("the controller's place is at"));
  CHECK(process.err().find("not isolated") != std::string::npos);
  // Unit 1, command 1, cell 0, and the sum; back come the unit, the command with the bit for answers, and 3312 in BCD.
  const Bytes ask{0x01, 0x01, 0x00, 0x00, 0x00, 0x00, 0x00, 0x02};
  const Bytes answer{0x01, 0x81, 0x00, 0x33, 0x12, 0x00, 0x00, 0xc7};
  REQUIRE(far->write(ask) == static_cast<std::ptrdiff_t>(ask.size()));
  CHECK(read_far(*far, answer.size()) == answer);
  far.reset();
  CHECK(process.wait() == 3);
  CHECK(process.err().find("the port is gone") != std::string::npos);
  CHECK_FALSE(process.out().empty());
}

bool same_truth(const ExchangeTruth* a, const ExchangeTruth* b) {
  if (a == nullptr || b == nullptr) return a == b;
  return std::equal(a->rows.begin(), a->rows.end(), b->rows.begin(), b->rows.end()) &&
         std::equal(a->attempts.begin(), a->attempts.end(), b->attempts.begin(), b->attempts.end());
}

void check_same(const CaptureRecords& live, const CaptureRecords& again) {
  REQUIRE(live.exchanges.size() == again.exchanges.size());
  TruthReader live_truth;
  TruthReader again_truth;
  for (std::size_t i = 0; i < live.exchanges.size(); ++i) {
    INFO("exchange record " << i);
    const auto& a = live.exchanges[i];
    const auto& b = again.exchanges[i];
    CHECK(a.fixed.number == b.fixed.number);
    CHECK(a.fixed.entry == b.fixed.entry);
    CHECK(a.fixed.turn == b.fixed.turn);
    CHECK(a.fixed.node == b.fixed.node);
    CHECK(a.fixed.start == b.fixed.start);
    CHECK(a.fixed.decided == b.fixed.decided);
    CHECK(a.fixed.closed == b.fixed.closed);
    CHECK(a.fixed.round_trip == b.fixed.round_trip);
    CHECK(a.fixed.since_last == b.fixed.since_last);
    CHECK(a.fixed.outcome == b.fixed.outcome);
    CHECK(a.attempts == b.attempts);
    CHECK(a.rows == b.rows);
    CHECK(a.asked == b.asked);
    CHECK(a.answered == b.answered);
    CHECK(same_truth(live_truth.of(a), again_truth.of(b)));
  }
  REQUIRE(live.strays.size() == again.strays.size());
  for (std::size_t i = 0; i < live.strays.size(); ++i) {
    CHECK(live.strays[i].fixed.at == again.strays[i].fixed.at);
    CHECK(live.strays[i].heard == again.strays[i].heard);
  }
  REQUIRE(live.arrivals.size() == again.arrivals.size());
  for (std::size_t i = 0; i < live.arrivals.size(); ++i) {
    CHECK(live.arrivals[i].fixed.at == again.arrivals[i].fixed.at);
    CHECK(live.arrivals[i].bytes == again.arrivals[i].bytes);
  }
  REQUIRE(live.end.has_value());
  REQUIRE(again.end.has_value());
  CHECK(live.end->until == again.end->until);
  CHECK(live.end->lateness == again.end->lateness);
}

TEST_CASE("a session run again gives the same records, by events and by every byte") {
  const Folder folder;
  const auto link = folder / "chain";
  const auto capture = folder / "live.hbcap";
  Process process(emulate({scenario("modbus-noisy.txtpb"), "--pty", link, "--capture", capture, "--json"}));
  REQUIRE(process.says("the controller's place is at"));
  {
    // Waits for the whole chain or not, reads what it gets or not: all of it must come about again.
    const auto raw = open_client(link);
    modbus_t* client = modbus_new_rtu(link.c_str(), 57'600, 'E', 8, 1);
    const std::unique_ptr<modbus_t, void (*)(modbus_t*)> freeing(client, [](modbus_t* end) {
      modbus_close(end);
      modbus_free(end);
    });
    REQUIRE(modbus_set_response_timeout(client, 0, 100'000) == 0);
    REQUIRE(modbus_connect(client) == 0);
    std::array<std::uint16_t, 12> cells{};
    for (int turn = 0; turn < 24; ++turn) {
      REQUIRE(modbus_set_slave(client, 1 + turn % 4) == 0);
      if (modbus_read_registers(client, 0, turn % 4 == 0 ? 12 : 1, cells.data()) == -1) modbus_flush(client);
      if (turn % 8 == 3) write_bytes(raw.get(), Bytes{0x55, 0x00, 0xff});
    }
  }
  process.send(SIGTERM);
  REQUIRE(process.wait() == 0);
  const auto live = CaptureRecords::read(capture);
  CHECK(live.exchanges.size() >= 20);
  const auto touched = std::count_if(live.exchanges.begin(), live.exchanges.end(), [](const ExchangeRecord& exchange) {
    return exchange.fixed.outcome != Outcome::answered;
  });
  CHECK(touched >= 6);  // each fourth ask is for a node that is not there
  CHECK(static_cast<std::size_t>(touched) < live.exchanges.size());

  const auto once = folder / "again.hbcap";
  const auto ended = run({"--again", capture, "--capture", once, "--json"});
  INFO(ended.err);
  REQUIRE(ended.code == 0);
  check_same(live, CaptureRecords::read(once));
  CHECK(ended.out == process.out());

  const auto by_bytes = folder / "bytes.hbcap";
  REQUIRE(run({"--again", capture, "--capture", by_bytes, "--every-byte"}).code == 0);
  check_same(live, CaptureRecords::read(by_bytes));

  // A capture of a session that was cut off runs as far as it goes.
  const auto cut = folder / "cut.hbcap";
  const auto whole = text_of(capture);
  std::ofstream(cut) << whole.substr(0, whole.size() - 40);
  const auto short_of_it = run({"--again", cut});
  CHECK(short_of_it.code == 0);
  CHECK(short_of_it.err.find("not closed") != std::string::npos);
}

}  // namespace
}  // namespace hopbench
