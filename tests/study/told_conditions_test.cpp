// What the traffic tells of conditions, against what the simulation states of them.
#include "study/told_conditions.h"

#include <algorithm>
#include <bit>
#include <cstdlib>
#include <deque>
#include <map>
#include <memory>

#include "chain/chain.h"
#include "measure/fan_out.h"
#include "measure/measures.h"
#include "seen/healthy.h"
#include "study/evidence_fold.h"
#include "study/explanation.h"
#include "study/sight.h"
#include "support/buses.h"
#include "support/catch.h"
#include "support/physical_scenario.h"
#include "support/shipped.h"
#include "support/small_chain.h"
#include "text/scenario.h"

namespace hopbench {
namespace {

// A state is told again when a board has moved by half a degree, or a supply by 20 mV (src/chain/surroundings.cpp).
// Both are told in fields of 0.1 degree and of 1 mV.
constexpr std::int64_t board_off = 500 + 100;
constexpr std::int64_t supply_off = 20 + 1;

/// Compares each value that an exchange tells with the states that were in force while it went on.
class Against final : public WholeSink {
 public:
  Against(const Protocol& protocol, const ChainDescription& chain) : told(&protocol), chain_(&chain) {}
  void begin(const RunInfo& run) override { told.begin(run); }
  void exchange(const ExchangeObs& obs, const ExchangeTruth* truth) override {
    told.exchange(obs);
    if (obs.node >= told.nodes().size() || !clean(obs, *truth)) return;
    const NodeTold& node = told.nodes()[obs.node];
    const auto fresh = [&](const std::optional<ToldValue>& value) { return value && value->at == obs.decided; };
    const auto& board = chain_->nodes[obs.node].board.value_or(chain_->kinds[chain_->nodes[obs.node].kind].board);
    if (fresh(node.board_mc)) {
      ++boards;
      CHECK(any(obs,
                [&](const NodeState& state) { return std::abs(node.board_mc->value - state.board_mc) <= board_off; }));
    }
    if (fresh(node.supply_mv)) {
      ++supplies;
      CHECK(any(obs, [&](const NodeState& state) {
        return std::abs(node.supply_mv->value - state.supply_mv) <= supply_off;
      }));
    }
    // A node that is too hot does not bleed what it is set to.
    if (fresh(node.mask_told) && board.bleed_stop_mc == 0) {
      ++masks;
      const auto cells = static_cast<std::uint32_t>(std::popcount(static_cast<std::uint64_t>(node.mask_told->value)));
      some_bled += cells > 0 ? 1 : 0;
      CHECK(any(obs, [&](const NodeState& state) { return (state.flags >> 8U & 0xffU) == cells; }));
    }
  }
  void state(const State& state) override {
    states_.push_back({state.at, {state.nodes.begin(), state.nodes.end()}});
    if (states_.size() > 4000) states_.pop_front();
  }
  void stray(const Stray& stray) override { told.stray(stray); }
  void arrival(const Arrival&) override {}
  void tally(const Tally&) override {}
  void gap(const Gap&) override {}
  void dropped(const Dropped&) override {}
  void command(const Remark&) override {}
  void note(const Remark&) override {}
  void end(Nanos, const Lateness&) override {}

  ToldConditions told;
  std::uint64_t boards = 0;
  std::uint64_t supplies = 0;
  std::uint64_t masks = 0;
  std::uint64_t some_bled = 0;

 private:
  struct At {
    Nanos at = 0;
    std::vector<NodeState> nodes;
  };
  /// No frame of it was changed unnoticed, nothing was put in, and the answer is its own.
  static bool clean(const ExchangeObs& obs, const ExchangeTruth& truth) {
    return obs.outcome == Outcome::answered && truth.strikes.empty() &&
           std::none_of(truth.rows.begin(), truth.rows.end(), [](const RowTruth& row) { return row.undetected; });
  }
  template <class Fits>
  [[nodiscard]] bool any(const ExchangeObs& obs, Fits fits) const {
    for (std::size_t i = states_.size(); i-- > 0;) {
      if (states_[i].at > obs.closed) continue;
      if (fits(states_[i].nodes[obs.node])) return true;
      if (states_[i].at < obs.start) return false;
    }
    return false;
  }

  const ChainDescription* chain_;
  std::deque<At> states_;
};

std::uint64_t scenarios() {
  const char* wanted = std::getenv("HOPBENCH_SCENARIOS");
  return wanted == nullptr ? 60 : std::strtoull(wanted, nullptr, 10);
}

/// Hands everything on but states: those it leaves out, or makes up.
class Lying final : public ForwardingSink {
 public:
  Lying(Sink& to, bool says_any) : ForwardingSink({&to}), says_any_(says_any) {}
  void state(const State& state) override {
    if (!says_any_) return;
    State made_up = state;
    std::vector<NodeState> nodes(state.nodes.begin(), state.nodes.end());
    ++number_;
    for (NodeState& node : nodes) node = {static_cast<std::int32_t>(number_ * 7'919 % 60'000), 1'000, 77, number_ & 1U};
    made_up.nodes = nodes;
    made_up.cells_balancing = number_ * 13 % 40;
    made_up.charge_ma = number_ % 3 == 0 ? 9'000 : -400;
    ForwardingSink::state(made_up);
  }

 private:
  bool says_any_;
  std::uint32_t number_ = 0;
};

/// All that an explanation says.
std::string all_of(const Explanation& explanation) {
  std::string text = explanation.headline + "\n" + explanation.vantage + "\n";
  const auto add = [&](const std::string& line) { text += line + "\n"; };
  for (const auto& each : explanation.where.sentences) add(each);
  const auto whens = [&](const Whens& all) {
    for (const auto& each : all.found) add(each.sentence + std::string(name_of(each.confounding)));
    add(all.together.text);
    add(std::to_string(all.tested) + " " + std::to_string(all.could_not));
  };
  whens(explanation.when);
  add(explanation.when_note);
  add(explanation.told_note);
  for (const auto& finding : explanation.cases) {
    add(finding.title + finding.symptoms + finding.spread + finding.verdict + finding.not_enough + finding.next.text);
    whens(finding.when);
    for (const auto& each : finding.candidates) add(std::to_string(each.score) + each.evidence);
  }
  for (const auto& each : explanation.cautions) add(each);
  return text;
}

/// Values by name for the payloads of frames that a test makes.
class Values final : public PayloadSource {
 public:
  explicit Values(std::map<std::string, std::int64_t, std::less<>> values) : values_(std::move(values)) {}
  std::optional<std::int64_t> quantity(std::string_view name, std::uint32_t) override {
    const auto found = values_.find(name);
    return found == values_.end() ? 0 : found->second;
  }
  std::optional<std::uint64_t> argument(std::string_view) override { return std::nullopt; }

 private:
  std::map<std::string, std::int64_t, std::less<>> values_;
};

/// A ring of boards of four cells with addresses 1.., of which a test makes up what is asked and answered.
struct MadeUp {
  explicit MadeUp(std::size_t nodes, BusDescription bus = buses::bench_frame())
      : protocol(std::move(bus)), fold(&protocol) {
    for (std::size_t i = 0; i < nodes; ++i) {
      info.nodes.push_back("n" + std::to_string(i + 1));
      info.cells.push_back(4);
    }
    for (const auto& topic : protocol.description().topics)
      info.entries.push_back({topic.name, "n1", topic.name, 0, 0});
    fold.begin(info);
  }

  struct Told {
    Outcome outcome = Outcome::answered;
    bool ambiguous = false;
    bool answered = true;
  };
  /// Sent at `at`, over at `at` + 100 ms. node 0xffff: everyone.
  void exchange(std::uint16_t node, const std::string& topic, std::map<std::string, std::int64_t, std::less<>> asked,
                std::map<std::string, std::int64_t, std::less<>> told, Nanos at, Told how) {
    const auto number = *protocol.topic_named(topic);
    const std::uint64_t address = node == 0xffff ? protocol.description().roles.broadcast.front() : node + 1U;
    Frame ask = protocol.ask(number, address, 7, 1);
    Values ask_values(std::move(asked));
    REQUIRE_FALSE(protocol.fill(ask, Protocol::Side::ask, {}, ask_values));
    Content ask_bytes;
    protocol.encode(ask, ask_bytes);
    const Content answer_bytes = answer_to(ask, address, std::move(told));
    const Attempt attempt{at, at + 10 * millisecond, how.outcome};
    ExchangeObs obs;
    obs.entry = number;
    obs.node = node;
    obs.start = at;
    obs.decided = obs.closed = at + 100 * millisecond;
    obs.outcome = how.outcome;
    obs.ambiguous = how.ambiguous;
    obs.attempts = {&attempt, 1};
    obs.asked = ask_bytes.view();
    if (how.answered) obs.answered = answer_bytes.view();
    fold.exchange(obs);
  }
  void exchange(std::uint16_t node, const std::string& topic, std::map<std::string, std::int64_t, std::less<>> asked,
                std::map<std::string, std::int64_t, std::less<>> told, Nanos at) {
    exchange(node, topic, std::move(asked), std::move(told), at, Told{});
  }
  Content answer_to(const Frame& ask, std::uint64_t address, std::map<std::string, std::int64_t, std::less<>> told) {
    Frame answer = protocol.answer_to(ask, address, 1);
    Values values(std::move(told));
    REQUIRE_FALSE(protocol.fill(answer, Protocol::Side::answer, ask.payload.view(), values));
    Content bytes;
    protocol.encode(answer, bytes);
    return bytes;
  }
  void order(std::uint16_t node, std::int64_t mask, Nanos at, Told how) {
    exchange(node, "bleed", {{"bleed_mask", mask}}, {{"bleed_mask", mask}}, at, how);
  }
  void poll(std::uint16_t node, std::int64_t mask, Nanos at, std::int64_t board = 20'000) {
    exchange(node, "conditions", {}, {{"bleed_mask", mask}, {"board_temp_mc", board}, {"supply_mv", 13'000}}, at);
  }

  RunInfo info;
  Protocol protocol;
  ToldConditions fold;
};

}  // namespace

TEST_CASE("what a shipped scenario's boards tell is what the simulation states") {
  for (const std::string name : {"bleed-edges", "supply", "clock"}) {
    CAPTURE(name);
    auto scenario = shipped_scenario("mechanisms/" + name);
    const Protocol protocol(scenario.bus);
    Against against(protocol, scenario.chain);
    Chain chain(protocol, scenario.chain, 1, Way::repeats, Seat::simulated, against);
    REQUIRE(chain.run_until(12 * 3600 * second));
    chain.finish({});
    CHECK(against.boards > 1'000);
    CHECK(against.supplies > 1'000);
    CHECK(against.masks > 1'000);
    CHECK(against.some_bled > 50);
    const auto now = against.told.now();
    CHECK(now.cells_balancing);
    CHECK(now.sources[static_cast<std::size_t>(Condition::balancing)].nodes == scenario.chain.nodes.size());
    CHECK_FALSE(now.charge_ma);
  }
}

TEST_CASE("what boards of random scenarios tell is what the simulation states") {
  std::uint64_t boards = 0;
  std::uint64_t masks = 0;
  std::uint64_t bled = 0;
  for (std::uint64_t number = 1; number <= scenarios(); ++number) {
    CAPTURE(number);
    const auto made = physical_scenario(number);
    const Protocol protocol(made.bus);
    Against against(protocol, made.chain);
    Chain chain(protocol, made.chain, number, Way::repeats, Seat::simulated, against);
    REQUIRE(chain.run_exchanges(400));
    chain.finish({});
    boards += against.boards;
    masks += against.masks;
    bled += against.some_bled;
  }
  CHECK(boards > 10 * scenarios());
  CHECK(masks > scenarios() / 2);
  CHECK(bled > scenarios() / 4);
}

TEST_CASE("a string current that a bus has a field for is told, and only then") {
  auto scenario = shipped_scenario("mechanisms/charger");
  for (auto& topic : scenario.bus.topics) {
    if (topic.name != "conditions") continue;
    FieldSpec field = buses::quantity("current", 32, "string_current_ma", "mA");
    field.is_signed = true;
    topic.answer.push_back(buses::item(field));
  }
  const Protocol protocol(scenario.bus);
  EvidenceFold with;
  AtController shut(with, &protocol);
  Observed door(shut);
  EvidenceFold truth;
  Observed open(truth);
  FanOut both{&door, &open};
  Chain chain(protocol, scenario.chain, 1, Way::repeats, Seat::simulated, both);
  REQUIRE(chain.run_until(24 * 3600 * second));
  chain.finish({});
  CHECK(truth.evidence().cycles >= 6);
  CHECK(with.evidence().cycles == truth.evidence().cycles);
  // In which bin tries are is the same for nearly all of them: those while the current changed apart.
  std::array<std::array<std::uint64_t, 8>, 2> tries{};
  for (const auto* fold : {&with, &truth}) {
    for (const auto& moment : fold->evidence().moments) {
      if (moment.charge < 8) tries[fold == &with ? 0 : 1][moment.charge] += moment.tries;
    }
  }
  for (std::size_t bin = 0; bin < 8; ++bin) {
    CAPTURE(bin);
    const auto apart = std::max(tries[0][bin], tries[1][bin]) - std::min(tries[0][bin], tries[1][bin]);
    CHECK(apart <= truth.evidence().tries / 100);
  }
  CHECK(explain(with.evidence(), Reality::simulated).told_note.find("is not told") == std::string::npos);
}

TEST_CASE("of orders and answers the newest counts, and a refused order does not") {
  MadeUp made(2);
  const auto mask = [&](std::size_t node) { return made.fold.nodes()[node].mask(); };
  CHECK_FALSE(mask(0));
  made.order(0, 0b0011, second, {});
  REQUIRE(mask(0));
  CHECK(mask(0)->value == 0b0011);
  CHECK(mask(0)->at == second + 100 * millisecond);  // acknowledged
  made.order(0, 0b0111, 2 * second, {Outcome::lost, false, false});
  CHECK(mask(0)->value == 0b0111);  // it was sent, at least
  CHECK(mask(0)->at == 2 * second + 10 * millisecond);
  made.order(0, 0b1111, 3 * second, {Outcome::refused, false, false});
  CHECK(mask(0)->value == 0b0111);
  made.poll(0, 0b0001, 4 * second);
  CHECK(mask(0)->value == 0b0001);
  CHECK_FALSE(mask(1));
  CHECK_FALSE(made.fold.now().cells_balancing);  // of one node nothing is known
  made.order(0xffff, 0b0101, 5 * second, {Outcome::answered, false, false});
  CHECK(made.fold.now().cells_balancing == 4U);
  CHECK(made.fold.now().sources[0].oldest == 5 * second + 10 * millisecond);
  // What may be another node's answer tells of none; what comes too late still tells.
  made.exchange(0, "conditions", {}, {{"board_temp_mc", 50'000}}, 6 * second, {Outcome::answered, true, true});
  CHECK(made.fold.nodes()[0].board_mc->at == 4 * second + 100 * millisecond);
  made.exchange(0, "conditions", {}, {{"board_temp_mc", 60'000}}, 7 * second, {Outcome::late, false, true});
  CHECK(made.fold.nodes()[0].board_mc->value == 60'000);
  made.exchange(0, "conditions", {}, {{"board_temp_mc", 70'000}}, 8 * second, {Outcome::mismatched, false, true});
  CHECK(made.fold.nodes()[0].board_mc->value == 60'000);
}

TEST_CASE("a condition of the whole chain is known once all have told, or a round went by") {
  MadeUp made(3);
  made.poll(0, 1, second, 30'000);
  CHECK_FALSE(made.fold.now().cells_balancing);
  CHECK_FALSE(made.fold.now().nodes[0].board_mc);
  made.poll(1, 0, 2 * second, 40'000);
  CHECK_FALSE(made.fold.now().cells_balancing);
  // The third does not answer; the first is asked again.
  made.poll(0, 3, 4 * second, 31'000);
  CHECK(made.fold.now().cells_balancing == 2U);
  CHECK(made.fold.now().nodes[1].board_mc == 40'000);
  CHECK_FALSE(made.fold.now().nodes[2].board_mc);
  CHECK(made.fold.now().sources[2].nodes == 2);
  CHECK(made.fold.now().sources[2].oldest == 2 * second + 100 * millisecond);
  // Orders by themselves say nothing of those that got none.
  MadeUp orders(3);
  for (int i = 0; i < 4; ++i) orders.order(0, i, i * second, {});
  CHECK_FALSE(orders.fold.now().cells_balancing);
}

TEST_CASE("after a gap, and where records were left out, nothing is known until it is told again") {
  for (const bool gap : {true, false}) {
    MadeUp made(2);
    made.poll(0, 1, second);
    made.poll(1, 3, 2 * second);
    CHECK(made.fold.now().cells_balancing == 3U);
    if (gap) {
      made.fold.gap({3 * second, 9 * second, "the port was away"});
    } else {
      made.fold.dropped({3 * second, 9 * second, 4, "the disk was full"});
    }
    CHECK_FALSE(made.fold.now().cells_balancing);
    CHECK_FALSE(made.fold.now().nodes[0].board_mc);
    CHECK(made.fold.now().at == 3 * second);
    made.poll(0, 1, 10 * second);
    CHECK_FALSE(made.fold.now().cells_balancing);
    made.poll(1, 1, 11 * second);
    CHECK(made.fold.now().cells_balancing == 2U);
    CHECK(made.fold.now().sources[0].oldest == 10 * second + 100 * millisecond);
  }
}

TEST_CASE("a sum that holds orders to bleed makes the masks unknown, and boards only older") {
  for (const bool orders : {true, false}) {
    MadeUp made(2);
    made.poll(0, 1, second);
    made.poll(1, 3, 2 * second);
    MeasureFold sums;
    sums.begin(made.info);
    ExchangeObs obs;
    obs.entry = *made.protocol.topic_named(orders ? "bleed" : "conditions");
    obs.node = 0;
    const Attempt attempt{3 * second, 3 * second, Outcome::answered};
    obs.attempts = {&attempt, 1};
    obs.outcome = Outcome::answered;
    sums.exchange(obs, nullptr);
    std::vector<std::uint8_t> bytes;
    sums.measures().serialise(bytes);
    made.fold.tally({3 * second, 4 * second, 1, 2, 2, bytes});
    CHECK(made.fold.now().cells_balancing.has_value() == !orders);
    CHECK(made.fold.now().nodes[0].board_mc.has_value());
  }
}

TEST_CASE("a whole answer that belongs to no exchange tells of the node that it names") {
  MadeUp made(1);
  const Frame ask = made.protocol.ask(*made.protocol.topic_named("conditions"), 1, 3, 1);
  const Content late = made.answer_to(ask, 1, {{"board_temp_mc", 44'000}});
  Stray stray;
  stray.at = 5 * second;
  stray.heard = late.view();
  made.fold.stray(stray);
  CHECK_FALSE(made.fold.nodes()[0].board_mc);  // whose address that is nobody has shown yet
  made.poll(0, 0, second);
  made.fold.stray(stray);
  CHECK(made.fold.nodes()[0].board_mc->value == 44'000);
  CHECK(made.fold.nodes()[0].board_mc->at == 5 * second);
  stray.at = 6 * second;
  stray.symptom = Symptom::check;
  made.fold.stray(stray);
  CHECK(made.fold.nodes()[0].board_mc->at == 5 * second);
}

TEST_CASE("what a bus has no topic for is unknown, and said to be not told on it") {
  auto bare = buses::bench_frame();
  std::erase_if(bare.topics,
                [](const TopicSpec& topic) { return topic.name == "bleed" || topic.name == "conditions"; });
  MadeUp made(2, bare);
  for (const auto& source : made.fold.now().sources) CHECK(source.tellable == Tellable::no);
  // The registers of Modbus show all but the current.
  MadeUp registers(2, buses::modbus_rtu());
  const auto sources = registers.fold.now().sources;
  CHECK(sources[static_cast<std::size_t>(Condition::balancing)].tellable == Tellable::yes);
  CHECK(sources[static_cast<std::size_t>(Condition::charge)].tellable == Tellable::no);
  CHECK(sources[static_cast<std::size_t>(Condition::temperature)].tellable == Tellable::yes);
  CHECK(sources[static_cast<std::size_t>(Condition::supply)].tellable == Tellable::yes);

  EvidenceFold fold;
  AtController shut(fold, &made.protocol);
  shut.begin(made.info);
  shut.end(second);
  const auto note = explain(fold.evidence(), Reality::real_chain).told_note;
  for (const auto* what : {"The number of cells balancing", "The charge current",
                           "The temperature of the warmest board", "The drop of a board's supply"}) {
    CHECK(note.find(std::string(what) + " is not told on this bus.") != std::string::npos);
  }
}

TEST_CASE("an explanation at the controller uses nothing that the simulation states") {
  for (const std::string name : {"bleed-edges", "charger", "clock"}) {
    CAPTURE(name);
    auto scenario = shipped_scenario("mechanisms/" + name);
    const Protocol protocol(scenario.bus);
    std::array<EvidenceFold, 4> folds;
    std::vector<std::unique_ptr<AtController>> eyes;
    std::vector<std::unique_ptr<Observed>> doors;
    for (std::size_t i = 0; i < 3; ++i) {
      eyes.push_back(std::make_unique<AtController>(folds[i], &protocol));
      doors.push_back(std::make_unique<Observed>(*eyes.back()));
    }
    doors.push_back(std::make_unique<Observed>(folds[3]));
    EvidenceFold as_it_is;
    Observed open(as_it_is);
    Lying none(*doors[1], false);
    Lying made_up(*doors[2], true);
    Lying with_all_eyes(*doors[3], true);
    FanOut all{doors[0].get(), &none, &made_up, &with_all_eyes, &open};
    Chain chain(protocol, scenario.chain, 1, Way::repeats, Seat::simulated, all);
    REQUIRE(chain.run_until(24 * 3600 * second));
    chain.finish({});
    const auto true_states = all_of(explain(folds[0].evidence(), Reality::simulated));
    CHECK(all_of(explain(folds[1].evidence(), Reality::simulated)) == true_states);
    CHECK(all_of(explain(folds[2].evidence(), Reality::simulated)) == true_states);
    // They were not told in vain: who uses them says something else.
    CHECK(all_of(explain(folds[3].evidence(), Reality::simulated)) !=
          all_of(explain(as_it_is.evidence(), Reality::simulated)));
  }
}

TEST_CASE("the age told is that of the oldest value that an exchange was sorted by") {
  MadeUp made(2);
  EvidenceFold fold;
  AsTold told(fold, &made.protocol, TakeTold::always);
  fold.begin(made.info);
  ConditionValues conditions;
  conditions.as_told = true;
  conditions.at = 10 * second;
  conditions.cells_balancing = 2;
  conditions.sources[0] = {4 * second, 2, Tellable::yes};
  fold.conditions(conditions);
  const auto asked = [&](Nanos at) {
    const Attempt attempt{at, at, Outcome::answered};
    ExchangeObs obs;
    obs.start = obs.decided = obs.closed = at;
    obs.outcome = Outcome::answered;
    obs.attempts = {&attempt, 1};
    fold.exchange(obs);
  };
  asked(5 * second);  // told of after the change, but it began before
  CHECK(fold.evidence().known[0].exchanges == 0);
  asked(12 * second);
  asked(484 * second);
  CHECK(fold.evidence().known[0].exchanges == 2);
  CHECK(fold.evidence().known[0].oldest == 480 * second);
  const auto explanation = explain(fold.evidence(), Reality::real_chain);
  CHECK(explanation.told_note.find("the number of cells balancing up to 8 min old") != std::string::npos);
}

TEST_CASE("of a real chain conditions are as told, and of a simulated one as they are stated") {
  for (const bool real : {true, false}) {
    MadeUp made(1);
    made.info.simulated = made.info.truth_known = !real;
    made.info.links = {{1, "controller", "n1", false, real ? Vantage::tapped : Vantage::simulated},
                       {2, "n1", "controller", false, real ? Vantage::at_port : Vantage::simulated}};
    EvidenceFold fold;
    AsTold told(fold, &made.protocol, TakeTold::on_real_chain);
    Observed door(told);
    door.begin(made.info);
    State state;
    const NodeState node{20'000, 13'000, 0, 0};
    state.nodes = {&node, 1};
    door.state(state);
    CHECK(fold.evidence().as_told == real);
  }
}

TEST_CASE("what a late port may have decided is in nothing that an explanation rests on, and is counted") {
  const auto told = [](bool with) {
    MadeUp made(1);
    EvidenceFold fold;
    fold.begin(made.info);
    for (std::uint64_t i = 0; i < 600; ++i) {
      const bool late = i % 3 == 2;
      if (late && !with) continue;
      const Nanos at = static_cast<Nanos>(i) * second;
      const Attempt attempt{at, at + millisecond, late ? Outcome::late : Outcome::answered};
      ExchangeObs obs;
      obs.node = 0;
      obs.start = at;
      obs.decided = obs.closed = at + 100 * millisecond;
      obs.round_trip = late ? -1 : 100 * millisecond;
      obs.outcome = attempt.outcome;
      obs.attempts = {&attempt, 1};
      obs.doubtful = late;
      fold.exchange(obs);
    }
    fold.end(600 * second);
    return fold.evidence();
  };
  const auto with = told(true);
  CHECK(with.doubtful == 200);
  CHECK(with.exchanges == 400);
  CHECK(with.failures == 0);
  CHECK(with.incidents.empty());
  const auto explanation = explain(with, Reality::simulated_chain);
  CHECK(explanation.doubtful == 200);
  CHECK(explanation.cases.empty());
  const auto line = std::string("200 exchanges are left out: the bench was so late at the port");
  CHECK(std::count_if(explanation.cautions.begin(), explanation.cautions.end(),
                      [&](const std::string& each) { return each.starts_with(line); }) == 1);
  const auto without = explain(told(false), Reality::simulated_chain);
  CHECK(explanation.headline == without.headline);
}

}  // namespace hopbench
