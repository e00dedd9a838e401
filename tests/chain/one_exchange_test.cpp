// The chain against a reference of what one exchange does: bytes, instants on each link, round trip, outcome, cause,
// and what the nodes remember. The reference was written from the documentation; the two share no code but plain
// structs.
#include <algorithm>
#include <cmath>
#include <cstdlib>
#include <map>

#include "chain/chain.h"
#include "support/catch.h"
#include "support/collector.h"
#include "support/reference/quiet_chain.h"

namespace hopbench::reference {
namespace {

/// Instants are whole nanoseconds, and each station rounds once for each frame that it sends.
bool near(Nanos seen, Instant expected, std::size_t sends) {
  return std::fabs(static_cast<double>(static_cast<Instant>(seen) - expected)) <=
         2.0 * static_cast<double>(sends) + 2.0;
}

std::string told(const ExpectedExchange& expected) {
  std::string text = "expected " + std::string(name_of(expected.outcome)) + " decided " +
                     std::to_string(expected.decided) + " trip " + std::to_string(expected.round_trip);
  for (const ExpectedTry& each : expected.tries)
    text += "\n  try " + std::to_string(each.start) + " " + std::to_string(each.ask_end) + " " +
            std::string(name_of(each.outcome)) + " " + std::string(name_of(each.why.cause)) + " station " +
            std::to_string(each.why.station) + " link " + std::to_string(each.why.link);
  for (const ExpectedRow& row : expected.rows)
    text += "\n  row " + std::to_string(row.start) + ".." + std::to_string(row.end) + " link " +
            std::to_string(row.link) + " chars " + std::to_string(row.chars) + " try " + std::to_string(row.attempt) +
            (row.answering ? " answer " : " ask ") + std::string(name_of(row.symptom));
  return text;
}

void require_as_expected(const KeptExchange& seen, const ExpectedExchange& expected, std::size_t stations) {
  INFO("seen " << describe(seen) << "\n" << told(expected));
  REQUIRE(seen.seen.outcome == expected.outcome);
  REQUIRE(seen.asked == expected.asked);
  REQUIRE(seen.answered == expected.answered);
  REQUIRE(seen.attempts.size() == expected.tries.size());
  for (std::size_t i = 0; i < expected.tries.size(); ++i) {
    REQUIRE(near(seen.attempts[i].start, expected.tries[i].start, stations));
    REQUIRE(near(seen.attempts[i].ask_end, expected.tries[i].ask_end, stations));
    REQUIRE(seen.attempts[i].outcome == expected.tries[i].outcome);
    const auto merely_late = [](Cause why) {
      return why == Cause::clock || why == Cause::measuring || why == Cause::chain_time;
    };
    const AttemptTruth& why = seen.attempt_truths[i];
    const ExpectedReason& reason = expected.tries[i].why;
    if (expected.tries[i].clock_uncertain && merely_late(why.cause) && merely_late(reason.cause)) continue;
    REQUIRE(why.cause == reason.cause);
    REQUIRE(why.station == reason.station);
    REQUIRE(why.link == reason.link);
  }
  REQUIRE(near(seen.seen.decided, expected.decided, 2 * stations));
  REQUIRE((seen.seen.round_trip < 0) == (expected.round_trip < 0));
  if (expected.round_trip >= 0) REQUIRE(near(seen.seen.round_trip, expected.round_trip, 2 * stations));
  REQUIRE(seen.rows.size() == expected.rows.size());
  std::vector<bool> found(expected.rows.size());
  for (const HopRow& row : seen.rows) {
    std::size_t i = 0;
    while (i < expected.rows.size() &&
           (found[i] || expected.rows[i].link != row.link || expected.rows[i].attempt != row.attempt ||
            expected.rows[i].answering != row.answering))
      ++i;
    INFO("link " << row.link << " try " << int{row.attempt} << (row.answering ? " answer" : " ask"));
    REQUIRE(i < expected.rows.size());
    found[i] = true;
    REQUIRE(row.chars == expected.rows[i].chars);
    REQUIRE(row.symptom == expected.rows[i].symptom);
    REQUIRE_FALSE(row.inherited);
    REQUIRE(row.copy == 0);
    REQUIRE(near(row.start, expected.rows[i].start, 2 * stations));
    REQUIRE(near(row.end, expected.rows[i].end, 2 * stations));
  }
}

struct Counts {
  std::map<Outcome, std::size_t> outcomes;
  std::map<Cause, std::size_t> causes;
  std::size_t overtaken = 0;  // tries whose answer came during a later try, or after it
};

void compare(const QuietChain& quiet, Way way, std::uint64_t exchanges, Counts& counts) {
  const BusDescription bus = described(quiet.bus);
  for (const Protocol::Fault& fault : Protocol::faults_of(bus)) FAIL(fault.what);
  const Protocol protocol(bus);
  Collector kept;
  Chain chain(protocol, quiet.chain, 5, way, Seat::simulated, kept);
  REQUIRE(chain.run_exchanges(exchanges));
  chain.finish({});
  // They are told in the order in which they are over.
  std::sort(kept.exchanges.begin(), kept.exchanges.end(),
            [](const KeptExchange& a, const KeptExchange& b) { return a.seen.number < b.seen.number; });
  const ControllerSpec& controller = quiet.chain.controller;
  OneExchange reference(quiet.bus, quiet.chain);
  Nanos due = 0;
  for (std::size_t i = 0; i < kept.exchanges.size(); ++i) {
    const KeptExchange& seen = kept.exchanges[i];
    INFO("exchange " << i);
    REQUIRE(seen.seen.entry == i % quiet.asks.size());
    const std::size_t last_number = quiet.bus.number_bytes == 1 ? 0xFF : 0xFFFF;
    const auto exchange_number = static_cast<std::uint16_t>(1 + i % last_number);
    const ExpectedExchange expected =
        reference.next(quiet.asks[seen.seen.entry], exchange_number, static_cast<Instant>(due));
    require_as_expected(seen, expected, quiet.chain.nodes.size() + 1);
    ++counts.outcomes[expected.outcome];
    if (expected.outcome == Outcome::answered && expected.tries.front().outcome == Outcome::late) ++counts.overtaken;
    for (const ExpectedTry& each : expected.tries) ++counts.causes[each.why.cause];
    due = std::max(seen.seen.start + controller.pace, seen.seen.decided + controller.gap);
  }
}

std::uint64_t from_environment(const char* name, std::uint64_t otherwise) {
  const char* text = std::getenv(name);
  return text == nullptr ? otherwise : std::strtoull(text, nullptr, 10);
}

}  // namespace

// Check values: G. Cook, "Catalogue of parametrised CRC algorithms" (reveng.sourceforge.io), of "123456789".
TEST_CASE("the reference's own checks are the published ones") {
  const Bytes digits{'1', '2', '3', '4', '5', '6', '7', '8', '9'};
  CHECK(plain_crc(digits, 16, 0x3D65, 0, false, 0xFFFF) == 0xC2B7);  // CRC-16/EN-13757
  CHECK(plain_crc(digits, 16, 0x8005, 0xFFFF, true, 0) == 0x4B37);   // CRC-16/MODBUS
  CHECK(plain_crc(digits, 8, 0x2F, 0, false, 0) == 0x3E);            // CRC-8/OPENSAFETY
  CHECK(plain_crc(digits, 8, 0x31, 0, true, 0) == 0xA1);             // CRC-8/MAXIM-DOW
}

TEST_CASE("each exchange is as the reference has it, on random chains without luck") {
  const std::uint64_t first = from_environment("HOPBENCH_FIRST_SCENARIO", 0);
  const std::uint64_t scenarios = from_environment("HOPBENCH_SCENARIOS", 400);
  Counts counts;
  for (std::uint64_t number = first; number < first + scenarios; ++number) {
    const QuietChain quiet = quiet_chain(number);
    INFO("chain " << number);
    // Now and then so many that an exchange number of one byte goes round.
    const bool goes_round = quiet.bus.number_bytes == 1 && number % 8 == 0;
    compare(quiet, static_cast<Way>(number % 3), goes_round ? 530 : 2 * quiet.asks.size() + 3, counts);
  }
  // What never came about was not compared.
  if (scenarios < 400) return;
  for (const Outcome outcome : {Outcome::answered, Outcome::late, Outcome::refused, Outcome::lost}) {
    INFO(name_of(outcome));
    CHECK(counts.outcomes[outcome] > 50);
  }
  for (const Cause cause : {Cause::no_address, Cause::unclaimed, Cause::passes_used_up, Cause::unknown_topic,
                            Cause::short_buffer, Cause::measuring, Cause::chain_time, Cause::refused_by_node}) {
    INFO(name_of(cause));
    CHECK(counts.causes[cause] > 3);
  }
  CHECK(counts.overtaken > 100);
}

}  // namespace hopbench::reference
