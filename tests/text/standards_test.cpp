// Buses of open standards by their descriptions (tests/text/standards), held against worked bytes.
//
// Sources: [M] EN 13757-2, with the worked telegram of "The M-Bus: a documentation", rev. 4.8, 1997, section 6 (from
// memory); [F] IEC 60870-5-1 format FT1.2 and IEC 60870-5-2 link functions (from memory); [A] MODBUS over serial line,
// specification and implementation guide V1.02, with the request that tutorials on Modbus ASCII use (from memory);
// [S] IEC 61162-1 (from memory); [D] IEEE Std 1815, IEC 60870-5-1 format FT3, with a link reset that is widely quoted
// (from memory; its check recomputed by the model CRC-16/DNP).
#include <string>
#include <vector>

#include "bus/decoder.h"
#include "bus/spelled.h"
#include "support/buses.h"
#include "support/catch.h"
#include "text/bus.h"
#include "text/hex_bytes.h"

using namespace hopbench;

namespace {

BusDescription standard(const std::string& name) {
  std::string why;
  const auto file = read_text_file(HOPBENCH_SOURCE_DIR "/tests/text/standards/" + name + ".txtpb", why);
  REQUIRE(file);
  std::vector<Problem> problems;
  const auto bus = load_bus(*file, problems);
  std::string all;
  for (const Problem& problem : problems) all += render(problem);
  INFO(all);
  REQUIRE(bus);
  CHECK(all.empty());
  return *bus;
}

HexRun bytes(const std::string& hex) {
  std::string problem;
  const auto runs = hex_runs("test", hex, problem);
  REQUIRE(runs);
  return runs->front();
}

HexRun characters(const std::string& text) { return {text.begin(), text.end()}; }

class Node : public PayloadSource {
 public:
  std::vector<std::int64_t> cells{3300, 3307, 3315};
  std::int64_t board = 25'000;
  std::vector<std::pair<std::string, std::uint64_t>> arguments;
  std::optional<std::int64_t> quantity(std::string_view name, std::uint32_t index) override {
    if (name == "cell_mv") return index < cells.size() ? std::optional(cells[index]) : std::nullopt;
    if (name == "cell_count") return static_cast<std::int64_t>(cells.size());
    if (name == "board_temp_mc") return board;
    if (name == "address") return 12'345'678;
    if (name == "bleed_mask") return 5;
    return 0;
  }
  std::optional<std::uint64_t> argument(std::string_view field) override {
    for (const auto& [name, value] : arguments) {
      if (name == field) return value;
    }
    return std::nullopt;
  }
};

HexRun wire_of(const Protocol& protocol, const Frame& frame) {
  Content content;
  WireBytes wire;
  protocol.encode(frame, content);
  protocol.wrap(content.view(), wire);
  return {wire.view().begin(), wire.view().end()};
}

struct Bench {
  explicit Bench(const std::string& name) : protocol(standard(name)) {}
  Protocol protocol;
  Node node;

  Frame ask(const char* topic, std::uint64_t to) {
    Frame frame = protocol.ask(protocol.topic_named(topic).value(), to, 0, 0);
    REQUIRE_FALSE(protocol.fill(frame, Protocol::Side::ask, {}, node));
    return frame;
  }
  HexRun asked(const char* topic, std::uint64_t to) { return wire_of(protocol, ask(topic, to)); }
  HexRun answered(const char* topic, std::uint64_t from) {
    const Frame asked = ask(topic, from);
    Frame answer = protocol.answer_to(asked, from, 0);
    REQUIRE_FALSE(protocol.fill(answer, Protocol::Side::answer, asked.payload.view(), node));
    CHECK(protocol.may_answer(answer, protocol.topic_named(topic).value()));
    CHECK(protocol.reads_as_answer(answer));
    const auto read = protocol.as_read(answer);
    REQUIRE(read);
    CHECK(read->payload == answer.payload);
    CHECK(read->shape == answer.shape);
    return wire_of(protocol, answer);
  }
  /// What a receiver makes of the bytes, sent without a pause and followed by one.
  std::vector<Finding> heard(const HexRun& wire) {
    const Period period = period_of_baud(protocol.line().baud);
    Decoder decoder(protocol, period);
    std::vector<Finding> findings;
    Nanos at = second;
    const Nanos character = span_of_bits(protocol.line().char_half_bits(), period) / 2;
    for (const std::uint8_t byte : wire) {
      HeardChar each;
      each.byte = byte;
      each.start = at;
      each.end = at += character;
      decoder.push(each, findings);
    }
    decoder.silent_until(at + second, findings);
    return findings;
  }
};

/// "part: what is wrong" of the first that does not fit.
std::string first_wrong(const Protocol& protocol, const HexRun& content) {
  const Spelled spelled = spelled_out(protocol, content, std::nullopt);
  if (!spelled.first_wrong) return "";
  const SpelledPart& part = spelled.parts[*spelled.first_wrong];
  return part.name + "@" + std::to_string(part.bit / 8) + ": " + part.wrong;
}

}  // namespace

TEST_CASE("EN 13757-2: short frames and the single character are the published ones") {
  Bench bench("en13757-2");
  CHECK(bench.asked("initialise", 1) == bytes("10 40 01 41 16"));  // [M] SND_NKE
  CHECK(bench.asked("data", 1) == bytes("10 5b 01 5c 16"));        // [M] REQ_UD2
  CHECK(bench.asked("data", 254) == bytes("10 5b fe 59 16"));
  CHECK(bench.answered("initialise", 1) == bytes("e5"));
  CHECK(bench.answered("bleed", 1) == bytes("e5"));
}

TEST_CASE("EN 13757-2: the published telegram is a good long frame, and its head reads as published") {
  Bench bench("en13757-2");
  // [M] RSP_UD of meter 12345678 at address 2; its records are not those of the description.
  const HexRun telegram = bytes(
      "68 1f 1f 68 08 02 72 78 56 34 12 24 40 01 07 55 00 00 00 03 13 15 31 00 da 02 3b 13 01 8b 60 04 37 18 02 18 16");
  const auto findings = bench.heard(telegram);
  REQUIRE(findings.size() == 1);
  CHECK(findings[0].damage == Damage::none);
  const Spelled spelled = spelled_out(bench.protocol, telegram, std::nullopt);
  CHECK(spelled.role == Role::answer);
  const auto raw = [&](const std::string& name) {
    for (const SpelledPart& part : spelled.parts) {
      if (part.name == name) return part.raw.value_or(~std::uint64_t{0});
    }
    return ~std::uint64_t{1};
  };
  CHECK(raw("identification") == 12'345'678);
  CHECK(raw("manufacturer") == 0x4024);
  CHECK(raw("address") == 2);
  CHECK(raw("sum") == 0x18);
  REQUIRE(spelled.first_wrong);
  CHECK(spelled.parts[*spelled.first_wrong].bit / 8 == 19);  // 03 13: another record than is described
  CHECK(spelled.parts[*spelled.first_wrong].wrong ==
        "should be cells[0].volts, which is always 0x02fd46, and cannot be read as that");
}

TEST_CASE("EN 13757-2: a data frame of the description, byte by byte") {
  Bench bench("en13757-2");
  // By [M]; the sum by hand: 08 + 02 + 72 + 78 + 56 + 34 + 12 + 24 + 40 + 01 + 07 + 55 = 251, 02 + fd + 46 + e4 + 0c =
  // 235.
  bench.node.cells = {3300};
  CHECK(bench.answered("data", 2) ==
        bytes("68 14 14 68 08 02 72 78 56 34 12 24 40 01 07 55 00 00 00 02 fd 46 e4 0c 86 16"));
}

TEST_CASE("EN 13757-2: what is damaged is said, from the front") {
  Bench bench("en13757-2");
  const HexRun good = bench.asked("data", 1);
  CHECK(first_wrong(bench.protocol, good).empty());
  CHECK(first_wrong(bench.protocol, bytes("10 5b 01 5d 16")) ==
        "sum@3: is 0x5d and should be 0x5c over the bytes heard");
  CHECK(first_wrong(bench.protocol, bytes("10 5b 01 5c 17")) == "stop@4: is 0x17, 0x16 would be right");
  CHECK(first_wrong(bench.protocol, bytes("10 5b 01")) == "sum@3: the frame ends before it, 2 bytes short");
}

TEST_CASE("EN 13757-2: a single character is believed in step, and not among damage") {
  Bench bench("en13757-2");
  const auto alone = bench.heard(bytes("e5"));
  REQUIRE(alone.size() == 1);
  CHECK(alone[0].damage == Damage::none);
  CHECK(alone[0].frame.role == Role::answer);
  // A long frame with a wrong sum and an e5 among its data is one damaged frame.
  const auto damaged = bench.heard(bytes("68 04 04 68 08 02 e5 01 ff 16"));
  REQUIRE_FALSE(damaged.empty());
  for (const Finding& finding : damaged) CHECK(finding.damage != Damage::none);
  // Behind it, without a pause, a good frame is found all the same.
  auto both = bytes("68 04 04 68 08 02 e5 01 ff 16");
  for (const std::uint8_t byte : bench.asked("data", 1)) both.push_back(byte);
  const auto after = bench.heard(both);
  CHECK(after.back().damage == Damage::none);
  CHECK(after.back().frame.role == Role::ask);
}

TEST_CASE("IEC 60870-5-1 FT1.2: link functions as the standard has them") {
  Bench bench("ft12");
  CHECK(bench.asked("reset_link", 1) == bytes("10 40 01 41 16"));         // [F] function 0
  CHECK(bench.asked("status_of_link", 1) == bytes("10 49 01 4a 16"));     // [F] function 9
  CHECK(bench.answered("status_of_link", 1) == bytes("10 0b 01 0c 16"));  // [F] function 11
  CHECK(bench.answered("reset_link", 1) == bytes("e5"));
  CHECK(bench.asked("class_2", 1) == bytes("10 5b 01 5c 16"));  // [F] function 11, count bit 0 and valid
  // The count bit on: the same function.
  Frame frame;
  REQUIRE(bench.protocol.parse(bytes("10 7b 01 7c 16"), frame) == Damage::none);
  CHECK(bench.protocol.topic(frame) == bench.protocol.topic_named("class_2"));
  const Frame answer = bench.protocol.answer_to(frame, 1, 0);
  CHECK(wire_of(bench.protocol, answer)[4] == 0x08);  // no access demand: the count bit is not copied
}

TEST_CASE("Modbus ASCII: the request of the tutorials, and what it is answered") {
  Bench bench("modbus-ascii");
  bench.node.arguments = {{"first", 107}, {"count", 3}};
  CHECK(bench.asked("read_holding", 17) == characters(":1103006B00037E\r\n"));  // [A]
  bench.node.arguments = {{"first", 0}, {"count", 2}};
  // By hand: 11 + 03 + 04 + 0c + e4 + 0c + eb = 1ff; its complement to 100 is 01.
  CHECK(bench.answered("read_holding", 17) == characters(":1103040CE40CEB01\r\n"));
  CHECK(bench.heard(characters(":1103006B00037F\r\n")).at(0).damage == Damage::check);
}

TEST_CASE("sentences in the form of IEC 61162-1: numbers as long as they are, and two digits behind the star") {
  Bench bench("sentences");
  CHECK(bench.asked("volts", 7) == characters("$PXBAVQ,07*27\r\n"));
  CHECK(bench.answered("volts", 7) == characters("$PXBAVR,07,3.300,3.307,3.315*25\r\n"));
  bench.node.board = -120;
  CHECK(bench.answered("board", 12) == characters("$PXBATR,12,-0.120*0E\r\n"));
  bench.node.board = 40'250;
  const HexRun warm = bench.answered("board", 12);
  CHECK(std::string(warm.begin(), warm.end()).starts_with("$PXBATR,12,40.250*"));
  // The exclusive or of all between $ and *, done here once more.
  for (const char* topic : {"volts", "board", "bleed"}) {
    bench.node.arguments.clear();
    if (std::string(topic) == "bleed") bench.node.arguments = {{"cells", 5}};
    const HexRun sentence = bench.answered(topic, 42);
    std::uint8_t sum = 0;
    std::size_t at = 1;
    for (; sentence[at] != '*'; ++at) sum = static_cast<std::uint8_t>(sum ^ sentence[at]);
    CHECK(std::stoul(std::string(sentence.begin() + static_cast<std::ptrdiff_t>(at) + 1, sentence.end() - 2), nullptr,
                     16) == sum);
    const auto findings = bench.heard(sentence);
    REQUIRE(findings.size() == 1);
    CHECK(findings[0].damage == Damage::none);
  }
}

TEST_CASE("FT3: a head with a check, then blocks of sixteen bytes with a check each") {
  Bench bench("ft3");
  Frame reset;
  // [D]: reset of the link to 1 from 10, and to 1 from 1024.
  REQUIRE(bench.protocol.parse(bytes("05 64 05 c0 01 00 0a 00 e0 8c"), reset) == Damage::none);
  CHECK(bench.asked("reset_link", 1) == bytes("05 64 05 c0 01 00 00 04 e9 21"));
  bench.node.cells.assign(12, 3300);  // 25 bytes of data: a block of 16 and one of 9
  const HexRun wire = bench.answered("volts", 1);
  CHECK(wire.size() == 10 + 25 + 2 * 2);
  CHECK(wire[2] == 5 + 25);  // no check is counted
  CHECK(first_wrong(bench.protocol, wire).empty());
  for (std::size_t at = 10; at < wire.size(); ++at) {
    HexRun bad = wire;
    bad[at] ^= 0x10;
    const auto findings = bench.heard(bad);
    REQUIRE(findings.size() == 1);
    CHECK(findings[0].damage == Damage::check);
    const std::string block = at < 28 ? "block[0]" : "block[1]";
    if (at != 10) CHECK(first_wrong(bench.protocol, bad).starts_with(block));
  }
  // The check of the last block is that of its nine bytes alone.
  const Crc crc({16, 0x3D65, 0, true, true, 0xFFFF});
  const std::uint64_t last = crc.of(std::span(wire).subspan(28, 9));
  CHECK(wire[37] == (last & 0xFFU));
  CHECK(wire[38] == last >> 8U);
}
