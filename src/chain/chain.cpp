#include "chain/chain.h"

#include <algorithm>
#include <deque>
#include <optional>
#include <utility>

#include "line/clock.h"
#include "scenario/cells_told.h"
#include "chain/controller.h"
#include "chain/link.h"
#include "chain/node.h"
#include "chain/outside.h"
#include "chain/repeater.h"
#include "chain/world.h"

namespace hopbench {
namespace {

// A chain of 250 nodes does a few hundred things at one instant; far more than that is a loop without time.
constexpr std::uint64_t most_at_one_instant = 200'000;

RunInfo info_of(const World& world, Seat seat) {
  RunInfo info;
  const ChainDescription& chain = world.chain;
  info.scenario = chain.name;
  info.seed = world.luck.seed();
  info.simulated = seat == Seat::simulated;
  info.truth_known = true;
  info.controller = chain.controller.name;
  for (const NodeSpec& node : chain.nodes) {
    info.nodes.push_back(node.name);
    info.cells.push_back(chain.kinds[node.kind].cells);
  }
  info.links = links_of(chain);
  if (seat == Seat::outside) {
    info.links.front().vantage = Vantage::at_port;
    info.links.back().vantage = Vantage::at_port;
    info.entries = Outside::entries_of(chain, world.protocol);
  } else {
    for (const PlanEntry& entry : Controller::entries_of(chain)) {
      const auto topic = world.protocol.topic_named(entry.topic);
      CellsTold told;
      if (topic && entry.node != nobody) {
        told = cells_told(world.protocol, chain.kinds[chain.nodes[entry.node].kind], *topic, entry.arguments);
      }
      info.entries.push_back(
          {entry.name, entry.node == nobody ? "" : chain.nodes[entry.node].name, entry.topic, told.first, told.cells});
    }
  }
  for (const FaultSpec& fault : chain.faults) info.faults.push_back(fault.name);
  return info;
}

}  // namespace

std::vector<LinkInfo> links_of(const ChainDescription& chain) {
  std::vector<std::string> stations{chain.controller.name};
  for (const NodeSpec& node : chain.nodes) stations.push_back(node.name);
  std::vector<LinkInfo> links;
  const std::size_t n = chain.nodes.size();
  for (std::size_t i = 0; i < n; ++i) {
    links.push_back({static_cast<std::uint16_t>(i + 1), stations[i], stations[i + 1], false, Vantage::simulated});
  }
  if (chain.shape == Shape::ring) {
    links.push_back({static_cast<std::uint16_t>(n + 1), stations[n], stations[0], false, Vantage::simulated});
  } else {
    for (std::size_t i = n; i > 0; --i) {
      links.push_back({static_cast<std::uint16_t>(i), stations[i], stations[i - 1], true, Vantage::simulated});
    }
  }
  return links;
}

Frame as_heard(const Protocol& protocol, const Frame& frame) {
  Content content;
  protocol.encode(frame, content);
  Frame heard = frame;
  if (protocol.parse(content.view(), heard) != Damage::none) return frame;
  if (protocol.description().roles.tell_role != TellRole::by_field) heard.role = frame.role;
  return heard;
}

std::string link_name(const LinkInfo& link) { return (link.homeward ? "homeward into " : "into ") + link.to; }

World::World(const Protocol& the_protocol, const ChainDescription& the_chain, std::uint64_t seed, Way the_way,
             Sink& the_sink)
    : protocol(the_protocol),
      chain(the_chain),
      luck(seed),
      way(the_way),
      tap(the_sink),
      sink(tap),
      queue(most_at_one_instant),
      traces(tap),
      injector(the_chain, the_protocol, luck) {}

World::~World() = default;

std::uint16_t World::answer_link(std::size_t node) const {
  return static_cast<std::uint16_t>(ring() ? node + 1 : 2 * node_count() - 1 - node);
}

std::uint16_t World::onward_link(std::size_t node, std::uint16_t in) const {
  if (ring()) return static_cast<std::uint16_t>(node + 1);
  if (in >= node_count()) return answer_link(node);  // homeward
  return node + 1 < node_count() ? static_cast<std::uint16_t>(in + 1) : nobody;
}

void World::changing() {
  settle();
  ++version;
}

class Chain::World : public hopbench::World {
 public:
  World(const Protocol& a_protocol, const ChainDescription& a_chain, std::uint64_t seed, Way a_way, Seat a_seat,
        Sink& a_sink)
      : hopbench::World(a_protocol, a_chain, seed, a_way, a_sink), seat(a_seat) {
    sink.begin(info_of(*this, seat));
    const LineCoding& line = protocol.line();
    const Period controller_period =
        period_of(chain.controller.clock, line.baud, luck, name_hash(chain.controller.name));
    for (std::size_t i = 0; i < node_count(); ++i) {
      const NodeSpec& spec = chain.nodes[i];
      const ClockSpec& clock = spec.clock ? *spec.clock : chain.kinds[spec.kind].clock;
      nodes.push_back(std::make_unique<Node>(*this, i, clock));
    }
    Station& seat_station = a_seat == Seat::simulated
                                ? static_cast<Station&>(controller.emplace_back(*this, controller_period))
                                : static_cast<Station&>(outside.emplace_back(*this));
    const auto infos = links_of(chain);
    // Station 0 is the controller, station i + 1 node i.
    const auto ends = [&](std::size_t link) -> std::pair<std::size_t, std::size_t> {
      if (link < node_count()) return {link, link + 1};
      if (ring()) return {node_count(), 0};
      const std::size_t from = 2 * node_count() - link;
      return {from, from - 1};
    };
    for (std::size_t i = 0; i < infos.size(); ++i) {
      const auto [from, to] = ends(i);
      const Period sends = from == 0 ? controller_period : nodes[from - 1]->period();
      const Period hears = to == 0 ? controller_period : nodes[to - 1]->period();
      const Processor* processor = to != 0              ? &nodes[to - 1]->processor()
                                   : controller.empty() ? nullptr
                                                        : &controller.front().processor();
      const ReceiverSpec& receiver = to == 0 ? chain.controller.receiver : nodes[to - 1]->kind().receiver;
      links.push_back(std::make_unique<Link>(*this, static_cast<std::uint16_t>(i), link_name(infos[i]), sends, hears,
                                             receiver, processor));
      Station& station = to == 0 ? seat_station : *nodes[to - 1];
      links.back()->connect(station, from == 0 ? nullptr : nodes[from - 1].get(),
                            to == 0 ? nullptr : nodes[to - 1].get());
    }
    if (!outside.empty()) {
      links.front()->listen([this](const Finding& finding) { outside.front().ask_understood(finding); });
    }
    surroundings.emplace(*this);
    surroundings->begin();
    if (!controller.empty()) controller.front().begin();
    if (!controller.empty() && way == Way::repeats) repeater.emplace(*this, controller.front());
  }

  Seat seat;
  // At most one of the two holds one (they can be neither copied nor left empty).
  std::deque<Controller> controller;
  std::deque<Outside> outside;
  std::optional<Repeater> repeater;
  bool finished = false;
  Nanos port_late_worst = 0;
  Nanos port_late_total = 0;

  /// Does what is due next, at `until` at the latest, and perhaps a lot after it. Returns false if the chain is stuck.
  [[nodiscard]] bool advance(Nanos until) {
    if (crowded()) return false;
    if (repeater && queue.next_rank() == Rank::plan && repeater->go(until)) return true;
    return queue.step();
  }
};

Chain::Chain(const Protocol& protocol, const ChainDescription& description, std::uint64_t seed, Way way, Seat seat,
             Sink& sink)
    : world_(std::make_unique<World>(protocol, description, seed, way, seat, sink)) {}

Chain::~Chain() = default;

bool Chain::run_until(Nanos until) {
  bool goes_on = true;
  while (goes_on && world_->queue.next_at() <= until) goes_on = world_->advance(until);
  world_->tap.flush();
  if (goes_on) world_->queue.advance(until);
  return goes_on;
}

bool Chain::run_exchanges(std::uint64_t exchanges) {
  if (world_->controller.empty()) return false;
  world_->controller.front().ask_no_more_than(exchanges);
  world_->controller.front().resume();
  bool goes_on = true;
  while (goes_on && world_->traces.closed() < exchanges) {
    goes_on = world_->queue.next_at() != never && world_->advance(never - 1);
  }
  world_->tap.flush();
  return goes_on;
}

StartSpec Chain::standing() const {
  const World& world = *world_;
  StartSpec start;
  start.at = world.chain.start.at + world.queue.now() / Pack::step * Pack::step;
  start.charged = world.surroundings->pack().charged();
  if (!world.controller.empty()) start.round = world.controller.front().place().round;
  for (std::size_t i = 0; i < world.node_count(); ++i) {
    StartSpec::Standing standing;
    standing.node = static_cast<std::uint16_t>(i);
    const Pack& pack = world.surroundings->pack();
    if (world.chain.pack.battery.present) {
      const std::uint32_t cells = world.chain.kinds[world.chain.nodes[i].kind].cells;
      for (std::uint32_t cell = 0; cell < cells; ++cell) standing.charge_ppm.push_back(pack.charge_ppm(i, cell));
    }
    if (pack.moves()) standing.board_mc = pack.board(i).board_mc;
    if (pack.moves()) start.nodes.push_back(standing);
  }
  return start;
}

void Chain::forget_recordings() {
  if (world_->repeater) world_->repeater->forget();
}

Nanos Chain::next_at() const { return world_->queue.next_at(); }
Nanos Chain::now() const { return world_->queue.now(); }

void Chain::set_outlet(Outlet outlet) { world_->links.back()->set_outlet(std::move(outlet)); }

void Chain::arrive(Nanos at, bool paced, std::span<const std::uint8_t> bytes, std::span<const std::uint8_t> flags) {
  if (world_->outside.empty() || bytes.empty()) return;
  at = std::max(at, world_->queue.now());
  (void)run_until(at);
  world_->sink.arrival({at, paced, bytes, flags});
  // Longer than any frame is cut into pieces that fit a flight.
  constexpr std::size_t piece = max_frame_bytes;
  for (std::size_t from = 0; from < bytes.size(); from += piece) {
    const std::size_t size = std::min(piece, bytes.size() - from);
    world_->outside.front().arrive(paced, bytes.subspan(from, size),
                                   flags.empty() ? flags : flags.subspan(from, std::min(size, flags.size() - from)));
  }
}

void Chain::port_was_late(Nanos from, Nanos to) {
  world_->port_late_worst = std::max(world_->port_late_worst, to - from);
  world_->port_late_total += to - from;
}

Nanos Chain::port_late_worst() const { return world_->port_late_worst; }
Nanos Chain::port_late_total() const { return world_->port_late_total; }

void Chain::finish(const Lateness& lateness) {
  if (world_->finished) return;
  world_->finished = true;
  // What the plan was in the middle of has no outcome. A real controller that asked and has not asked again did not get
  // its answer.
  world_->traces.close_all(world_->queue.now(), world_->seat == Seat::outside);
  world_->sink.end(world_->queue.now(), lateness);
}

}  // namespace hopbench
