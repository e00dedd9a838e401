// Sums by published worked values, and checks that stand on the wire as digits.
#include "bus/check_plan.h"
#include "bus_test_tools.h"
#include "support/buses.h"
#include "support/catch.h"

using namespace hopbench;
using namespace hopbench::testing;

namespace {

std::uint64_t value(SumKind kind, std::uint32_t bits, const Bytes& bytes) {
  CheckSpec spec;
  spec.kind = kind;
  spec.bits = bits;
  return CheckPlan(spec, Zone::back, 0, {}).value_of(bytes);
}

Bytes letters(const std::string& text) { return {text.begin(), text.end()}; }

/// A pause ends a frame; the check covers all before it.
BusDescription checked_bus(const CheckSpec& check) {
  BusDescription bus;
  bus.name = "checked";
  bus.framing.kind = FramingKind::silence;
  bus.framing.silence_char_tenths = 20;
  bus.parts = {buses::part(buses::field("to", 8)), buses::payload_part(), buses::part(check)};
  bus.roles.destination = "to";
  bus.roles.tell_role = TellRole::by_pending_ask;
  TopicSpec topic;
  topic.name = "only";
  bus.topics = {topic};
  return bus;
}

CheckSpec check_of(SumKind kind, std::uint32_t bits, Digits digits) {
  CheckSpec check;
  check.name = "check";
  check.kind = kind;
  check.bits = bits;
  check.digits = digits;
  return check;
}

Bytes sent(const CheckSpec& check, const std::string& payload) {
  const Protocol protocol(checked_bus(check));
  REQUIRE(Protocol::faults_of(protocol.description()).empty());
  Frame frame = protocol.ask(0, 1, 0, 0);
  frame.payload.assign(hex(payload));
  return content_of(protocol, frame);
}

}  // namespace

TEST_CASE("ones' complement sums of the worked examples") {
  // RFC 1071 section 3: the words 0001 f203 f4f5 f6f7 add up to ddf2, with carries added again.
  CHECK(value(SumKind::ones_sum, 16, hex("00 01 f2 03 f4 f5 f6 f7")) == 0xDDF2);
  CHECK(value(SumKind::negated_ones_sum, 16, hex("00 01 f2 03 f4 f5 f6 f7")) == 0x220D);
  // An internet header and its checksum, as textbooks have it (from memory).
  CHECK(value(SumKind::negated_ones_sum, 16, hex("45 00 00 73 00 00 40 00 40 11 00 00 c0 a8 00 01 c0 a8 00 c7")) ==
        0xB861);
  // An odd byte at the end is filled up with a zero (RFC 1071 section 1).
  CHECK(value(SumKind::ones_sum, 16, hex("01 02 03")) == 0x0402);
  CHECK(value(SumKind::ones_sum, 8, hex("ff 02")) == 0x02);
}

TEST_CASE("Fletcher's checks of the worked examples") {
  // The usual examples over letters (from memory; recomputed by the definition of RFC 1146).
  CHECK(value(SumKind::fletcher, 16, letters("abcde")) == 0xC8F0);
  CHECK(value(SumKind::fletcher, 16, letters("abcdef")) == 0x2057);
  CHECK(value(SumKind::fletcher, 16, letters("abcdefgh")) == 0x0627);
  CHECK(value(SumKind::fletcher, 32, letters("abcde")) == 0xF04FC729);
  CHECK(value(SumKind::fletcher, 32, letters("abcdef")) == 0x56502D2A);
  CHECK(value(SumKind::fletcher, 32, letters("abcdefgh")) == 0xEBE19591);
  // Modulo 256, by hand: sums 01 03 06, sums of sums 01 04 0a; and with carries lost.
  CHECK(value(SumKind::fletcher_256, 16, hex("01 02 03")) == 0x0A06);
  CHECK(value(SumKind::fletcher_256, 16, hex("ff 02")) == 0x0001);
}

TEST_CASE("the exclusive or of sentences in the form of IEC 61162-1") {
  // Worked sentences that are widely quoted (from memory); two hexadecimal digits follow the star.
  CHECK(value(SumKind::exclusive_or, 8, letters("GPGLL,5057.970,N,00146.110,E,142451,A")) == 0x27);
  CHECK(value(SumKind::exclusive_or, 8, letters("GPGGA,123519,4807.038,N,01131.000,E,1,08,0.9,545.4,M,46.9,M,,")) ==
        0x47);
}

TEST_CASE("a check stands in as many digits as its largest value needs") {
  // 01 + 30 + 31 = 62 hexadecimal, 98 decimal.
  CHECK(sent(check_of(SumKind::sum, 8, Digits::binary), "30 31") == hex("01 30 31 62"));
  CHECK(sent(check_of(SumKind::sum, 8, Digits::hex_text), "30 31") == hex("01 30 31 36 32"));
  CHECK(sent(check_of(SumKind::sum, 8, Digits::decimal_text), "30 31") == hex("01 30 31 30 39 38"));
  CHECK(sent(check_of(SumKind::sum, 8, Digits::bcd), "30 31") == hex("01 30 31 00 98"));
  CHECK(sent(check_of(SumKind::sum, 16, Digits::hex_text), "ff ff") == hex("01 ff ff 30 31 46 46"));
  CHECK(sent(check_of(SumKind::sum, 16, Digits::decimal_text), "ff ff") == hex("01 ff ff 30 30 35 31 31"));
  CheckSpec low_first = check_of(SumKind::sum, 16, Digits::hex_text);
  low_first.little_endian = true;
  CHECK(sent(low_first, "ff ff") == hex("01 ff ff 46 46 30 31"));
}

TEST_CASE("a character that is no digit makes a frame malformed, a wrong digit a wrong check") {
  const Protocol protocol(checked_bus(check_of(SumKind::sum, 8, Digits::hex_text)));
  Frame frame;
  CHECK(protocol.parse(hex("01 30 31 36 32"), frame) == Damage::none);
  CHECK(protocol.parse(hex("01 30 31 36 33"), frame) == Damage::check);
  CHECK(protocol.parse(hex("01 30 31 36 47"), frame) == Damage::malformed);
  CHECK(protocol.parse(hex("01 4a 31 37 63"), frame) == Damage::malformed);  // lower case
}

TEST_CASE("every change of one character of a check of digits is noticed") {
  for (const Digits digits : {Digits::hex_text, Digits::decimal_text, Digits::bcd}) {
    const CheckSpec check = check_of(SumKind::sum, 8, digits);
    const Protocol protocol(checked_bus(check));
    const Bytes good = sent(check, "30 31 77");
    for (std::size_t at = 0; at < good.size(); ++at) {
      for (unsigned wrong = 1; wrong < 256; ++wrong) {
        Bytes bad = good;
        bad[at] = static_cast<std::uint8_t>(bad[at] ^ wrong);
        Frame frame;
        REQUIRE(protocol.parse(bad, frame) != Damage::none);
      }
    }
  }
}
