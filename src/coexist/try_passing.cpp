// What is not for the new node goes through it unchanged; exchange numbers come back as they were.
#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <string>
#include <vector>

#include "coexist/prober.h"
#include "coexist/trials.h"
#include "scenario/asked.h"
#include "scenario/link_table.h"
#include "scenario/rehearsal.h"
#include "scenario/without.h"
#include "wires/injector.h"

namespace hopbench {
namespace {

struct Probe {
  Frame frame;
  std::string what;
};

/// Every frame that may pass by: each role, each topic with each length that any kind sends, topics that nobody knows,
/// and values of fields that are sent one way and accepted any other.
class Probes {
 public:
  Probes(const TrialGround& ground, const ChainDescription& chain, std::uint64_t address)
      : protocol_(&ground.protocol), passes_(LinkTable(chain.shape, chain.nodes.size()).most_steps()) {
    const BusDescription& bus = protocol_->description();
    address_ = address;
    for (std::uint32_t topic = 0; topic < bus.topics.size(); ++topic) add_roles(topic, {}, bus.topics[topic].name);
    const std::size_t longest = std::min(longest_payload(ground, chain), protocol_->most_payload());
    for (std::size_t bytes = 0; bytes <= longest; ++bytes) add_length(bytes);
    add_unknown_topics();
    add_other_values();
  }
  [[nodiscard]] const std::vector<Probe>& all() const { return probes_; }

 private:
  /// Of what the plan asks of any kind; and what the new kind says that it has room for, if that is more.
  static std::size_t longest_payload(const TrialGround& ground, const ChainDescription& chain) {
    std::size_t longest = 0;
    const Rehearser rehearser(ground.protocol, chain);
    for (const PlanEntry& entry : asked_entries(chain)) {
      const Rehearsal rehearsal = rehearser.rehearse(entry, Telling::most, 1, false);
      longest = std::max({longest, rehearsal.ask.payload.size(), rehearsal.answer.payload.size()});
    }
    const Frame empty = ground.protocol.ask(0, 0, 0, 0);
    const std::size_t around = ground.protocol.content_bytes(empty) - empty.payload.size();
    const std::size_t room = ground.maker.kind(new_kind).buffer_bytes;
    return room == 0 ? ground.protocol.most_payload() : std::max(longest, room - std::min(room, around));
  }

  [[nodiscard]] Frame ask(std::uint32_t topic) const { return protocol_->ask(topic, address_, 1, passes_); }

  void add(Frame frame, std::span<const std::uint8_t> payload, std::string what) {
    if (!payload.empty()) frame.payload.assign(payload);
    probes_.push_back({std::move(frame), std::move(what)});
  }

  void add_roles(std::uint32_t topic, std::span<const std::uint8_t> payload, const std::string& name) {
    const Frame asked = ask(topic);
    add(asked, payload, fmt::format("an ask of {}", name));
    add(protocol_->answer_to(asked, address_, passes_), payload, fmt::format("an answer to {}", name));
    if (protocol_->can_refuse()) {
      add(protocol_->refusal_of(asked, address_, passes_, Refusal::busy), {}, fmt::format("a refusal of {}", name));
    }
  }

  void add_length(std::size_t bytes) {
    // Bytes that no rule of stuffing, marking or text leaves alone, and such that each does.
    constexpr std::array<std::uint8_t, 8> pattern{0x00, 0xff, 0x7e, 0x55, 0xc0, 0xdb, 0x3a, 0x0d};
    std::vector<std::uint8_t> payload(bytes);
    for (std::size_t i = 0; i < bytes; ++i) payload[i] = pattern[(i + bytes) % pattern.size()];
    add(protocol_->answer_to(ask(0), address_, passes_), payload, fmt::format("an answer with {} bytes", bytes));
  }

  void add_unknown_topics() {
    const BusDescription& bus = protocol_->description();
    const std::size_t slot = header_index(bus, bus.roles.topic);
    if (slot == max_header_fields) return;
    std::size_t found = 0;
    for (std::uint64_t code = 0; code < 256 && found < 6; ++code) {
      Frame frame = ask(0);
      frame.field[slot] = code;
      if (frame.role == Role::refusal || protocol_->topic(frame)) continue;
      add(frame, {}, fmt::format("an ask of the unknown topic {}", code));
      ++found;
    }
  }

  void add_other_values() {
    const BusDescription& bus = protocol_->description();
    std::size_t slot = 0;
    for (const PartSpec& part : bus.parts) {
      if (!part.field) continue;
      const FieldSpec& field = *part.field;
      const bool role = !bus.roles.role_field.empty() && field.name == bus.roles.role_field;
      if ((field.constant && field.sent_only) || role) {
        const std::uint64_t most = field.bits >= 8 ? 255 : (std::uint64_t{1} << field.bits) - 1;
        for (std::uint64_t value = 0; value <= most; value = value < 16 ? value + 1 : value * 2 + 1) {
          Frame frame = ask(0);
          frame.field[slot] = value;
          add(frame, {}, fmt::format("a frame with {} {}", field.name, value));
        }
      }
      ++slot;
    }
  }

  const Protocol* protocol_;
  std::uint64_t passes_;
  std::uint64_t address_ = 0;
  std::vector<Probe> probes_;
};

/// What the new node should have made of what it heard; none if it was to go no further.
std::optional<Content> passed_on(const Protocol& protocol, const ChainDescription& chain, const Content& heard) {
  const KindSpec& kind = chain.kinds[new_kind];
  Frame frame;
  if (protocol.parse(heard.view(), frame) != Damage::none) return std::nullopt;
  const BusDescription& bus = protocol.description();
  if (!bus.forward.pass_unknown_topic) {
    const auto topic = protocol.topic(frame);
    if (!topic) return std::nullopt;
    const auto& topics = kind.topics;
    const std::string& name = bus.topics[*topic].name;
    if (!topics.empty() && std::find(topics.begin(), topics.end(), name) == topics.end()) return std::nullopt;
  }
  Content onward = heard;
  const auto carried = [&](const Content& content) {
    Frame read;
    return protocol.parse(content.view(), read) == Damage::none && Rehearser(protocol, chain).carried(read);
  };
  // Edges go on as they come: such a node reads nothing and rewrites nothing.
  if (kind.forwarding.kind == Forwarding::electrical) return onward;
  // With the checks that it then has, the frame may hold what ends a frame on this bus: that is not the node's doing.
  if (!protocol.forward_bytes(onward) || !carried(onward)) return std::nullopt;
  return onward;
}

/// The first thing that goes against it, if any does.
std::optional<std::string> went_wrong(const TrialGround& ground, const ChainDescription& chain, const LinkTable& links,
                                      const Prober& prober, const std::string& what, std::uint64_t& compared) {
  const Protocol& protocol = ground.protocol;
  const bool stops = protocol.description().forward.unclaimed == Unclaimed::last_node_stops_it;
  for (const PassedFrame& heard : prober.passed()) {
    const std::uint16_t node = links[heard.link].to;
    if (!heard.good || node == nobody || chain.nodes[node].kind != new_kind) continue;
    const std::uint16_t onward = links.onward(heard.link);
    if (onward == nobody || (stops && links.comes_round() && node == links.last_node())) continue;
    const auto expected = passed_on(protocol, chain, heard.content);
    if (!expected) continue;
    ++compared;
    const std::string& name = chain.nodes[node].name;
    if (links[onward].to == nobody) {
      WireBytes wire;
      protocol.wrap(expected->view(), wire);
      if (prober.came().empty()) return fmt::format("{} does not come out of {} again.", what, name);
      if (!std::ranges::equal(wire.view(), prober.came())) {
        return fmt::format("{} comes out of {} as something else.", what, name);
      }
      continue;
    }
    const auto next = std::find_if(prober.passed().begin(), prober.passed().end(),
                                   [&](const PassedFrame& each) { return each.link == onward; });
    if (next == prober.passed().end()) return fmt::format("{} does not come out of {} again.", what, name);
    if (!next->good || !std::ranges::equal(next->content.view(), expected->view())) {
      return fmt::format("{} comes out of {} as something else.", what, name);
    }
  }
  return std::nullopt;
}

/// Of nobody in the chain; or farther than all of it. None if the bus has no such thing.
std::optional<std::uint64_t> far_address(const TrialGround& ground, const ChainDescription& chain) {
  const BusDescription& bus = ground.protocol.description();
  if (!bus.roles.destination.empty()) return ground.maker.nobodys_address(chain);
  const std::uint64_t far = chain.nodes.size() + 5;
  for (const PartSpec& part : bus.parts) {
    if (!part.field || part.field->name != bus.roles.distance) continue;
    if (part.field->bits < 64 && far >> part.field->bits != 0) return std::nullopt;
  }
  return far;
}

/// A way round the whole chain and home, for the longest frame, with all nodes slow.
Nanos long_enough(const TrialGround& ground, const ChainDescription& chain) {
  const Protocol& protocol = ground.protocol;
  const std::uint64_t bits = (protocol.most_content() * 2 + 8) * protocol.line().char_half_bits() / 2;
  Nanos span = 20 * millisecond;
  for (const NodeSpec& node : chain.nodes) {
    const KindSpec& kind = chain.kinds[node.kind];
    span += span_of_bits(bits, period_of_baud(protocol.line().baud)) + kind.forwarding.after + kind.wake_up;
  }
  return span;
}

std::string capital(std::string text) {
  if (!text.empty()) text[0] = static_cast<char>(std::toupper(static_cast<unsigned char>(text[0])));
  return text;
}

/// Answers that come when nobody waits for them any more, and answers that come twice.
void try_late_and_repeated(const TrialGround& ground, TriedChain& tried, Trial& trial) {
  ChainDescription& chain = tried.chain;
  const auto answered = answered_undisturbed(ground, tried);
  if (std::find(answered.begin(), answered.end(), true) == answered.end()) return;
  const std::uint16_t home = LinkTable(chain.shape, chain.nodes.size()).home();
  FaultSpec late;
  late.name = "late";
  late.kind = FaultClass::delay;
  late.links = {home};
  late.leg = LegFilter::answers;
  late.rate = certain / 3;
  late.by = chain.controller.time_out + millisecond;
  FaultSpec twice = late;
  twice.name = "twice";
  twice.kind = FaultClass::repetition;
  twice.by = 2 * millisecond;
  chain.faults = {late, twice};
  const RunLog log = logged_exchanges(ground.protocol, chain, ground.seed, tried.exchanges(4));
  count_run(log, trial.counts);
  for (const LoggedExchange& exchange : log.exchanges) {
    trial.counts.strikes += exchange.strikes;
    if (exchange.entry >= answered.size() || !answered[exchange.entry]) continue;
    if (trial.breach || (exchange.outcome != Outcome::wrong && exchange.outcome != Outcome::stale)) continue;
    trial.breach = fmt::format("{} is {}, after an answer that came late or twice.", entry_name(chain, exchange.entry),
                               fate_of(exchange, chain));
  }
}

/// Numbers around those where they are likely to go wrong, and where they begin anew.
std::vector<std::uint64_t> likely_numbers(std::uint64_t limit) {
  std::vector<std::uint64_t> numbers;
  for (std::uint64_t power = 1; power <= limit && power < (std::uint64_t{1} << 32U); power *= 2) {
    numbers.insert(numbers.end(), {power - 1, power, power + 1});
  }
  numbers.insert(numbers.end(), {limit - 1, limit, 1, 2});
  std::erase_if(numbers, [&](std::uint64_t number) { return number > limit; });
  return numbers;
}

/// Each node must answer with the number that it is asked with; what it tells may differ.
void try_each_number(const TrialGround& ground, const TriedChain& tried, const KindOrder& order, Trial& trial) {
  const Protocol& protocol = ground.protocol;
  const auto numbers = likely_numbers(protocol.exchange_limit());
  TriedChain fixed = tried;
  constexpr Mechanism apart[] = {Mechanism::clock, Mechanism::wake_up};
  fixed.chain = without(fixed.chain, apart);
  for (KindSpec& kind : fixed.chain.kinds) kind.enrols = false;  // nobody gives out addresses here
  fixed.offers = 0;
  Prober prober(protocol, fixed.chain, ground.seed);
  const Rehearser rehearser(protocol, fixed.chain);
  const auto answered = answered_undisturbed(ground, fixed);
  for (std::size_t i = 0; i < fixed.chain.controller.plan.size(); ++i) {
    const PlanEntry& entry = fixed.chain.controller.plan[i];
    if (entry.node == nobody || !answered[i] || trial.breach) continue;
    if (order.size() > 4 && fixed.chain.nodes[entry.node].kind != new_kind) continue;
    for (const std::uint64_t number : numbers) {
      const Rehearsal rehearsal = rehearser.rehearse(entry, Telling::middle, number, false);
      if (rehearsal.end != Rehearsal::End::answered) break;
      Content content;
      protocol.encode(rehearsal.ask, content);
      prober.send(content, roomy_exchange(ground, fixed.chain));
      ++trial.counts.exchanges;
      const auto came = prober.last_that_came();
      if (!came) {
        trial.breach = fmt::format("{} with the exchange number {} gets no answer.", entry.name, number);
      } else if (protocol.exchange(*came) != number) {
        trial.breach = fmt::format("{} with the exchange number {} is answered with {}.", entry.name, number,
                                   protocol.exchange(*came).value_or(0));
      }
      if (trial.breach) break;
    }
  }
  trial.counts.frames += prober.frames();
}

}  // namespace

Trial try_passes_on(const TrialGround& ground, const KindOrder& order, bool balancing) {
  Trial trial;
  if (!has_new(order) || balancing || !not_triable(PromiseNumber::passes_on, ground).empty()) return trial;
  // What clocks do to frames, and sleepers to the first one after a pause, are other promises.
  constexpr Mechanism apart[] = {Mechanism::clock, Mechanism::wake_up};
  const ChainDescription chain = without(ground.maker.make_still(order), apart);
  const auto address = far_address(ground, chain);
  if (!address) return trial;
  const LinkTable links(chain.shape, chain.nodes.size());
  const Probes probes(ground, chain, *address);
  const Nanos patience = long_enough(ground, chain);
  Prober prober(ground.protocol, chain, ground.seed);
  std::uint64_t compared = 0;
  for (const Probe& probe : probes.all()) {
    Content content;
    ground.protocol.encode(probe.frame, content);
    prober.send(content, patience);
    ++trial.counts.exchanges;
    if (auto wrong = went_wrong(ground, chain, links, prober, probe.what, compared)) {
      trial.breach = capital(*std::move(wrong));
      break;
    }
  }
  // Where nothing reached a new node that has anybody behind it there was nothing to try.
  if (compared == 0) return {};
  trial.counts.chains = 1;
  trial.counts.frames = prober.frames();
  return trial;
}

Trial try_numbers(const TrialGround& ground, const KindOrder& order, bool balancing) {
  Trial trial;
  if (balancing) return trial;
  TriedChain tried = tried_chain(ground, order, false);
  if (!ground.protocol.description().roles.exchange.empty()) try_each_number(ground, tried, order, trial);
  if (!trial.breach) try_late_and_repeated(ground, tried, trial);
  if (trial.counts.exchanges > 0) trial.counts.chains = 1;
  return trial;
}

}  // namespace hopbench
