#include "chain/chain.h"

#include <algorithm>
#include <memory>
#include <utility>
#include <vector>

#include "chain/controller_post.h"
#include "chain/node_post.h"
#include "chain/outside_post.h"
#include "chain/quiet.h"
#include "chain/repeater.h"
#include "chain/saved_state.h"
#include "chain/surroundings.h"
#include "scenario/cells_told.h"
#include "wires/link.h"
#include "wires/works.h"

namespace hopbench {
namespace {

RunInfo info_of(const Works& works, const Seat& seat) {
  RunInfo info;
  const ChainDescription& chain = works.chain;
  info.scenario = chain.name;
  info.seed = works.luck.seed();
  info.simulated = !seat.real;
  info.time_out = seat.real ? seat.time_out : chain.controller.time_out;
  info.truth_known = true;
  info.granted_time = seat.granted;
  info.controller = chain.controller.name;
  for (const NodeSpec& node : chain.nodes) {
    info.nodes.push_back(node.name);
    info.cells.push_back(chain.kinds[node.kind].cells);
  }
  info.links = link_infos(chain);
  for (const FaultSpec& fault : chain.faults) info.faults.push_back(fault.name);
  if (seat.real) {
    info.links.front().vantage = Vantage::at_port;
    info.links.back().vantage = Vantage::at_port;
    info.entries = OutsidePost::entries_of(chain, works.protocol);
    return info;
  }
  for (const PlanEntry& entry : Controller::entries_of(chain)) {
    const auto topic = works.protocol.topic_named(entry.topic);
    CellsTold told;
    if (topic && entry.node != nobody) {
      told = cells_told(works.protocol, chain.kinds[chain.nodes[entry.node].kind], *topic, entry.arguments);
    }
    info.entries.push_back(
        {entry.name, entry.node == nobody ? "" : chain.nodes[entry.node].name, entry.topic, told.first, told.cells});
  }
  return info;
}

}  // namespace

struct Chain::Parts {
  /// All is there and connected. begin() or keep() comes next.
  Parts(const Protocol& protocol, const ChainDescription& chain, std::uint64_t seed, Way way, const Seat& the_seat,
        Sink& sink)
      : works(protocol, chain, seed, way, sink), seat(the_seat) {
    if (seat.real) {
      outside = std::make_unique<OutsidePost>(works, seat.time_out, seat.granted);
    } else {
      controller = std::make_unique<ControllerPost>(works);
    }
    LinkEnd& seat_end = controller ? static_cast<LinkEnd&>(*controller) : static_cast<LinkEnd&>(*outside);
    std::vector<Node*> nodes;
    for (std::size_t i = 0; i < chain.nodes.size(); ++i) {
      posts.push_back(std::make_unique<NodePost>(works, i));
      nodes.push_back(&posts.back()->station());
    }
    lay_links(seat_end);
    surroundings = std::make_unique<Surroundings>(works, std::move(nodes), links);
    for (const auto& post : posts) post->connect(links, *surroundings);
    if (controller) {
      controller->connect(*links.front());
      if (way == Way::repeats) repeater = std::make_unique<Repeater>(works, links, posts, *controller);
    } else {
      outside->connect(*links.front());
    }
  }

  void tell_begin() { works.tap.begin(info_of(works, seat)); }

  void begin() {
    tell_begin();
    for (const auto& post : posts) post->station().begin();
    surroundings->begin();
    if (controller) controller->station().begin();
  }

  [[nodiscard]] StateHead head() const {
    return {fingerprint(works.protocol.description(), works.chain), works.luck.seed()};
  }

  [[nodiscard]] bool quiet() const {
    return controller && controller->between() && nothing_on_its_way(works) &&
           std::all_of(links.begin(), links.end(), [](const auto& link) { return link->empty(); }) &&
           works.queue.quiet();
  }

  /// What outlives a quiet point. Each room names its own; what follows from something else is worked out anew, and
  /// recordings and what has been looked up of luck are made again.
  void keep(Archive& archive) {
    works.queue.keep_time(archive);
    works.traces.keep(archive);
    works.injector.keep(archive);
    archive.all("node", posts, [&](const auto& post) { post->station().keep(archive); });
    controller->keep(archive);
    archive.all("link", links, [&](const auto& link) { link->keep(archive); });
    surroundings->keep(archive);
    works.queue.keep_events(archive, [this](std::uint16_t entity) { return actor(entity); });
    archive.end();
  }

  /// Whom an event is for.
  [[nodiscard]] Actor* actor(std::uint16_t entity) const {
    if (entity == Works::controller_entity) return controller.get();
    if (entity == Works::surroundings_entity) return surroundings.get();
    const std::size_t node = entity - Works::node_entity(0);
    return entity >= Works::node_entity(0) && node < posts.size() ? posts[node].get() : nullptr;
  }

  void lay_links(LinkEnd& seat_end) {
    const auto end = [&](std::uint16_t node) -> LinkEnd& { return node == nobody ? seat_end : *posts[node]; };
    const auto infos = link_infos(works.chain);
    for (std::size_t i = 0; i < works.table.size(); ++i) {
      const LinkTable::Entry& entry = works.table[i];
      const ReceiverSpec& receiver =
          entry.to == nobody ? works.chain.controller.receiver : posts[entry.to]->station().kind().receiver;
      links.push_back(std::make_unique<Link>(works, static_cast<std::uint16_t>(i), link_name(infos[i]), end(entry.from),
                                             end(entry.to), receiver));
    }
    for (std::size_t i = 0; i < links.size(); ++i) {
      const std::uint16_t onward = works.table.onward(static_cast<std::uint16_t>(i));
      if (onward != nobody) links[i]->leads_to(links[onward].get());
    }
  }

  /// Does what is due next, at `until` at the latest, and perhaps a lot after it. Returns false if the chain is stuck.
  [[nodiscard]] bool advance(Nanos until) {
    if (works.crowded()) return false;
    if (repeater && works.queue.next_rank() == Rank::plan && repeater->go(until)) return true;
    return works.queue.step();
  }

  Works works;
  const Seat seat;
  // One of the two sits in the controller's seat.
  std::unique_ptr<ControllerPost> controller;
  std::unique_ptr<OutsidePost> outside;
  std::vector<std::unique_ptr<NodePost>> posts;
  std::vector<std::unique_ptr<Link>> links;
  std::unique_ptr<Surroundings> surroundings;
  std::unique_ptr<Repeater> repeater;
  bool finished = false;
};

Chain::Chain(const Protocol& protocol, const ChainDescription& description, std::uint64_t seed, Way way, Seat seat,
             Sink& sink)
    : parts_(std::make_unique<Parts>(protocol, description, seed, way, seat, sink)) {
  parts_->begin();
}

Chain::Chain(std::unique_ptr<Parts> parts) : parts_(std::move(parts)) {}

Chain::~Chain() = default;

bool Chain::run_until(Nanos until) {
  Works& works = parts_->works;
  bool goes_on = true;
  while (goes_on && works.queue.next_at() <= until) goes_on = parts_->advance(until);
  works.tap.flush();
  if (goes_on) works.queue.advance(until);
  return goes_on;
}

bool Chain::run_exchanges(std::uint64_t exchanges) {
  if (!parts_->controller) return false;
  Works& works = parts_->works;
  parts_->controller->ask_no_more_than(exchanges);
  parts_->controller->station().resume();
  bool goes_on = true;
  while (goes_on && works.traces.closed() < exchanges) {
    goes_on = works.queue.next_at() != never && parts_->advance(never - 1);
  }
  works.tap.flush();
  return goes_on;
}

bool Chain::quiet() const { return parts_->quiet(); }

bool Chain::run_until_quiet(Nanos limit) {
  Works& works = parts_->works;
  bool goes_on = true;
  while (goes_on && !quiet() && works.queue.next_at() <= limit) {
    if (works.queue.next_rank() == Rank::plan) (void)put_away(works, parts_->links);
    if (!quiet()) goes_on = parts_->advance(limit);
  }
  works.tap.flush();
  return goes_on && quiet();
}

std::vector<std::uint8_t> Chain::save(std::string& why) const {
  why.clear();
  if (!quiet()) {
    why = parts_->controller ? "something is under way" : "what a real controller has in hand cannot be saved";
    return {};
  }
  parts_->works.settle();
  parts_->works.tap.flush();
  Archive archive;
  parts_->keep(archive);
  why = archive.why();
  if (!archive.good()) return {};
  return wrap_state(state_of_chain, parts_->head(), archive.bytes());
}

std::unique_ptr<Chain> Chain::resumed(const Protocol& protocol, const ChainDescription& description, std::uint64_t seed,
                                      Way way, Sink& sink, std::span<const std::uint8_t> state, std::string& why) {
  auto parts = std::make_unique<Parts>(protocol, description, seed, way, Seat::simulated, sink);
  const auto kept = unwrap_state(state_of_chain, parts->head(), state, why);
  if (!why.empty()) return nullptr;
  Archive archive(kept);
  parts->keep(archive);
  if (!archive.good()) {
    why = "the saved state does not fit: " + archive.why();
    return nullptr;
  }
  parts->tell_begin();
  return std::unique_ptr<Chain>(new Chain(std::move(parts)));
}

StartSpec Chain::standing() const {
  const Works& works = parts_->works;
  const Pack& pack = parts_->surroundings->pack();
  StartSpec start;
  start.at = works.queue.now() / Pack::step * Pack::step;
  start.charged = pack.charged();
  if (parts_->controller) start.round = parts_->controller->station().place().round;
  if (parts_->outside) start.round = parts_->outside->sent();
  if (!pack.moves()) return start;
  for (std::size_t i = 0; i < parts_->posts.size(); ++i) {
    StartSpec::Standing standing;
    standing.node = static_cast<std::uint16_t>(i);
    if (works.chain.pack.battery.present) {
      const std::uint32_t cells = works.chain.kinds[works.chain.nodes[i].kind].cells;
      for (std::uint32_t cell = 0; cell < cells; ++cell) standing.charge_ppm.push_back(pack.charge_ppm(i, cell));
    }
    standing.board_mc = pack.board(i).board_mc;
    start.nodes.push_back(standing);
  }
  return start;
}

void Chain::forget_recordings() {
  if (parts_->repeater) parts_->repeater->forget();
}

RepeatCounts Chain::repeat_counts() const { return parts_->repeater ? parts_->repeater->counts() : RepeatCounts{}; }

Nanos Chain::next_at() const { return parts_->works.queue.next_at(); }
Nanos Chain::now() const { return parts_->works.queue.now(); }

void Chain::listen(HopListener& listener) {
  if (parts_->controller) parts_->controller->listen(listener);
  for (const auto& post : parts_->posts) post->listen(listener);
}

void Chain::set_outlet(Outlet outlet) { parts_->links.back()->set_outlet(std::move(outlet)); }

void Chain::arrive(Nanos at, bool paced, std::span<const std::uint8_t> bytes, std::span<const std::uint8_t> flags) {
  if (!parts_->outside || bytes.empty()) return;
  at = std::max(at, parts_->works.queue.now());
  (void)run_until(at);
  parts_->works.tap.arrival({at, paced, bytes, flags, 0, 0});
  // Longer than any frame is cut into parts that fit a flight.
  constexpr std::size_t most = max_frame_bytes;
  for (std::size_t from = 0; from < bytes.size(); from += most) {
    const std::size_t size = std::min(most, bytes.size() - from);
    parts_->outside->arrive(paced, bytes.subspan(from, size),
                            flags.empty() ? flags : flags.subspan(from, std::min(size, flags.size() - from)));
  }
}

void Chain::decided(Decision decision) {
  if (parts_->outside) parts_->outside->decided(decision);
}

void Chain::port_was_late(Nanos from, Nanos to) {
  if (!parts_->outside || from < 0 || to <= from) return;
  parts_->works.tap.arrival({now(), false, {}, {}, from, to});
  parts_->outside->port_was_late(from, to);
}

void Chain::finish(const Lateness& lateness) {
  if (parts_->finished) return;
  parts_->finished = true;
  Works& works = parts_->works;
  if (parts_->outside) {
    parts_->outside->finish();
  } else {
    // What the plan was in the middle of has no outcome.
    works.traces.close_all(works.queue.now(), false);
  }
  works.tap.end(works.queue.now(), lateness);
}

}  // namespace hopbench
