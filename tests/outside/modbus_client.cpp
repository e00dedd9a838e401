// A Modbus RTU client that is not ours (libmodbus, a C library) asks an emulated ring. The values that it must get are
// those that the scenario states; exception 2 for a register that is not there is the standard's "illegal data
// address" (MODBUS application protocol specification V1.1b3, section 7).
#include <modbus.h>

#include <array>
#include <cerrno>
#include <memory>
#include <string>

#include "capture_records.h"
#include "port/fixtures.h"
#include "process.h"
#include "support/catch.h"

namespace hopbench {
namespace {

constexpr int baud = 57'600;
constexpr int multi_cell_node = 1;
constexpr int single_cell_node = 3;
constexpr int nobody = 9;
constexpr int cell_count_register = 101;
constexpr int missing_register = 60;

struct Closing {
  void operator()(modbus_t* client) const {
    modbus_close(client);
    modbus_free(client);
  }
};
using Client = std::unique_ptr<modbus_t, Closing>;

Client connect(const std::string& path, int node, unsigned seconds, unsigned microseconds) {
  Client client(modbus_new_rtu(path.c_str(), baud, 'E', 8, 1));
  REQUIRE(client);
  REQUIRE(modbus_set_slave(client.get(), node) == 0);
  REQUIRE(modbus_set_response_timeout(client.get(), seconds, microseconds) == 0);
  REQUIRE(modbus_connect(client.get()) == 0);
  return client;
}

/// `hopbench emulate` with a pty, ready to be asked.
struct Emulation {
  Folder folder;
  std::string link = folder / "chain";
  std::string capture = folder / "session.hbcap";
  Process process;

  explicit Emulation(const std::string& scenario)
      : process({HOPBENCH_BINARY, "emulate", std::string(HOPBENCH_SOURCE_DIR) + "/tests/outside/scenarios/" + scenario,
                 "--pty", link, "--capture", capture}) {
    INFO(process.err());
    REQUIRE(process.says("the controller's place is at " + link));
  }

  /// Ends it as a user would; gives what it recorded.
  CaptureRecords end() {
    process.send(SIGTERM);
    const int exit_code = process.wait();
    INFO(process.err());
    CHECK(exit_code == 0);
    return CaptureRecords::read(capture);
  }
};

TEST_CASE("twelve cells of a multi-cell node come back as the scenario states them") {
  Emulation bench("modbus-short.txtpb");
  const auto client = connect(bench.link, multi_cell_node, 10, 0);
  std::array<std::uint16_t, 12> cells{};
  REQUIRE(modbus_read_registers(client.get(), 0, 12, cells.data()) == 12);
  for (const auto cell : cells) CHECK(cell == 3312);
  std::uint16_t count = 0;
  REQUIRE(modbus_read_input_registers(client.get(), cell_count_register, 1, &count) == 1);
  CHECK(count == 12);

  REQUIRE(modbus_set_slave(client.get(), single_cell_node) == 0);
  std::uint16_t cell = 0;
  REQUIRE(modbus_read_registers(client.get(), 0, 1, &cell) == 1);
  CHECK(cell == 3287);

  const auto records = bench.end();
  REQUIRE(records.exchanges.size() == 3);
  for (const auto& exchange : records.exchanges) {
    CHECK(exchange.fixed.outcome == Outcome::answered);
    CHECK(exchange.rows.size() == 4);  // the ask and then the answer: together once around a ring of four hops
  }
  CHECK(records.end.has_value());
  CHECK_FALSE(records.head.run.simulated);
}

TEST_CASE("what a client writes can be read back") {
  Emulation bench("modbus-short.txtpb");
  const auto client = connect(bench.link, multi_cell_node, 10, 0);
  constexpr int high_limit_register = 106;
  REQUIRE(modbus_write_register(client.get(), high_limit_register, 3601) == 1);
  std::uint16_t limit = 0;
  REQUIRE(modbus_read_registers(client.get(), high_limit_register, 1, &limit) == 1);
  CHECK(limit == 3601);
}

TEST_CASE("a register that is not there is refused with the standard's exception") {
  Emulation bench("modbus-short.txtpb");
  const auto client = connect(bench.link, multi_cell_node, 10, 0);
  std::uint16_t value = 0;
  errno = 0;
  CHECK(modbus_read_registers(client.get(), missing_register, 1, &value) == -1);
  CHECK(errno == EMBXILADD);
  // The client and the chain are in step afterwards.
  REQUIRE(modbus_read_registers(client.get(), 0, 1, &value) == 1);
  CHECK(value == 3312);
  const auto records = bench.end();
  REQUIRE(records.exchanges.size() == 2);
  CHECK(records.exchanges[0].fixed.outcome == Outcome::refused);
  CHECK(records.exchanges[1].fixed.outcome == Outcome::answered);
}

TEST_CASE("a node that is not there is waited for in vain, and is not the request come round") {
  Emulation bench("modbus-short.txtpb");
  const auto client = connect(bench.link, nobody, 0, 500'000);
  std::uint16_t value = 0;
  errno = 0;
  CHECK(modbus_read_registers(client.get(), 0, 1, &value) == -1);
  CHECK(errno == ETIMEDOUT);
  // The answer to this write repeats the request, so that a request that came round would pass for it.
  errno = 0;
  CHECK(modbus_write_register(client.get(), 106, 3601) == -1);
  CHECK(errno == ETIMEDOUT);
  const auto records = bench.end();
  REQUIRE(records.exchanges.size() == 2);
  for (const auto& exchange : records.exchanges) CHECK(exchange.fixed.outcome == Outcome::lost);
}

TEST_CASE("a client takes a late answer for that to its next request, and the capture tells") {
  Emulation bench("modbus-late.txtpb");
  // Answers are three seconds late; two seconds after the first ask the client gives up and asks something else. The
  // first answer comes a second later, and a second before the client gives up again.
  const auto client = connect(bench.link, multi_cell_node, 2, 0);
  std::uint16_t count = 0;
  errno = 0;
  REQUIRE(modbus_read_registers(client.get(), cell_count_register, 1, &count) == -1);
  REQUIRE(errno == ETIMEDOUT);
  std::uint16_t cell = 0;
  REQUIRE(modbus_read_registers(client.get(), 0, 1, &cell) == 1);
  CHECK(cell == 12);  // not a voltage: the number of cells, which the first request had asked for
  const auto records = bench.end();
  REQUIRE(records.exchanges.size() == 2);
  // Nothing that the client heard was the answer to its first request: it took that for the answer to the second. On
  // the wire the two cannot be told apart, which is marked; the simulated chain knows.
  CHECK(records.exchanges[0].fixed.outcome == Outcome::lost);
  CHECK(records.exchanges[1].fixed.outcome == Outcome::wrong);
  CHECK(records.exchanges[1].fixed.ambiguous);
}

}  // namespace
}  // namespace hopbench
