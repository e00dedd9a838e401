#include "picture/picture.h"

#include <algorithm>
#include <fstream>
#include <iterator>
#include <utility>
#include <vector>

#include "a_look.h"
#include "measure/sample_run.h"
#include "record/forged.h"
#include "run_to_look_at.h"
#include "support/catch.h"
#include "support/dice.h"

namespace hopbench {
namespace {

void append(const std::string& path, const std::string& bytes) {
  std::ofstream file(path, std::ios::binary | std::ios::app);
  file << bytes;
  REQUIRE(file.flush());
}

/// Starts of the exchanges that had a try that failed, in order.
std::vector<Nanos> failures_in(const std::string& path) {
  std::string why;
  auto reader = open_capture(path, why);
  std::vector<Nanos> starts;
  Record record;
  while (reader->next(record)) {
    if (!record.is_exchange()) continue;
    for (const auto& each : record.exchange.attempts) {
      if (each.outcome == Outcome::answered) continue;
      starts.push_back(record.exchange.fixed.start);
      break;
    }
  }
  return starts;
}

}  // namespace

TEST_CASE("a closer look and the slices tell the same") {
  const looked_at::Recorded folder;
  const auto picture = opened(folder.capture());
  const Nanos span = 30 * second;
  const auto close = picture->columns(0, span, 120);  // nothing has been read yet: from the capture
  read_all(*picture);
  REQUIRE(picture->slices().slice_span() <= span);
  const auto whole = picture->columns(0, span, 120);
  for (std::size_t i = 0; i < 120; ++i) {
    CAPTURE(i);
    CHECK(close[i].read == ReadState::all);
    CHECK(whole[i].read == ReadState::all);
    CHECK(close[i].slice.links == whole[i].slice.links);
    CHECK(close[i].slice.tried == whole[i].slice.tried);
    CHECK(close[i].slice.trips == whole[i].slice.trips);
    CHECK(close[i].slice.exchanges == whole[i].slice.exchanges);
  }
  std::uint64_t failed = 0;
  for (const auto& row : whole) failed += row.slice.tried.failed();
  CHECK(failed > 20);
  CHECK(failed >= failures_in(folder.capture()).size());
}

TEST_CASE(
    "an exchange is found by its number, also where exchanges are told in another order than they were asked in") {
  for (const std::uint64_t together : {1U, 8U, 300U}) {
    Dice dice("told later", together);
    // Asked every 10 ms, and open for up to so many asks.
    std::vector<std::pair<std::uint64_t, std::uint64_t>> closing;
    for (std::uint64_t number = 0; number < 6000; ++number)
      closing.emplace_back(number + dice.up_to(together - 1), number);
    std::sort(closing.begin(), closing.end());
    sample::Run run;
    run.info = sample::ring(3);
    for (const auto& [closes, number] : closing) {
      auto exchange = sample::clean_exchange(run.info, number, static_cast<Nanos>(number) * 10 * millisecond);
      exchange.fixed.closed = static_cast<Nanos>(closes) * 10 * millisecond + 5 * millisecond;
      run.events.emplace_back(std::move(exchange));
    }
    run.until = 70 * second;
    const program::Folder folder;
    const auto bytes = sample::capture_of(run);
    folder.write("c.cap", std::string(bytes.begin(), bytes.end()));
    const auto picture = opened(folder.file("c.cap"));
    std::uint64_t wrong = 0;
    for (std::uint64_t number = 0; number < 6000; number += 61) {
      const auto found = picture->numbered(number);
      if (!found || found->record.fixed.number != number) ++wrong;
    }
    CHECK(wrong == 0);
    CHECK_FALSE(picture->numbered(6000));
  }
}

TEST_CASE("the end is known at once, before anything is read") {
  const looked_at::Recorded folder;
  const auto picture = opened(folder.capture());
  CHECK_FALSE(picture->read_until());
  CHECK(picture->until() == 3600 * second);
  const auto rows = picture->columns(3584 * second, second, 16);
  std::uint32_t exchanges = 0;
  for (const auto& row : rows) exchanges += row.slice.exchanges;
  CHECK(exchanges > 20);
}

TEST_CASE("every failure is come to, forwards and backwards, read or not") {
  const looked_at::Recorded folder;
  const auto expected = failures_in(folder.capture());
  REQUIRE(expected.size() > 20);
  const auto picture = opened(folder.capture());
  const auto ahead = picture->next_failure(-1, false);
  REQUIRE(ahead);
  CHECK(ahead->record.fixed.start == expected.front());
  read_all(*picture);
  Nanos at = -1;
  for (const Nanos start : expected) {
    const auto found = picture->next_failure(at, false);
    REQUIRE(found);
    REQUIRE(found->record.fixed.start == start);
    at = start;
  }
  CHECK_FALSE(picture->next_failure(at, false));
  at = 3600 * second;
  for (auto each = expected.rbegin(); each != expected.rend(); ++each) {
    const auto found = picture->next_failure(at, true);
    REQUIRE(found);
    REQUIRE(found->record.fixed.start == *each);
    at = *each;
  }
  CHECK_FALSE(picture->next_failure(at, true));
}

TEST_CASE("every failure of a hop is come to, also where its frame is in a later slice than its exchange's start") {
  const looked_at::Recorded folder;
  constexpr std::uint16_t link = 3;
  std::vector<std::uint64_t> expected;
  std::string why;
  const auto reader = open_capture(folder.capture(), why);
  Record record;
  while (reader->next(record)) {
    if (!record.is_exchange()) continue;
    const auto& rows = record.exchange.rows;
    const bool here =
        std::any_of(rows.begin(), rows.end(), [](const auto& row) { return row.link == link && row.damaged_here(); });
    if (here) expected.push_back(record.exchange.fixed.number);
  }
  REQUIRE(expected.size() > 50);
  for (const bool by_index : {false, true}) {
    const auto picture = opened(folder.capture());
    CHECK(picture->caught_up() == by_index);
    read_all(*picture);
    for (const bool backwards : {false, true}) {
      CAPTURE(by_index, backwards);
      std::vector<std::uint64_t> seen;
      Nanos at = backwards ? 3600 * second : -1;
      while (const auto found = picture->next_failure(at, backwards, MapPlace{MapPlace::Kind::hop, link})) {
        seen.push_back(found->record.fixed.number);
        at = found->record.fixed.start;
      }
      if (backwards) std::reverse(seen.begin(), seen.end());
      CHECK(seen == expected);
    }
    REQUIRE(picture->keep());
  }
}

TEST_CASE("an exchange is found by its number and by the cell that it is in") {
  const looked_at::Recorded folder;
  const auto picture = opened(folder.capture());
  for (const std::uint64_t number : {0ULL, 1ULL, 777ULL, 5000ULL}) {
    const auto found = picture->numbered(number);
    REQUIRE(found);
    CHECK(found->record.fixed.number == number);
    CHECK(found->truth_known);
  }
  CHECK_FALSE(picture->numbered(10'000'000));
  read_all(*picture);
  const auto failure = picture->next_failure(-1, false);
  REQUIRE(failure);
  for (const auto& row : failure->record.rows) {
    if (row.symptom == Symptom::none || row.inherited) continue;
    const auto found = picture->at(row.start, row.start + 1, MapPlace{MapPlace::Kind::hop, row.link});
    REQUIRE(found);
    CHECK(found->record.fixed.number == failure->record.fixed.number);
  }
  CHECK_FALSE(picture->at(-5 * second, -4 * second, std::nullopt));
}

TEST_CASE("a filter shows what it says and nothing else") {
  const looked_at::Recorded folder;
  const auto picture = opened(folder.capture());
  read_all(*picture);
  const auto all = picture->slices().sum(0, 3600 * second);
  std::string why;
  const auto noisy = Filter::parse("hop 4", picture->run(), why);
  REQUIRE(noisy);
  picture->show(*noisy);
  read_all(*picture);
  const auto sum = picture->slices().sum(0, 3600 * second);
  CHECK(sum.links[3].bad() == all.links[3].bad());
  CHECK(sum.exchanges < all.exchanges / 10);
  CHECK(sum.exchanges > 0);
  picture->show(*Filter::parse("node b2 outcome lost", picture->run(), why));
  read_all(*picture);
  CHECK(picture->slices().sum(0, 3600 * second).tried.failed() > 0);
  const auto only = picture->slices().sum(0, 3600 * second).tried;
  CHECK(only.all() == only.by_outcome[place_of(Outcome::lost)]);
  picture->show(Filter{});
  read_all(*picture);
  CHECK(picture->slices().sum(0, 3600 * second) == all);
  for (const char* bad :
       {"hop", "hop 99", "node nobody", "moon 3", "outcome fine", "symptom bad", "topic nothing", "hop 4 hop 5"}) {
    CHECK_FALSE(Filter::parse(bad, picture->run(), why));
    CHECK_FALSE(why.empty());
  }
  const auto again =
      Filter::parse("hop 4 node a1 topic readings outcome late symptom check failed", picture->run(), why);
  REQUIRE(again);
  CHECK(again->text(picture->run()) == "hop 4 node a1 topic readings outcome late symptom check failed");
}

TEST_CASE("a capture that grows is gone along with, and an index goes on where it was left") {
  const looked_at::Recorded folder;
  const std::string bytes = bytes_of(folder.capture());
  const std::string growing = folder.file("growing.cap");
  append(growing, bytes.substr(0, bytes.size() / 3));
  Nanos before = 0;
  {
    const auto picture = opened(growing);
    read_all(*picture);
    CHECK_FALSE(picture->ended());
    before = picture->until();
    CHECK(before > 600 * second);
    append(growing, bytes.substr(bytes.size() / 3, bytes.size() / 3));
    CHECK(picture->grow(1'000'000) > 100);
    CHECK(picture->until() > before);
    CHECK(picture->keep());
  }
  append(growing, bytes.substr(2 * (bytes.size() / 3)));
  const auto later = opened(growing);
  CHECK(later->read_until().value_or(0) > before);  // from the index
  read_all(*later);
  CHECK(later->ended());
  const auto whole = opened(folder.capture());
  read_all(*whole);
  CHECK(later->slices().sum(0, 3600 * second) == whole->slices().sum(0, 3600 * second));
  const auto& a = later->slices().part(0, 3600 * second).measures;
  const auto& b = whole->slices().part(0, 3600 * second).measures;
  CHECK(a.links == b.links);
  CHECK(a.all == b.all);
  CHECK(later->keep());
  const auto third = opened(growing);
  CHECK(third->caught_up());
  CHECK(third->grow(1000) == 0);
}

TEST_CASE("an index of a capture that was replaced is not believed") {
  const looked_at::Recorded folder;
  const auto first = opened(folder.capture());
  read_all(*first);
  REQUIRE(first->keep());
  std::filesystem::remove(folder.capture());
  REQUIRE(folder.run("run s.txtpb --seed 4 --capture c.cap").exit_code == 0);
  const auto other = opened(folder.capture());
  CHECK_FALSE(other->read_until());
}

TEST_CASE("tallies, thinning and damage are told") {
  const looked_at::Recorded folder("--keep-one-in 0");
  const auto picture = opened(folder.capture());
  read_all(*picture);
  const auto sums = picture->slices().sum(0, 3600 * second);
  CHECK((sums.missing & missing_tallied) != 0);
  const looked_at::Recorded plain;
  const auto whole = opened(plain.capture());
  read_all(*whole);
  const auto all = whole->slices().sum(0, 3600 * second);
  CHECK(sums.exchanges == all.exchanges);
  CHECK(sums.tried.failed() == all.tried.failed());
  for (std::size_t i = 0; i < all.links.size(); ++i) CHECK(sums.links[i].frames() == all.links[i].frames());

  auto bytes = bytes_of(plain.capture());
  for (std::size_t i = bytes.size() / 2; i < bytes.size() / 2 + 200'000 && i < bytes.size(); ++i) bytes[i] = '#';
  append(plain.file("damaged.cap"), bytes);
  const auto damaged = opened(plain.file("damaged.cap"));
  read_all(*damaged);
  CHECK(damaged->damage().in_the_middle());
  CHECK(damaged->slices().sum(0, 3600 * second).exchanges < all.exchanges);
  append(plain.file("torn.cap"), bytes_of(plain.capture()).substr(0, 100'001));
  const auto torn = opened(plain.file("torn.cap"));
  read_all(*torn);
  CHECK_FALSE(torn->ended());
  std::string why;
  bool no_capture = false;
  append(plain.file("no.cap"), "this is no capture");
  CHECK_FALSE(Picture::open(plain.file("no.cap"), "1", why, no_capture));
  CHECK(no_capture);
  CHECK_FALSE(Picture::open(plain.file("missing.cap"), "1", why, no_capture));
  CHECK_FALSE(no_capture);
}

}  // namespace hopbench
