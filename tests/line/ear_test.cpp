// An ear that is told of whole frames, on a bus on which a silence ends a frame.
#include "line/ear.h"

#include "support/buses.h"
#include "support/catch.h"

namespace hopbench {
namespace {

TEST_CASE("a frame whose silence is over is told although the next one comes before anybody looked") {
  const Protocol protocol(buses::modbus_rtu());
  const Period period = period_of_baud(protocol.line().baud);
  const Frame frame = protocol.ask(*protocol.topic_named("read_holding"), 1, 0, 0);
  Content content;
  protocol.encode(frame, content);
  WireBytes wire;
  protocol.wrap(content.view(), wire);
  const auto at = [&](Nanos start) {
    return Timing(start, period, static_cast<std::uint32_t>(wire.size()), protocol.line().char_half_bits());
  };
  Ear ear(protocol, ReceiverSpec{}, period);
  std::vector<Finding> findings;
  ear.hear_clean(frame, at(0), at(0).end(), 1, findings);
  CHECK(findings.empty());  // the silence is still to come
  const Nanos over = ear.wants_wake();
  REQUIRE(over != never);
  CHECK_FALSE(ear.idle_at(over));
  REQUIRE(ear.idle_at(over + 1));
  ear.hear_clean(frame, at(over + 1), at(over + 1).end(), 2, findings);
  REQUIRE(findings.size() == 1);
  CHECK(findings.front().first_tag == 1);
  CHECK(findings.front().known_at == over);
  CHECK(findings.front().frame == frame);
  ear.wake(ear.wants_wake(), findings);
  REQUIRE(findings.size() == 2);
  CHECK(findings.back().first_tag == 2);
}

}  // namespace
}  // namespace hopbench
