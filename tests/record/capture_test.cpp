#include <algorithm>
#include <set>

#include "record/capture_tools.h"
#include "seen/ignoring_sink.h"
#include "support/catch.h"

using namespace hopbench;
using namespace hopbench::sample;

TEST_CASE("what a run told is read back word for word") {
  for (std::uint64_t seed = 1; seed <= 60; ++seed) {
    CAPTURE(seed);
    const auto run = wild_run(seed, 40);
    const auto back = read_back(capture_of(run));
    REQUIRE(difference(back.lines, listing_of(run)) == "");
    CHECK_FALSE(back.damage.in_the_middle());
    CHECK(back.damage.torn_bytes == 0);
    CHECK_FALSE(back.damage.unclosed);
  }
}

TEST_CASE("records of the kinds of format 1.1 are read back word for word") {
  for (std::uint64_t seed = 1; seed <= 60; ++seed) {
    CAPTURE(seed);
    const auto run = full_run(seed, 40);
    const auto lines = listing_of(run);
    REQUIRE(lines.size() > 45);
    const auto back = read_back(capture_of(run));
    REQUIRE(difference(back.lines, lines) == "");
    CHECK_FALSE(back.damage.in_the_middle());
    CHECK_FALSE(back.damage.unclosed);
  }
}

TEST_CASE("records of kinds that are not known are passed over, and are there for whoever copies") {
  // As a reader of 1.0 takes the kinds of 1.1, and this one those still to come.
  MemoryFile file;
  const auto run = full_run(7, 30);
  {
    const auto bytes = capture_of(run);
    CaptureReader reader(std::make_unique<MemorySource>(bytes));
    BlockWriter writer(file, "memory", origin().run_id);
    BlockReader::Raw raw;
    const std::vector<std::uint8_t> unknown{1, 2, 3};
    while (reader.next_raw(raw)) {
      if (raw.kind == static_cast<std::uint8_t>(RecordKind::end)) break;
      writer.append(static_cast<RecordKind>(raw.kind), raw.payload, 0);
      writer.append(static_cast<RecordKind>(14 + raw.number % 50), unknown, 0);
    }
  }
  auto lines = listing_of(run);
  lines.pop_back();  // the end was left out
  const auto back = read_back(file.bytes);
  CHECK(difference(back.lines, lines) == "");
  CHECK_FALSE(back.damage.in_the_middle());
  CaptureReader reader(std::make_unique<MemorySource>(file.bytes));
  BlockReader::Raw raw;
  std::size_t unknown = 0;
  while (reader.next_raw(raw)) unknown += raw.kind >= 14 ? 1U : 0U;
  CHECK(unknown == lines.size() + 1);  // one after each, the build's too
}

TEST_CASE("a run over many blocks is read back word for word") {
  const auto run = wild_run(99, 3000);
  const auto bytes = capture_of(run);
  REQUIRE(bytes.size() > 5 * block_bytes);
  const auto back = read_back(bytes);
  CHECK(difference(back.lines, listing_of(run)) == "");
  CHECK_FALSE(back.damage.in_the_middle());
}

TEST_CASE("records of every length round the end of a block are read back") {
  // One arrival record of a length that moves the next one byte by byte over the block's end.
  for (std::size_t extra = 0; extra < 60; ++extra) {
    CAPTURE(extra);
    Run run;
    run.info = ring(2);
    run.events.emplace_back(OwnedArrival{{}, std::vector<std::uint8_t>(59'000 + extra * 64 + extra % 7), {}});
    for (std::uint64_t i = 0; i < 60; ++i)
      run.events.emplace_back(clean_exchange(run.info, i, static_cast<Nanos>(i) * second));
    const auto back = read_back(capture_of(run));
    REQUIRE(difference(back.lines, listing_of(run)) == "");
    REQUIRE_FALSE(back.damage.in_the_middle());
  }
}

TEST_CASE("texts longer than a block are read back, and the head tells all it was given") {
  Run run = wild_run(3, 5);
  auto from = origin(42);
  from.scenario_text = std::string(300'000, 's');
  from.bus_text = "bytes that are no UTF-8: \xff\xfe";
  from.build = {"1.2.3", std::string(100, 'c'), "host  x", 1'700'000'000'000'000'000};
  const auto bytes = capture_of(run, from);
  CaptureReader reader(std::make_unique<MemorySource>(bytes));
  Record record;
  REQUIRE(reader.next(record));
  REQUIRE(record.kind == RecordKind::head);
  CHECK(record.head.run_id == 42);
  CHECK(record.head.scenario_text == from.scenario_text);
  CHECK(record.head.bus_text == from.bus_text);
  CHECK(record.head.descriptors.find("round_trip_ns") != std::string::npos);
  REQUIRE(reader.next(record));
  REQUIRE(record.kind == RecordKind::build);
  CHECK(record.build == BuildInfo{"1.2.3", std::string(64, 'c'), "host  x", 1'700'000'000'000'000'000});
}

TEST_CASE("the same run makes the same bytes, and another build changes its own record only") {
  const auto run = wild_run(5, 500);
  const auto bytes = capture_of(run);
  CHECK((bytes == capture_of(run)));

  auto other = origin();
  other.build = {"9.9.9", "another compiler", "another host", 123456789};
  const auto changed = capture_of(run, other);
  REQUIRE(changed.size() == bytes.size());
  const auto first = std::mismatch(bytes.begin(), bytes.end(), changed.begin()).first - bytes.begin();
  const auto last = std::mismatch(bytes.rbegin(), bytes.rend(), changed.rbegin()).first - bytes.rbegin();
  // The record is 8 + 177 bytes: a header, 2 + 32, 2 + 64, 2 + 64, 1 + 8, by the format's page.
  const auto differing = static_cast<std::ptrdiff_t>(bytes.size()) - last - first;
  CHECK(differing > 0);
  CHECK(differing <= 8 + 177);
}

TEST_CASE("a clean exchange over seventeen hops takes no more than 130 bytes") {
  // Not an outside value: the room that the format's page promises.
  const auto info = ring(16);
  RecordEncoder encoder;
  Listing ignored;
  for (const std::uint64_t number : {0U, 15U, 4'999'999U}) {
    const auto exchange = clean_exchange(info, number, static_cast<Nanos>(number) * 1'382'400'000);
    struct Size final : IgnoringSink {
      RecordEncoder& encoder;
      std::size_t size = 0;
      RecordKind kind{};
      explicit Size(RecordEncoder& e) : encoder(e) {}
      void exchange(const ExchangeObs& obs, const ExchangeTruth* truth) override {
        size = encoder.exchange(obs, truth).size() + fragment_header_bytes;
        kind = encoder.exchange_kind();
      }
    } size(encoder);
    exchange.tell(size);
    CAPTURE(number, size.size);
    CHECK(size.size <= 130);
    CHECK(size.kind == RecordKind::clean_exchange);
  }
}

TEST_CASE("only exchanges with nothing amiss are marked clean") {
  const auto info = ring(3);
  const auto kind = [](const OwnedExchange& exchange) {
    ExchangeObs obs = exchange.fixed;
    obs.attempts = exchange.attempts;
    obs.rows = exchange.rows;
    RecordEncoder encoder;
    (void)encoder.exchange(obs, nullptr);
    return encoder.exchange_kind();
  };
  auto exchange = clean_exchange(info, 1, 0);
  CHECK(kind(exchange) == RecordKind::clean_exchange);
  exchange.rows[2].symptom = Symptom::check;
  CHECK(kind(exchange) == RecordKind::touched_exchange);
  exchange = clean_exchange(info, 1, 0);
  exchange.rows[0].inherited = true;
  CHECK(kind(exchange) == RecordKind::touched_exchange);
  exchange = clean_exchange(info, 1, 0);
  exchange.attempts.push_back({});
  CHECK(kind(exchange) == RecordKind::touched_exchange);
  exchange = clean_exchange(info, 1, 0);
  exchange.fixed.outcome = Outcome::stale;
  CHECK(kind(exchange) == RecordKind::touched_exchange);
}

TEST_CASE("observations come without their causes, and the causes are there for those who ask") {
  const auto run = wild_run(8, 60);
  const auto bytes = capture_of(run);
  struct Truths final : IgnoringSink {
    int with = 0;
    int without = 0;
    void exchange(const ExchangeObs&, const ExchangeTruth* truth) override { ++(truth != nullptr ? with : without); }
  };
  CaptureReader first(std::make_unique<MemorySource>(bytes));
  Truths seen;
  replay_observations(first, seen);
  CHECK(seen.with == 0);
  CHECK(seen.without > 20);
  CaptureReader later(std::make_unique<MemorySource>(bytes));
  Truths known;
  replay(later, known);
  CHECK(known.with > 10);
  CHECK(known.with + known.without == seen.without);
}

TEST_CASE("who wants exchanges before a failure whole is told of each, for a reader does not know what follows") {
  const auto bytes = capture_of(wild_run(8, 60));
  for (const std::uint32_t before : {0U, 1U}) {
    CaptureReader reader(std::make_unique<MemorySource>(bytes));
    Listing seen;
    seen.repeats_below = ~std::uint64_t{0};
    seen.before = before;
    replay_observations(reader, seen);
    const auto repeats = std::count_if(seen.lines.begin(), seen.lines.end(),
                                       [](const std::string& line) { return line.starts_with("again "); });
    CHECK((repeats > 0) == (before == 0));
  }
}

TEST_CASE("the run's identity hangs on scenario, bus and seed") {
  const auto base = run_id_of("ab", "c", 1);
  CHECK(base == run_id_of("ab", "c", 1));
  const std::set<std::uint64_t> others{base, run_id_of("a", "bc", 1), run_id_of("ab", "c", 2), run_id_of("ab", "d", 1),
                                       run_id_of("abc", "", 1)};
  CHECK(others.size() == 5);
}
