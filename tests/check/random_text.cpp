#include "check/random_text.h"

#include <algorithm>
#include <cstdio>
#include <vector>

#include "support/dice.h"

namespace hopbench {
namespace {

std::string text(std::uint64_t value) { return std::to_string(value); }

struct TopicText {
  std::string name;
  std::vector<std::string> arguments;  // of a poll of it, each a with { ... }
  bool changes = false;
};

/// A bus description being written.
class BusWriter {
 public:
  explicit BusWriter(Dice& dice) : dice_(dice) {}

  std::string write() {
    draw_line();
    draw_framing();
    draw_header();
    draw_topics();
    return "  name: \"drawn\"\n  line { baud: " + text(baud_) + " format: \"" + format_ + "\" }\n  framing { " +
           framing_ + " }\n" + parts_ + "  roles {\n" + roles_ + "  }\n  forward { " + forward_ + "}\n" + topics_text_ +
           registers_;
  }

  [[nodiscard]] const std::vector<TopicText>& topics() const { return topics_; }
  [[nodiscard]] bool has_passes() const { return passes_; }
  [[nodiscard]] bool rewrites() const { return rewrites_; }
  [[nodiscard]] bool hides_head() const { return kind_ != "SIZED" && kind_ != "FIXED" && kind_ != "SILENCE"; }
  [[nodiscard]] bool has_broadcast() const { return broadcast_; }
  [[nodiscard]] bool enrols() const { return enrols_; }
  [[nodiscard]] std::uint64_t baud() const { return baud_; }

 private:
  Dice& dice_;
  std::uint64_t baud_ = 9600;
  std::uint64_t data_bits_ = 8;
  std::string format_;
  std::string kind_;
  std::string framing_;
  bool hex_text_ = false;
  std::string parts_;
  std::string roles_;
  std::string forward_;
  std::string topics_text_;
  std::string registers_;
  std::vector<TopicText> topics_;
  std::vector<std::string> covered_;
  bool passes_ = false;
  bool broadcast_ = false;
  bool enrols_ = false;
  bool by_field_ = false;
  bool has_topic_field_ = false;
  bool rewrites_ = false;
  std::uint64_t pads_ = 0;
  bool slip() { return dice_.one_in(40); }

  void draw_line() {
    baud_ = dice_.of<std::uint64_t>({1200, 9600, 19200, 57600, 115200});
    data_bits_ = dice_.one_in(4) ? 7 : dice_.one_in(30) ? 5 + dice_.up_to(1) : 8;
    format_ = text(data_bits_) + dice_.of<std::string>({"N", "E", "O"}) + dice_.of<std::string>({"1", "1.5", "2"});
  }

  void draw_framing() {
    std::vector<std::string> kinds{"SIZED", "SIZED", "COBS", "SLIP", "HDLC", "MARKED", "MARKED", "FIXED", "SILENCE"};
    if (data_bits_ < 8) kinds = {"MARKED", "MARKED", "MARKED", "SIZED", "COBS", "HDLC", "FIXED", "SILENCE"};
    if (data_bits_ < 8 && slip()) kinds = {"SLIP"};
    kind_ = dice_.of(kinds);
    framing_ = "kind: " + kind_;
    if (kind_ == "MARKED") {
      hex_text_ = !dice_.one_in(4);
      if (hex_text_) framing_ += " hex_text: true";
      const bool end = !dice_.one_in(3);
      framing_ += dice_.one_in(8) && end ? "" : " start: \"\\x3a\"";
      if (end) framing_ += dice_.one_in(2) ? " end: \"\\r\\n\"" : " end: \"\\x03\"";
    }
    if (kind_ == "FIXED") framing_ += " fixed_bytes: " + text(24 + dice_.up_to(40));
    if (kind_ == "SILENCE") {
      framing_ += " silence_char_tenths: " + text(dice_.one_in(4) ? 1 + dice_.up_to(12) : 15 + dice_.up_to(30));
      if (dice_.one_in(4)) framing_ += " silence_least_us: " + text(dice_.up_to(3000));
      if (dice_.one_in(6)) framing_ += " silence_least_us: 1750 silence_fixed_above_baud: 19200";
    } else {
      framing_ += " abandon_char_tenths: " + text(dice_.one_in(4) ? 1 + dice_.up_to(12) : 20 + dice_.up_to(80));
    }
    if (kind_ == "COBS" || kind_ == "SLIP" || kind_ == "HDLC") {
      if (dice_.one_in(2)) framing_ += " leading_boundary: true";
    }
    if (kind_ != "FIXED" && (data_bits_ < 8 || !dice_.one_in(3))) {
      framing_ += " max_bytes: " + text(dice_.one_in(6) ? 16 + dice_.up_to(20) : 60 + dice_.up_to(60));
    }
  }

  /// A field whose value is any number below `most`, in a way that the line can carry; or not.
  std::string field(const std::string& name, std::uint64_t bits, const std::string& more = "") {
    std::string written = "field { name: \"" + name + "\"";
    const bool narrow_line = data_bits_ < 8 && !hex_text_ && !slip();
    if (narrow_line) {
      const std::uint64_t digits = (bits + 3) / 4;
      written +=
          dice_.one_in(3) && data_bits_ == 7
              ? " bits: " + text(8 * digits) + " digits: HEX_TEXT"
              : " bits: " + text(8 * std::min<std::uint64_t>(digits + digits / 4 + 1, 8)) + " digits: DECIMAL_TEXT";
    } else if (dice_.one_in(8)) {
      const std::uint64_t digits = std::min<std::uint64_t>((bits + 3) / 4 + 1, 8);
      written += dice_.one_in(2) ? " bits: " + text(8 * digits) + " digits: HEX_TEXT"
                                 : " bits: " + text(8 * ((digits + 1) / 2)) + " digits: BCD";
    } else {
      written += " bits: " + text(bits);
      if (bits > 8 && bits % 8 == 0 && dice_.one_in(3)) written += " little_endian: true";
    }
    return written + more + " }";
  }

  /// Bits that are missing up to a whole byte before the first field of these; 0 if none are.
  static std::uint64_t short_by(const std::string& what) {
    const std::size_t at = what.find(" bits: ");
    if (at == std::string::npos) return 0;
    const std::uint64_t bits = std::stoull(what.substr(at + 7));
    return (8 - bits % 8) % 8;
  }

  void part(const std::string& what) { parts_ += "  part { " + what + " }\n"; }
  void header_field(const std::string& name, std::uint64_t bits, const std::string& more = "") {
    const std::string written = field(name, bits, more);
    if (const std::uint64_t pad = short_by(written); pad != 0) {
      part("field { name: \"" + name + "_pad\" bits: " + text(pad) + " constant: 0 }");
    }
    part(written);
    covered_.push_back(name);
  }

  std::string check(const std::string& name, const std::string& more = "") {
    const bool narrow = data_bits_ < 8 && !hex_text_ && !slip();
    std::string written = "check { name: \"" + name + "\" ";
    switch (dice_.up_to(3)) {
      case 0:
        written += std::string("kind: ") + (dice_.one_in(2) ? "SUM" : "NEGATED_SUM") + " bits: " +
                   (narrow            ? text(data_bits_)
                    : dice_.one_in(3) ? "16"
                                      : "8");
        break;
      case 1:
        written += "kind: EXCLUSIVE_OR";
        break;
      default:
        written += "crc { width: " + (narrow ? text(data_bits_) : text(8 + dice_.up_to(16))) +
                   " poly: " + text(3 + 2 * dice_.up_to(10)) + " init: " + text(dice_.up_to(31)) +
                   (dice_.one_in(2) ? " refin: true" : "") + (dice_.one_in(2) ? " refout: true" : "") + " }";
        break;
    }
    return written + more + " }";
  }

  void draw_header() {
    const bool narrow = data_bits_ < 8 && !hex_text_;
    if (kind_ == "SIZED") {
      part("field { name: \"marker\" constant: " +
           text(narrow && !slip() ? 2 + dice_.up_to(20) : 128 + dice_.up_to(100)) + " }");
      covered_.push_back("marker");
      header_field("size", 8);
      roles_ += "    size: \"size\"\n";
      // What stands around the payload is told below, once it is known; a wrong number is an honest slip.
    }
    by_field_ = !dice_.one_in(3);
    if (by_field_) {
      header_field("role", 8);
      roles_ += "    role_field: \"role\" role_codes { role: ASK code: 1 } role_codes { role: ANSWER code: 2 }";
      if (!dice_.one_in(3)) roles_ += " role_codes { role: REFUSAL code: 3 }";
      roles_ += "\n";
    } else {
      roles_ += std::string("    tell_role: ") + (dice_.one_in(2) ? "BY_POSITION" : "BY_PENDING_ASK") + "\n";
    }
    has_topic_field_ = !dice_.one_in(6);
    if (has_topic_field_) {
      header_field("topic", 8);
      roles_ += "    topic: \"topic\"\n";
      if (!by_field_ && dice_.one_in(2) && data_bits_ == 8) {
        roles_ += "    refusal_mark { field: \"topic\" mask: 0x80 value: 0x80 }\n";
      }
    }
    draw_addresses(narrow);
    if (dice_.one_in(2)) {
      header_field("exchange", dice_.of<std::uint64_t>({1, 4, 8, 16}));
      roles_ += "    exchange: \"exchange\"\n";
    }
    if (dice_.one_in(2)) {
      passes_ = true;
      rewrites_ = true;
      header_field("passes", narrow ? 8 : dice_.of<std::uint64_t>({2, 3, 4, 8, 8, 8, 8, 8}));
      roles_ += "    passes_left: \"passes\"\n";
      forward_ += "rewrite { field: \"passes\" add: " + std::string(slip() ? "-2" : "-1") + " } ";
    }
    if (slip()) {
      forward_ += "rewrite { field: \"" + dice_.of(covered_) + "\" add: 1 } ";
      rewrites_ = true;
    }
    if (dice_.one_in(4)) header_field("spare", 8);
    if (kind_ == "SIZED" && dice_.one_in(2)) {
      part(check("head_check"));
      framing_ += " header_check: \"head_check\"";
    }
    part("payload {}");
    if (dice_.one_in(5)) part("field { name: \"tail\" constant: " + text(dice_.up_to(20)) + " }");
    if (!dice_.one_in(5)) part(check("last", hex_text_ && dice_.one_in(3) ? " over_text: true" : ""));
    if (kind_ == "SIZED") {
      framing_ += " size_plus: " + text(dice_.up_to(20));
      if (dice_.one_in(5)) framing_ += " size_unit: 2";
    }
    if (!dice_.one_in(3)) forward_ += "repair: BY_DIFFERENCE ";
    if (dice_.one_in(3)) forward_ += "unclaimed: LAST_NODE_STOPS_IT ";
    if (dice_.one_in(8)) forward_ += "broadcast_answered: true ";
    if (dice_.one_in(5)) forward_ += "least_gap_char_tenths: " + text(dice_.up_to(40)) + " ";
    if (dice_.one_in(8)) forward_ += "pass_unknown_topic: false ";
    if (dice_.one_in(2)) {
      roles_ += "    refusal { " + field("why", 8) +
                " } refusal_code_field: \"why\" "
                "refusal_codes { reason: \"unknown_topic\" code: 1 } refusal_codes { reason: \"bad_value\" code: 2 }\n";
    }
  }

  void draw_addresses(bool narrow) {
    if (dice_.one_in(30)) return;  // nobody in particular
    const bool source = dice_.one_in(2);
    if (dice_.one_in(6)) {
      rewrites_ = true;
      const bool few = dice_.one_in(8) && !narrow;
      header_field("steps", few ? 4 : 8);
      roles_ += "    distance: \"steps\" controller_address: " + text(slip() ? 3 : few ? 15 : narrow ? 60 : 99) + "\n";
      forward_ += "rewrite { field: \"steps\" add: " + std::string(slip() ? "-2" : "-1") + " } ";
      return;
    }
    header_field("to", 8);
    roles_ += "    destination: \"to\"\n";
    if (source) {
      header_field("from", 8);
      roles_ += "    source: \"from\"\n";
    }
    if (dice_.one_in(2)) {
      broadcast_ = true;
      roles_ += "    broadcast: " + text(narrow ? 99 : 255) + "\n";
    }
    if (dice_.one_in(4)) {
      enrols_ = true;
      roles_ += "    first_unenrolled: " + text(narrow ? 98 : 254) + "\n";
    }
  }

  std::string cell() {
    switch (dice_.up_to(4)) {
      case 0:
        return field("cell", 8, " scale { num: 20 } quantity: \"cell_mv\"");
      case 1:
        return with_pad(field("cell", 12, " quantity: \"cell_mv\""));
      case 2:
        return field("cell", 24, " quantity: \"cell_uv\"");
      case 3:
        return field("cell", 16,
                     slip() ? " scale { den: 20 } quantity: \"cell_mv\"" : " scale { den: 2 } quantity: \"cell_mv\"");
      default:
        return field("cell", slip() ? 8 : 16, " quantity: \"cell_mv\"");
    }
  }

  static std::string with_pad(const std::string& what) {
    const std::uint64_t pad = short_by(what);
    return pad == 0 ? what : "field { name: \"cell_pad\" bits: " + text(pad) + " constant: 0 } " + what;
  }

  void topic(const std::string& name, bool changes, const std::string& body, std::vector<std::string> arguments) {
    topics_text_ += "  topic { name: \"" + name + "\" code: " + text(1 + topics_.size()) +
                    " changes: " + (changes ? "true" : "false") + "\n" + body + "  }\n";
    topics_.push_back({name, std::move(arguments), changes});
  }

  std::string item(const std::string& side, const std::string& what) {
    const std::uint64_t pad = what.starts_with("field") ? short_by(what) : 0;
    const std::string name = "pad" + text(pads_++);
    return (pad == 0 ? ""
                     : "    " + side + " { field { name: \"" + name + "\" bits: " + text(pad) + " constant: 0 } }\n") +
           "    " + side + " { " + what + " }\n";
  }
  std::string ask(const std::string& what) { return item("ask", what); }
  std::string answer(const std::string& what) { return item("answer", what); }
  static std::string with(const std::string& name, const std::string& what) {
    return "with { field: \"" + name + "\" " + what + " }";
  }

  void draw_topics() {
    const std::size_t most = has_topic_field_ ? 1 + dice_.up_to(3) : 1;
    std::vector<int> which{0, 1, 2, 3, 4, 5, 6, 7, 8, 9, 10};
    while (topics_.size() < most && !which.empty()) {
      const std::size_t at = dice_.up_to(which.size() - 1);
      draw_topic(which[at]);
      which.erase(which.begin() + static_cast<std::ptrdiff_t>(at));
    }
    if (enrols_ && has_topic_field_ && !slip()) {
      topic("enrol", true,
            ask(field("address", slip() ? 4 : 8)) + answer(field("serial", 32, " quantity: \"serial_number\"")),
            {with("address", "value: 1")});
      topics_.pop_back();
    }
  }

  void draw_topic(int which) {
    const std::string count = field("count", dice_.one_in(5) ? 4 : 8);
    const std::string own = dice_.one_in(4) ? "value: " + text(dice_.one_in(6) ? 0 : 1 + dice_.up_to(8)) : "own: CELLS";
    const std::string first = dice_.one_in(6) ? "value: " + text(dice_.up_to(3)) : "value: 0";
    switch (which) {
      case 0: {
        const bool says_first = dice_.one_in(2);
        std::string body;
        std::vector<std::string> arguments;
        if (says_first) {
          body += ask(field("first", 8));
          arguments.push_back(with("first", first));
        }
        body += ask(count);
        arguments.push_back(with("count", own));
        const bool to_end = dice_.one_in(3);
        if (!to_end) body += answer(field("count", 8, " copied_from_ask: \"count\""));
        if (dice_.one_in(3)) body += answer(field("age", 16, " quantity: \"snapshot_age_ms\""));
        body += answer("group { name: \"cells\" " + std::string(to_end ? "to_end: true " : "count_field: \"count\" ") +
                       cell() + " }");
        body += std::string(says_first ? "    first_field: \"first\"" : "   ") +
                " count_field: \"count\" values_group: \"cells\"\n";
        topic("readings", false, body, arguments);
        break;
      }
      case 1:
        topic("all", false,
              answer(field("of", 8, " quantity: \"cell_count\"")) +
                  answer("group { name: \"cells\" count_field: \"of\" " + cell() + " }"),
              {});
        break;
      case 2:
        topic("rest", false, answer("group { name: \"cells\" to_end: true " + cell() + " }"), {});
        break;
      case 3:
        topic("state", false,
              answer(field("board", 16,
                           dice_.one_in(2) ? " scale { num: 100 } quantity: \"board_temp_mc\""
                                           : " scale { num: 100 offset: -40000 } quantity: \"board_temp_mc\"")) +
                  answer(field("supply", dice_.one_in(8) ? 12 : 16, " quantity: \"supply_mv\"")) +
                  answer(field("heard", 16, " quantity: \"frames_heard\"")) +
                  (slip() ? answer(field("nothing", 8)) : ""),
              {});
        break;
      case 4:
        topic("bleed", true,
              ask(field("cells", dice_.one_in(3) ? 8 : 16, " quantity: \"bleed_mask\"")) +
                  answer(field("cells", 16, " quantity: \"bleed_mask\"")),
              {with("cells", "value: " + text(dice_.up_to(3)))});
        break;
      case 5:
        topic("plate", false,
              answer(field("serial", dice_.one_in(6) ? 16 : 32, " quantity: \"serial_number\"")) +
                  answer(field("kind", 8, " quantity: \"kind_code\"")) +
                  answer(field("fourth", 8, " quantity: \"cell_count\" present_if: \"kind\" present_value: 2")),
              {});
        break;
      case 7:
        topic("limits", true,
              ask(field("low", 16, " quantity: \"low_limit_mv\"")) +
                  ask(field("high", 16, " quantity: \"high_limit_mv\"")) +
                  answer(field("low", dice_.one_in(6) ? 8 : 16, " quantity: \"low_limit_mv\"")),
              {with("low", "value: " + text(2000 + dice_.up_to(1800))),
               with("high", "value: " + text(3000 + dice_.up_to(800)))});
        break;
      case 8: {  // one cell at a time, or always the same number
        const bool one = dice_.one_in(2);
        topic("fixed", false,
              (one ? ask(field("first", 8)) : "") +
                  (one ? answer(field("first", 8, " copied_from_ask: \"first\"")) : "") +
                  answer("group { name: \"cells\" times: " + text(one ? 1 : 1 + dice_.up_to(3)) + " " + cell() + " }") +
                  (one ? "    first_field: \"first\" values_group: \"cells\"\n" : ""),
              one ? std::vector<std::string>{with("first", first)} : std::vector<std::string>{});
        break;
      }
      case 9: {
        const std::string value = field("mask", 16);
        topic("write", true,
              ask(field("first", 8)) + ask(field("count", 8)) +
                  ask("group { name: \"values\" count_field: \"count\" " + value + " }") +
                  answer(field("count", 8, " copied_from_ask: \"count\"")) +
                  "    first_field: \"first\" count_field: \"count\" values_group: \"values\"\n",
              {with("first", "value: " + text(dice_.one_in(8) ? 3 : 104)), with("count", "value: 1"),
               with("mask", "value: " + text(dice_.up_to(1)))});
        registers_ =
            "  register { first: 104 quantity: \"bleed_mask\" " + std::string(slip() ? "" : "writable: true ") + "}\n";
        break;
      }
      case 10: {
        const std::string flag = text(dice_.up_to(1));
        topic("echo", false,
              ask(field("flag", 8)) + ask(field("more", 16, " present_if: \"flag\" present_value: 1")) +
                  answer(field("flag", 8, " copied_from_ask: \"flag\"")) +
                  answer(field("more", 16, " copied_from_ask: \"more\" present_if: \"flag\" present_value: 1")) +
                  answer(field("up", 24, " quantity: \"uptime_s\"")) +
                  answer("field { name: \"version\" constant: 3 sent_only: true }"),
              slip() ? std::vector<std::string>{with("flag", "value: 1")}
                     : std::vector<std::string>{with("flag", "value: " + flag), with("more", "value: 7")});
        break;
      }
      default: {
        if (slip()) return;
        topic("registers", false,
              ask(field("first", 16)) + ask(field("count", 8)) + answer(field("bytes", 8, " scale { den: 2 }")) +
                  answer("group { name: \"values\" count_field: \"bytes\" " + field("value", 16) + " }") +
                  "    first_field: \"first\" count_field: \"count\" values_group: \"values\"\n",
              {with("first", "value: " + text(dice_.one_in(5) ? 98 + dice_.up_to(4) : 0)), with("count", own)});
        registers_ =
            "  register { first: 0 count: 16 quantity: \"cell_mv\" }\n  register { first: 100 quantity: \"supply_mv\" "
            "}\n"
            "  register { first: 101 quantity: \"cell_count\" }\n";
        break;
      }
    }
  }
};

/// A chain and a plan around that bus.
class ScenarioWriter {
 public:
  explicit ScenarioWriter(std::uint64_t number) : dice_("random text", number), bus_(dice_), number_(number) {}

  std::string write() {
    const std::string bus = bus_.write();
    std::string scenario =
        "name: \"drawn" + text(number_) + "\"\nseed: " + text(number_ + 1) + "\ninline_bus {\n" + bus + "}\n";
    scenario += dice_.one_in(3) ? "shape: LINE\n" : "shape: RING\n";
    const std::uint64_t kinds = 1 + dice_.up_to(2);
    for (std::uint64_t i = 0; i < kinds; ++i) scenario += kind(i);
    std::uint64_t nodes = 0;
    const std::uint64_t groups = 1 + dice_.up_to(2);
    for (std::uint64_t i = 0; i < groups; ++i) {
      const std::uint64_t count = dice_.one_in(6) ? 1 + dice_.up_to(18) : 1 + dice_.up_to(3);
      scenario += "nodes { name: \"g" + text(i) + "n\" count: " + text(dice_.one_in(60) ? 40 * count : count) +
                  " kind: \"k" + text(dice_.up_to(kinds - 1)) + "\"";
      if (dice_.one_in(8)) scenario += " address: " + text(20 + 40 * i + dice_.up_to(20));
      scenario += " }\n";
      nodes += count;
    }
    if (dice_.one_in(4)) scenario += "every_hop { isolator_delay: \"" + text(dice_.up_to(3000)) + "ns\" }\n";
    if (dice_.one_in(6)) scenario += "battery { charge: \"" + text(20 + dice_.up_to(79)) + "%\" }\n";
    if (dice_.one_in(8)) scenario += "air { mean: \"" + std::string(dice_.one_in(2) ? "-10C" : "30C") + "\" }\n";
    return scenario + controller(nodes);
  }

 private:
  Dice dice_;
  BusWriter bus_;
  std::uint64_t number_;
  bool any_enrols_ = false;

  std::string kind(std::uint64_t i) {
    std::string made = "kind { name: \"k" + text(i) + "\"";
    if (dice_.one_in(2)) made += " cells: " + text(1 + dice_.up_to(15));
    const bool can = !bus_.rewrites() || dice_.one_in(20);
    if (can && dice_.one_in(4))
      made += " forwarding { electrical { delay: \"" + text(dice_.up_to(3000)) + "ns\" } }";
    else if ((can || !bus_.hides_head()) && dice_.one_in(4))
      made += " forwarding { by_character { lag_half_bits: " + text(1 + dice_.up_to(20)) + " } }";
    else if (dice_.one_in(2))
      made += " forwarding { whole { after: \"" + text(dice_.up_to(2000)) + "us\" } }";
    made += " answer_after: \"" + text(dice_.up_to(4000)) + "us\"";
    if (dice_.one_in(4)) {
      made += " measurement { settle: \"" + text(dice_.up_to(5)) + "ms\" snapshot: \"" + text(dice_.up_to(9)) +
              "ms\" per_cell: \"" + text(dice_.up_to(3)) + "ms\" }";
    }
    if (dice_.one_in(10)) made += " buffer_bytes: " + text(8 + dice_.up_to(40));
    if (dice_.one_in(6)) made += receiver();
    if (dice_.one_in(12)) made += " start_up: \"0s\"";
    if (dice_.one_in(6)) made += " on_bad_check: " + dice_.of<std::string>({"PASS_ON", "REFUSE"});
    if (dice_.one_in(12)) made += " topics: \"" + dice_.of(bus_.topics()).name + "\"";
    if (dice_.one_in(3)) made += " on_unknown_topic: REFUSE";
    if (dice_.one_in(3)) made += " bleed { resistor: \"33ohm\" }";
    if (dice_.one_in(6)) made += " levels { level: \"" + text(1800 + dice_.up_to(2600)) + "mV\" }";
    if (bus_.enrols() && dice_.one_in(3)) {
      made += " enrols: true";
      any_enrols_ = true;
    }
    return made + " }\n";
  }

  std::string receiver() {
    const std::uint64_t samples = 4 + dice_.up_to(28);
    const std::uint64_t votes = dice_.one_in(2) ? 1 : 3;
    return " receiver { oversampling: " + text(samples) + " votes: " + text(votes) +
           (dice_.one_in(2) ? " first_vote: " + text(1 + dice_.up_to(samples - votes)) : "") + " }";
  }

  std::string poll(std::size_t i, std::uint64_t nodes) {
    const TopicText& topic = dice_.of(bus_.topics());
    std::string made = "  poll { name: \"p" + text(i) + "\" topic: \"" + topic.name + "\"";
    const bool everyone = bus_.has_broadcast() && dice_.one_in(6);
    made += everyone ? " to_everyone: true" : dice_.one_in(4) && nodes > 0 ? " nodes: \"g0n1\"" : " nodes: \"*\"";
    for (const std::string& argument : topic.arguments) {
      const std::size_t own = argument.find("own: CELLS");
      made +=
          " " + (everyone && own != std::string::npos ? std::string(argument).replace(own, 10, "value: 1") : argument);
    }
    if (dice_.one_in(5)) made += " every: " + text(1 + dice_.up_to(3));
    return made + " }\n";
  }

  std::string controller(std::uint64_t nodes) {
    // About what the chain takes, from far too short to plenty.
    const std::uint64_t trip_ms = 3 + 30 * 11 * 1000 * (nodes + 1) / bus_.baud() + 3 * nodes;
    std::string made =
        "controller {\n  time_out: \"" + text(dice_.one_in(6) ? 1 + dice_.up_to(trip_ms) : 20 * trip_ms) + "ms\"\n";
    if (dice_.one_in(3)) made += "  gap: \"" + text(dice_.up_to(20)) + "ms\"\n";
    if (dice_.one_in(4)) made += "  pace: \"" + text(dice_.up_to(200)) + "ms\"\n";
    if (dice_.one_in(4)) made += "  retries: " + text(dice_.up_to(2)) + "\n";
    if (dice_.one_in(8)) made += "  fresh_within: \"" + text(1 + dice_.up_to(trip_ms)) + "ms\"\n";
    if (bus_.has_passes() && dice_.one_in(6)) made += "  passes: " + text(1 + dice_.up_to(20)) + "\n";
    if (dice_.one_in(8)) made += " " + receiver() + "\n";
    if (dice_.one_in(8)) made += "  late_window: \"" + text(1 + dice_.up_to(50)) + "ms\"\n";
    if (dice_.one_in(4)) made += "  on_late: " + dice_.of<std::string>({"IGNORE_IT", "ACCEPT"}) + "\n";
    if (dice_.one_in(6)) made += "  timer_first: true\n";
    if (dice_.one_in(4)) made += "  order: NODE_BY_NODE\n";
    if (any_enrols_ && !dice_.one_in(8)) made += "  enrolment { at_start: true }\n";
    const std::size_t polls = 1 + dice_.up_to(2);
    for (std::size_t i = 0; i < polls; ++i) made += poll(i, nodes);
    return made + "}\n";
  }
};

}  // namespace

std::string random_text(std::uint64_t number) { return ScenarioWriter(number).write(); }

}  // namespace hopbench
