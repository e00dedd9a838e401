#include "chain/defended.h"

#include <map>
#include <set>

#include "support/buses.h"
#include "support/catch.h"

namespace hopbench {
namespace {

constexpr std::uint16_t nodes = 3;
constexpr std::uint16_t links = nodes + 1;
constexpr std::uint64_t first_struck = 6;
constexpr std::uint64_t last_struck = 23;
constexpr std::uint64_t exchanges = 60;  // the last ones long after anything that is held up has come
constexpr std::uint64_t controller_at = 255;

using Payload = std::vector<std::uint8_t>;

/// Frames of a fixed length without room to spare: neither a size nor padding can give an error away.
BusDescription bus_with(const Defences& defences) {
  BusDescription bus;
  bus.name = "defended";
  bus.line.baud = 100'000;
  bus.parts = {buses::part(buses::field("role", 2)), buses::part(buses::field("topic", 6)),
               buses::part(buses::field("hops", 8))};
  bus.roles.distance = "hops";
  bus.roles.controller_address = controller_at;
  bus.roles.topic = "topic";
  bus.roles.role_field = "role";
  bus.roles.role_codes = {{Role::ask, 0}, {Role::answer, 1}, {Role::refusal, 2}};
  bus.roles.refusal = {buses::item(buses::field("why", 16))};
  bus.roles.refusal_code_field = "why";
  bus.roles.refusal_codes = {{"unknown_topic", 1}, {"bad_address", 2}, {"bad_value", 3}};
  bus.forward.rewrite = {{"hops", -1}};
  bus.forward.repair = CheckRepair::by_difference;
  if (defences.number) {
    bus.parts.push_back(buses::part(buses::field("number", 8)));
    bus.roles.exchange = "number";
  }
  if (defences.addresses) {
    bus.parts.push_back(buses::part(buses::field("from", 8)));
    bus.roles.source = "from";
  }
  bus.parts.push_back(buses::payload_part());
  if (defences.check) {
    CheckSpec check;
    check.name = "check";
    check.crc = {.width = 16, .poly = 0x1021, .init = 0xFFFF};
    bus.parts.push_back(buses::part(check));
  }
  bus.framing.kind = FramingKind::fixed;
  bus.framing.fixed_bytes =
      4U + (defences.number ? 1U : 0U) + (defences.addresses ? 1U : 0U) + (defences.check ? 2U : 0U);
  bus.framing.abandon_char_tenths = 50;

  // Low byte first, since that is the byte that a masquerade alters.
  FieldSpec cell = buses::field("cell", 16);
  cell.little_endian = true;
  FieldSpec reading = buses::quantity("millivolts", 16, "cell_mv", "mV");
  reading.little_endian = true;
  GroupSpec readings;
  readings.name = "readings";
  readings.times = 1;
  readings.fields = {reading};
  TopicSpec topic;
  topic.name = "cell";
  topic.code = 1;
  topic.changes = false;
  topic.ask = {buses::item(cell)};
  topic.answer = {buses::item(readings)};
  topic.first_field = "cell";
  topic.values_group = "readings";
  bus.topics = {topic};
  return bus;
}

PlanEntry poll(const SmallChain& small, std::uint16_t node, std::uint64_t cell) {
  PlanEntry entry;
  entry.node = node;
  entry.topic = "cell";
  entry.arguments = {{"cell", cell}};
  entry.name = "cell " + std::to_string(cell) + "/" + small.chain.nodes[node].name;
  return entry;
}

Payload answer_of(const Protocol& protocol, const KeptExchange& exchange) {
  Frame frame;
  REQUIRE(protocol.parse(exchange.answered, frame) == Damage::none);
  const auto payload = frame.payload.view();
  return {payload.begin(), payload.end()};
}

/// The outcomes after which the controller uses what it was told.
bool is_taken(Outcome outcome) {
  return outcome == Outcome::answered || outcome == Outcome::stale || outcome == Outcome::wrong ||
         outcome == Outcome::truncated;
}

/// What each entry is answered if nothing is wrong, and when each exchange begins. Cells keep their voltage, so a wrong
/// value is seen in the answer itself; the bench's own judgement is needed only for an old one that is equal.
class Healthy {
 public:
  explicit Healthy(const SmallChain& small) : protocol_(small.bus), run_(small.run(exchanges)) {
    REQUIRE(run_.count(Outcome::answered) == exchanges);
    std::set<Payload> different;
    for (const KeptExchange& each : run_.exchanges) {
      REQUIRE(each.seen.round_trip < longest_wait / 2);
      said_[each.seen.entry] = answer_of(protocol_, each);
    }
    for (const auto& [entry, payload] : said_) different.insert(payload);
    REQUIRE(different.size() == said_.size());
  }

  [[nodiscard]] Nanos begins(std::uint64_t number) const { return exchange_number(run_, number).seen.start; }
  [[nodiscard]] std::uint16_t node(std::uint64_t number) const { return exchange_number(run_, number).seen.node; }

  [[nodiscard]] bool mistaken(const KeptExchange& exchange) const {
    if (!is_taken(exchange.seen.outcome)) return false;
    return exchange.seen.outcome != Outcome::answered || exchange.seen.round_trip > longest_wait ||
           answer_of(protocol_, exchange) != said_.at(exchange.seen.entry);
  }

 private:
  Protocol protocol_;
  Collector run_;
  std::map<std::uint32_t, Payload> said_;  // by entry
};

/// Of an ask the hops that lead to another node, of an answer another node's address (hops, where it says none: then it
/// may not come home). Beyond the last node there is none, and the ask finds nobody.
std::uint64_t another_address(std::uint16_t node, std::uint16_t link) {
  if (link > node) return (node + 1U) % nodes + 1U;
  return node == link ? 1 : 0;
}

}  // namespace

SmallChain defended(const Defences& defences, PollOrder order) {
  SmallChain small = small_chain(Shape::ring, nodes);
  small.bus = bus_with(defences);
  small.kind().levels = {.level_uv = 3'300'000, .spread_uv = 200'000, .swing_uv = 0};
  small.controller().pace = 0;
  small.controller().time_out = defences.time_out ? longest_wait : 3600 * second;
  small.controller().on_late = defences.number ? OnLate::match_exchange : OnLate::accept;
  small.controller().plan.clear();
  for (std::uint16_t node = 0; node < nodes; ++node) {
    if (order == PollOrder::one_node && node != 1) continue;
    const std::uint64_t cells = order == PollOrder::in_turn ? 1 : 3;
    for (std::uint64_t cell = 0; cell < cells; ++cell) small.controller().plan.push_back(poll(small, node, cell));
  }
  return small;
}

Toll strike(const SmallChain& small, const FaultSpec& fault) {
  const Healthy healthy(small);
  Toll toll;
  for (std::uint64_t struck = first_struck; struck <= last_struck; ++struck) {
    for (std::uint16_t link = 0; link < links; ++link) {
      SmallChain ill = small;
      ill.chain.faults = {fault};
      FaultSpec& one = ill.chain.faults.front();
      one.links = {link};
      one.from = healthy.begins(struck);  // each exchange has one frame on each link
      one.to = healthy.begins(struck + 1);
      one.at_most = 1;
      if (one.kind == FaultClass::address) one.value = another_address(healthy.node(struck), link);
      const Collector kept = ill.run(exchanges);
      bool mistaken = false;
      for (const KeptExchange& each : kept.exchanges) {
        REQUIRE(each.strikes.size() == (each.seen.number == struck ? 1U : 0U));
        mistaken = mistaken || healthy.mistaken(each);
      }
      const ExchangeObs& seen = exchange_number(kept, struck).seen;
      ++toll.strikes;
      if (mistaken) ++toll.mistaken;
      if (is_taken(seen.outcome) || seen.decided - seen.start > 60 * second) ++toll.unnoticed;
    }
  }
  return toll;
}

}  // namespace hopbench
