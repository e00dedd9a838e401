#include "scenario/cells_told.h"

#include "support/buses.h"
#include "support/catch.h"

namespace hopbench {
namespace {

KindSpec kind_with(std::uint32_t cells) {
  KindSpec kind;
  kind.cells = cells;
  return kind;
}

}  // namespace

TEST_CASE("an answer tells of the cells that the ask names, as far as the node has them") {
  const Protocol protocol(buses::bench_frame());
  const auto readings = protocol.topic_named("readings");
  REQUIRE(readings);
  const KindSpec kind = kind_with(12);
  CHECK(cells_told(protocol, kind, *readings, {{"first", 0}, {"count", 12}}) == CellsTold{0, 12});
  CHECK(cells_told(protocol, kind, *readings, {{"first", 4}, {"count", 3}}) == CellsTold{4, 3});
  CHECK(cells_told(protocol, kind, *readings, {{"first", 10}, {"count", 3}}) == CellsTold{});  // it would refuse
  CHECK(cells_told(protocol, kind, *readings, {}) == CellsTold{});                             // it cannot be asked
  CHECK(cells_told(protocol, kind, *readings) == CellsTold{0, 12});
  const auto health = protocol.topic_named("line_health");
  REQUIRE(health);
  CHECK(cells_told(protocol, kind, *health, {}) == CellsTold{});
  CHECK(cells_told(protocol, kind, *health) == CellsTold{});
}

TEST_CASE("registers tell of the cells that they show") {
  const Protocol protocol(buses::modbus_rtu());
  const auto read = protocol.topic_named("read_holding");
  REQUIRE(read);
  CHECK(cells_told(protocol, kind_with(4), *read, {{"first", 1}, {"count", 2}}) == CellsTold{1, 2});
  CHECK(cells_told(protocol, kind_with(4), *read) == CellsTold{0, 4});
}

}  // namespace hopbench
