// What is taken down is put back, and nothing else is.
#include "base/archive.h"

#include <array>
#include <deque>
#include <string>

#include "support/catch.h"
#include "support/dice.h"

namespace hopbench {
namespace {

struct Part {
  std::int32_t small = 0;
  std::optional<std::uint64_t> perhaps;
  friend bool operator==(const Part&, const Part&) = default;
};

struct Whole {
  std::int64_t number = 0;
  std::uint8_t byte = 0;
  bool flag = false;
  Nanos at = 0;
  Nanos end = never;
  std::deque<Part> parts;
  std::array<std::int64_t, 3> fixed{};
  friend bool operator==(const Whole&, const Whole&) = default;

  void keep(Archive& archive) {
    archive.number("number", number);
    archive.number("byte", byte, std::uint8_t{1}, std::uint8_t{200});
    archive.flag("flag", flag);
    archive.span("at", at);
    archive.span_or_never("end", end);
    archive.list("part", parts, [&](Part& part) {
      archive.number("small", part.small);
      archive.maybe("perhaps", part.perhaps, [&](std::uint64_t& value) { archive.number("value", value); });
    });
    archive.all("fixed", fixed, [&](std::int64_t& each) { archive.number("each", each, std::int64_t{-9}); });
    archive.end();
  }
};

Whole some_whole(Dice& dice) {
  Whole whole;
  const auto bits = [&] { return static_cast<std::int64_t>(dice.up_to(~std::uint64_t{0} - 1) >> dice.up_to(63)); };
  whole.number = dice.one_in(2) ? -bits() : bits();
  whole.byte = static_cast<std::uint8_t>(dice.between(1, 200));
  whole.flag = dice.one_in(2);
  whole.at = dice.between(-Archive::longest, Archive::longest);
  if (dice.one_in(2)) whole.end = dice.between(-1, 1'000'000);
  for (std::uint64_t i = dice.up_to(4); i > 0; --i) {
    Part part{static_cast<std::int32_t>(bits() >> 32), {}};
    if (dice.one_in(2)) part.perhaps = static_cast<std::uint64_t>(bits());
    whole.parts.push_back(part);
  }
  for (std::int64_t& each : whole.fixed) each = dice.between(-9, 1'000);
  return whole;
}

std::vector<std::uint8_t> taken_down(Whole whole) {
  Archive archive;
  whole.keep(archive);
  REQUIRE(archive.good());
  return archive.bytes();
}

std::string put_back(const std::vector<std::uint8_t>& bytes, Whole& whole) {
  Archive archive(bytes);
  whole.keep(archive);
  return archive.why();
}

}  // namespace

TEST_CASE("what is taken down is put back") {
  Dice dice("archive", 1);
  for (int i = 0; i < 2000; ++i) {
    const Whole before = some_whole(dice);
    Whole after = some_whole(dice);  // of which nothing is left
    REQUIRE(put_back(taken_down(before), after) == "");
    REQUIRE(after == before);
  }
}

TEST_CASE("bytes that are cut, longer, or changed are refused or put back as something that may be taken down") {
  Dice dice("archive", 2);
  for (int i = 0; i < 2000; ++i) {
    const std::vector<std::uint8_t> bytes = taken_down(some_whole(dice));
    Whole whole;
    std::vector<std::uint8_t> other(bytes.begin(),
                                    bytes.end() - 1 - static_cast<std::ptrdiff_t>(dice.up_to(bytes.size() - 1)));
    REQUIRE(put_back(other, whole) != "");
    other = bytes;
    other.push_back(0);
    REQUIRE(put_back(other, whole) == "end: more bytes than state");
    other = bytes;
    other[dice.up_to(bytes.size() - 1)] ^= static_cast<std::uint8_t>(1U << dice.up_to(7));
    if (put_back(other, whole).empty()) REQUIRE(taken_down(whole) == other);
  }
}

TEST_CASE("a reason for refusing says where") {
  Whole whole;
  whole.byte = 1;
  whole.parts.resize(2);
  std::vector<std::uint8_t> bytes = taken_down(whole);
  Whole back;
  bytes[1] = 0;
  CHECK(put_back(bytes, back) == "byte: out of range");
  bytes[1] = 1;
  bytes[2] = 2;
  CHECK(put_back(bytes, back) == "flag: out of range");
  bytes[2] = 0;
  CHECK(put_back(bytes, back) == "");
  bytes.resize(9);  // number, byte, flag, at, end, size; the first part; the second without its last
  CHECK(put_back(bytes, back) == "part 2: perhaps: the bytes end here, or are no number");
}

TEST_CASE("no list is longer than what is left of the bytes") {
  const std::vector<std::uint8_t> bytes{0xff, 0xff, 0xff, 0xff, 0x0f, 1, 2, 3};
  Archive bounded(bytes);
  std::vector<std::uint64_t> values;
  bounded.list("values", values, [&](std::uint64_t& value) { bounded.number("value", value); });
  CHECK(bounded.why() == "values: out of range");
  CHECK(values.empty());
}

TEST_CASE("bytes with other names in them are of another version") {
  std::int64_t value = 5;
  Archive before;
  before.number("a name", value);
  before.end();
  const auto put_back_as = [&](const char* name) {
    Archive after(before.bytes());
    after.number(name, value);
    after.end();
    return after.why();
  };
  CHECK(put_back_as("a name") == "");
  CHECK(put_back_as("another") == "end: the state was taken down by another version");
}

TEST_CASE("what could not be put back is not taken down") {
  Whole whole;  // its byte is 0
  Archive archive;
  whole.keep(archive);
  CHECK(archive.why() == "byte: out of range");
}

}  // namespace hopbench
