#include "support/scenario_text.h"

#include <vector>

#include "support/dice.h"

namespace hopbench {
namespace {

/// Puts a text together; what it is given goes in as it stands.
class Writer {
 public:
  explicit Writer(std::uint64_t number) : dice_("scenario text", number) {}

  std::string whole() {
    line_ = dice_.one_in(4);
    text_ = "name: \"drawn\" # no comment survives\nseed: " + number(1, 1'000'000) + " run_for: \"" + number(5, 20) +
            "s\"\nbus: \"bench-frame\"\n";
    if (line_) add("shape: LINE\n");
    maybe("baud: " + dice_.of(std::vector<std::string>{"19200", "57600"}) + "\n");
    maybe("about: \"" + dice_.of(std::vector<std::string>{"\\\"quoted\\\"", "a = b; [c] {d}", "\\303\\244\\n"}) +
          "\"\n");
    battery_ = dice_.one_in(2);
    const std::uint64_t kinds = 1 + dice_.up_to(2);
    for (std::uint64_t i = 0; i < kinds; ++i) kind(i);
    groups();
    if (dice_.one_in(2)) add("every_hop { " + conditions() + "}\n");
    for (std::uint64_t i = dice_.up_to(3); i > 0; --i) hop();
    for (std::uint64_t i = dice_.up_to(3); i > 0; --i) fault(i);
    if (battery_) battery();
    if (dice_.one_in(3)) add("air { mean: \"" + number(-20, 40) + "C\" swing: \"8C\" warmest: \"13.5h\" }\n");
    controller();
    if (dice_.one_in(4)) begins();
    return text_;
  }

 private:
  Dice dice_;
  std::string text_;
  bool line_ = false;
  bool battery_ = false;
  std::vector<std::uint64_t> cells_;  // of each kind
  struct Node {
    std::string name;
    std::uint64_t cells;
  };
  std::vector<Node> nodes_;

  void add(const std::string& text) { text_ += text; }
  void maybe(const std::string& text) {
    if (dice_.one_in(2)) add(text);
  }
  std::string number(std::int64_t low, std::int64_t high) { return std::to_string(dice_.between(low, high)); }
  std::string or_not(const std::string& text) { return dice_.one_in(2) ? text : ""; }
  std::string text(const std::string& field, const std::string& value) { return field + ": \"" + value + "\" "; }
  std::string rate() { return dice_.of(std::vector<std::string>{"1e-6", "0.00002", "1e-4", "0.01%", "0"}); }
  const Node& some_node() { return dice_.of(nodes_); }

  std::string clock() {
    std::string clock =
        "clock { " + or_not(text("error", number(-4000, 4000) + "ppm")) + or_not(text("spread", "0.2%"));
    if (dice_.one_in(3))
      clock += "per_kelvin: \"-3ppm\" " + or_not("per_volt: \"5ppm\" at_volts: \"3.2V\" step: \"2ppm\" ");
    if (dice_.one_in(4)) clock += "oscillator_hz: 7372800 " + or_not("oversampling: 16 ");
    return clock + "} ";
  }

  void kind(std::uint64_t i) {
    cells_.push_back(dice_.one_in(2) ? 1 : 2 + dice_.up_to(6));
    add("kind {\n  name: \"k" + std::to_string(i) + "\" cells: " + std::to_string(cells_.back()) + "\n  ");
    switch (dice_.up_to(2)) {
      case 0:
        add("forwarding { whole { " + text("after", number(20, 400) + "us") + "} } ");
        break;
      case 1:
        add("forwarding: < by_character { lag_half_bits: " + number(1, 9) + " " + or_not("fifo_chars: 16 ") + "} > ");
        break;
      default:
        break;
    }
    maybe(text("answer_after", number(100, 900) + "us"));
    maybe("buffer_bytes: " + number(60, 100) + " ");
    if (dice_.one_in(2)) {
      const bool free = dice_.one_in(3);
      add("measurement { snapshot: \"2ms\" " + or_not("settle: \"1.5ms\" ") + or_not("bleed: PAUSED_IF_ON ") +
          (free ? "when: FREE_RUNNING period: \"1s\" " : "per_cell: \"300us\" ") + "} ");
    }
    if (dice_.one_in(4)) add("topics: [\"readings\", \"line_health\", \"bleed\"] ");
    maybe("on_bad_check: " + dice_.of(std::vector<std::string>{"DROP", "PASS_ON", "REFUSE"}) + " ");
    maybe("start_up: \"50ms\" ");
    if (dice_.one_in(2)) add(clock());
    if (dice_.one_in(3)) add("receiver { oversampling: 8 " + or_not("votes: 1 first_vote: 5 ") + "} ");
    if (dice_.one_in(3)) add("levels { level: \"3250mV\" " + or_not("spread: \"1mV\" swing_period: \"2h\" ") + "} ");
    if (dice_.one_in(2)) add("bleed { resistor: \"33ohm\" " + or_not("duty: \"80%\" chop_period: \"2ms\" ") + "} ");
    if (dice_.one_in(3)) add("heat { idle: \"50mW\" rise: \"20K/W\" time: \"3min\" hot_spot: \"90K/W\" } ");
    if (dice_.one_in(4)) add("supply { current: \"5mA\" brown_out: \"1V\" } ");
    if (dice_.one_in(3))
      add("processor { duty { name: \"log\" every: \"" + number(200, 900) +
          "ms\" takes: \"3ms\" takes_up_to: \"9ms\" " + or_not("masks: true ") + "} " +
          or_not("duty { name: \"tick\" every: \"10ms\" takes: \"40us\" } ") + or_not("fifo_chars: 8 ") +
          or_not("watchdog: \"200ms\" ") + "} ");
    maybe("sleep_after: \"3s\" wake_up: \"1ms\" ");
    if (dice_.one_in(5))
      add("flaw { " +
          dice_.of(std::vector<std::string>{"repeats_number: true", "number_bits: 6", "address_bits: 2",
                                            "stale_snapshot: true", "acts_again_after: \"900ms\"",
                                            "hangs_above_bytes: 24"}) +
          " } ");
    add("\n}\n");
  }

  void groups() {
    const std::uint64_t groups = 1 + dice_.up_to(2);
    const std::string letters = "abc";
    for (std::uint64_t i = 0; i < groups; ++i) {
      const std::string name(1, letters[i]);
      const std::uint64_t kind = dice_.up_to(cells_.size() - 1);
      const std::uint64_t count = dice_.up_to(3);  // 0: one, named as it stands
      add("nodes { name: \"" + name + "\" kind: \"k" + std::to_string(kind) + "\" ");
      if (count > 0) add("count: " + std::to_string(count) + " ");
      if (dice_.one_in(3)) add("address: " + std::to_string(10 * i + 10) + " ");
      if (dice_.one_in(3)) add(clock());
      add("}\n");
      for (std::uint64_t n = 1; n <= count; ++n) nodes_.push_back({name + std::to_string(n), cells_[kind]});
      if (count == 0) nodes_.push_back({name, cells_[kind]});
    }
  }

  std::string conditions() {
    std::string result = or_not(text("isolator_delay", number(0, 3000) + "ns")) + or_not(text("bit_error", rate()));
    if (dice_.one_in(3))
      result +=
          "burst { mean_good: \"" + number(1, 9) + "s\" mean_bad: \"40ms\" " + or_not("bad_bit_error: \"2%\" ") + "} ";
    if (dice_.one_in(3))
      result += "contact { mean_between: \"3s\" mean_open: \"30ms\" " + or_not("reads_low: true ") + "} ";
    if (dice_.one_in(4))
      result += "open { from: \"1s\" to: \"1.25s\" } open { from: \"3s\" to: \"3.02s\" reads_low: true } ";
    if (dice_.one_in(4)) result += dice_.one_in(2) ? "lows_longer: \"1us\" " : "lows_shorter: \"700ns\" ";
    if (battery_ && dice_.one_in(4)) result += "line_ripple { window: \"1ms\" bit_error: \"1%\" } ";
    return result;
  }

  std::string stations() {
    switch (dice_.up_to(4)) {
      case 0:
        return "\"*\"";
      case 1:
        return "[\"" + nodes_.front().name + "\", \"controller\"]";
      case 2:
        return "\"" + nodes_.front().name + ".." + nodes_.back().name + "\"";
      default:
        return "\"" + some_node().name + "\"";
    }
  }

  void hop() {
    const std::string into = stations();
    add("hop { into: " + into + " ");
    if (line_ && into == "\"*\"") maybe("homeward: " + dice_.of(std::vector<std::string>{"true", "false"}) + " ");
    add(conditions() + "}\n");
  }

  void fault(std::uint64_t i) {
    add("fault { name: \"f" + std::to_string(i) + "\" ");
    const std::string node = some_node().name;
    // In a line nothing for a node goes into one that lies beyond it.
    const std::string nodes = or_not("nodes: [\"" + node + "\"] ");
    switch (dice_.up_to(3)) {
      case 0:
        add("class: LOSS " + or_not("topics: \"readings\" "));
        break;
      case 1:
        add("class: CORRUPTION bits: " + number(1, 4) +
            " into: " + (line_ && !nodes.empty() ? "\"" + node + "\"" : stations()) + " ");
        break;
      case 2:
        add("class: DELAY by: \"" + number(20, 90) + "ms\" leg: ANSWERS ");
        break;
      default:
        add("class: RESET at: [\"2s\", \"4s\"] nodes: \"" + some_node().name + "\" }\n");
        return;
    }
    add(nodes + or_not("from: \"1s\" to: \"4s\" ") + text("rate", number(1, 20) + "%") + or_not("at_most: 5 ") + "}\n");
  }

  void battery() {
    add("battery { capacity: \"10Ah\" " + or_not("charge: \"97%\" charge_spread: \"1%\" ") +
        or_not("leakage: \"2mA\" ") + or_not("tap { node: \"" + some_node().name + "\" resistance: \"200mohm\" } ") +
        "}\n");
    maybe("cycle { period: \"2h\" charge: \"5A\" charge_for: \"1h\" absorb: \"3.55V\" done: \"100mA\" }\n");
  }

  void controller() {
    add("controller {\n  " + or_not(text("time_out", number(60, 200) + "ms")) +
        or_not("retries: " + number(1, 2) + " ") + or_not("back_off { first: \"5ms\" times: 2 jitter: \"3ms\" } ") +
        or_not("retry_garbled_at_once: true ") + or_not("on_late: IGNORE_IT ") +
        or_not("gap: \"" + number(1, 9) + "ms\" ") + or_not("fresh_within: \"2s\" ") + or_not("order: NODE_BY_NODE ") +
        "\n");
    if (dice_.one_in(3)) add("  processor { duty { name: \"log\" every: \"300ms\" takes: \"20ms\" } }\n");
    if (dice_.one_in(4)) add("  clock_wrap { bits: 24 tick: \"1ms\" " + or_not("starts_at: 16770000 ") + "}\n");
    if (dice_.one_in(3))
      add("  balancing { every: \"2s\" start: \"3.2V\" " + or_not("difference: \"2mV\" hysteresis: \"1mV\" ") + "}\n");
    add("  poll { name: \"cells\" topic: \"readings\" nodes: \"*\" with { field: \"first\" value: 0 } "
        "with { field: \"count\" own: CELLS } }\n");
    add("  poll { name: \"health\" topic: \"line_health\" nodes: [\"" + nodes_.front().name + ".." +
        nodes_.back().name + "\"] every: " + number(1, 9) + " }\n}\n");
  }

  void begins() {
    const Node& node = some_node();
    add("begins { after: \"" + number(1, 90) + "0s\" round: " + number(0, 99) + " standing { node: \"" + node.name +
        "\" ");
    if (battery_) {
      add("charge: [");
      for (std::uint64_t i = 0; i < node.cells; ++i)
        add(std::string(i > 0 ? ", " : "") + "\"96." + number(0, 9) + "%\"");
      add("] ");
    }
    add("board: \"" + number(-5, 40) + "C\" } }\n");
  }
};

}  // namespace

std::string scenario_text(std::uint64_t number) { return Writer(number).whole(); }

}  // namespace hopbench
