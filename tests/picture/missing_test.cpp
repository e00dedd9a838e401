// What is missing in a capture: shown as missing at every look, with an index or without, and nothing is known of what
// held in it.
#include <fstream>
#include <iterator>
#include <map>

#include "a_look.h"
#include "measure/sample_run.h"
#include "picture/picture.h"
#include "run_to_look_at.h"
#include "support/catch.h"

namespace hopbench {
namespace {

/// What a capture tells, read from its start by nothing but the reader.
struct Told {
  std::map<std::uint64_t, Nanos> starts;  // of exchanges, by number
  struct Change {
    Nanos from = 0;
    Nanos to = 0;
    bool known = false;
  };
  std::vector<Change> changes;  // states, and holes, in order

  explicit Told(const std::string& path) {
    std::string why;
    const auto reader = open_capture(path, why);
    REQUIRE(reader);
    Record record;
    while (reader->next(record)) {
      if (record.is_exchange()) starts[record.exchange.fixed.number] = record.exchange.fixed.start;
      if (record.kind == RecordKind::state) changes.push_back({record.state.fixed.at, record.state.fixed.at, true});
      if (record.kind == RecordKind::dropped || record.kind == RecordKind::hole) {
        changes.push_back({record.dropped.from, record.dropped.to, false});
      }
    }
  }
  /// Whether anything can be known of what held in [from, to).
  [[nodiscard]] bool may_be_known(Nanos from, Nanos to) const {
    bool known = false;
    for (const auto& change : changes) {
      if (change.from >= to) break;
      if (change.from >= from && (change.known || known)) return true;  // until then, or from then on
      known = change.known;
    }
    return known;
  }
};

/// Holds every row of the window against what is there, and what ought to be.
void check_rows(Picture& picture, const Told& told, const Told& whole, Nanos from, Nanos span, std::size_t count) {
  const auto rows = picture.columns(from, span, count);
  std::vector<std::uint64_t> missing(count, 0);
  for (const auto& [number, start] : whole.starts) {
    if (told.starts.contains(number) || start < from || start >= from + span * static_cast<Nanos>(count)) continue;
    ++missing[static_cast<std::size_t>((start - from) / span)];
  }
  for (std::size_t i = 0; i < count; ++i) {
    const Nanos start = from + span * static_cast<Nanos>(i);
    CAPTURE(start, span, missing[i]);
    if (missing[i] > 0 && start + span < picture.until()) CHECK((rows[i].slice.missing & missing_hole) != 0);
    if (rows[i].slice.known) CHECK(told.may_be_known(start, start + span));
  }
}

}  // namespace

TEST_CASE("damage is told at every look, and what is missing is never shown as nothing") {
  const looked_at::Recorded folder;
  const Told whole(folder.capture());
  const std::string bytes = bytes_of(folder.capture());
  sample::Dice dice(5);
  for (int i = 0; i < 12; ++i) {
    CAPTURE(i);
    const std::string name = "damaged" + std::to_string(i) + ".cap";
    auto damaged = bytes;
    for (std::uint64_t n = 1 + dice.below(3); n > 0; --n) {
      const auto at = 30'000 + dice.below(damaged.size() - 30'000);
      const auto size = std::min<std::size_t>(dice.chance(3) ? 1 : dice.below(300'000), damaged.size() - at);
      for (std::size_t k = at; k < at + size; ++k) damaged[k] = static_cast<char>(damaged[k] ^ 0x55);
    }
    folder.write(name, damaged);
    const Told told(folder.file(name));
    const auto first = opened(folder.file(name));
    // Before anything is read, from the capture alone.
    for (const Nanos span : {50 * millisecond, second, 10 * second}) {
      const Nanos from = slot_of(static_cast<Nanos>(dice.below(3600)) * second, span) * span;
      check_rows(*first, told, whole, from, span, 30);
    }
    // Left in the middle, and gone on with.
    first->grow(3000 + dice.below(12'000));
    REQUIRE(first->keep());
    const auto second_look = opened(folder.file(name));
    read_all(*first, 777);
    read_all(*second_look, 777);
    check_equal(*first, *second_look);
    REQUIRE(second_look->keep());
    const auto third = opened(folder.file(name));
    if (third->ended()) CHECK(third->caught_up());
    read_all(*third, 777);
    check_equal(*first, *third);
    CHECK(third->damage().in_the_middle() ==
          (told.starts.size() < whole.starts.size() || first->damage().in_the_middle()));
    // Only some of it, and all of it again.
    std::string why;
    third->show(*Filter::parse("hop 4", third->run(), why));
    third->grow(500);
    third->show(Filter{});
    read_all(*third, 777);
    check_equal(*first, *third);
    for (const Nanos span : {50 * millisecond, second, 10 * second, 2 * one_minute}) {
      for (int n = 0; n < 4; ++n) {
        const Nanos from = slot_of(static_cast<Nanos>(dice.below(3600)) * second, span) * span;
        check_rows(*third, told, whole, from, span, 30);
      }
    }
  }
}

TEST_CASE("nothing is known of a hole between two cuts that were joined, from near or from afar") {
  const looked_at::Recorded folder;
  REQUIRE(folder.run("capture cut c.cap a.cap --to 12min").exit_code == 0);
  REQUIRE(folder.run("capture cut c.cap b.cap --from 37min").exit_code == 0);
  REQUIRE(folder.run("capture join j.cap a.cap b.cap").exit_code == 4);
  const Told whole(folder.capture());
  const Told told(folder.file("j.cap"));
  const auto picture = opened(folder.file("j.cap"));
  for (const bool read : {false, true}) {
    if (read) read_all(*picture, 777);
    for (const Nanos span : {50 * millisecond, second, 10 * second, 2 * one_minute}) {
      for (const Nanos at : {12 * 60, 20 * 60, 30 * 60, 37 * 60}) {
        const Nanos from = (slot_of(at * second, span) - 10) * span;
        check_rows(*picture, told, whole, from, span, 20);
      }
    }
    // And of no node there, though their states before it are known.
    CHECK(picture->part(20 * 60 * second, 21 * 60 * second).nodes.empty());
    CHECK(picture->part(20 * 60 * second, 20 * 60 * second + 100 * millisecond).nodes.empty());
    if (read) CHECK_FALSE(picture->part(5 * 60 * second, 5 * 60 * second + 100 * millisecond).nodes.empty());
  }
  const auto hole = picture->slices().sum(20 * 60 * second, 25 * 60 * second);
  CHECK_FALSE(hole.known);
  CHECK((hole.missing & missing_hole) != 0);
  CHECK(hole.exchanges == 0);
}

TEST_CASE("a filter that is taken away again gives back at once what was read") {
  const looked_at::Recorded folder;
  const auto picture = opened(folder.capture());
  read_all(*picture, 777);
  const auto all = picture->slices().sum(0, 3600 * second);
  std::string why;
  picture->show(*Filter::parse("hop 4", picture->run(), why));
  picture->grow(100);
  picture->show(*Filter::parse("node b2", picture->run(), why));
  CHECK_FALSE(picture->caught_up());
  picture->show(Filter{});
  CHECK(picture->caught_up());
  CHECK(picture->slices().sum(0, 3600 * second) == all);
  // And what was read is kept on leaving, filter or not.
  picture->show(*Filter::parse("hop 4", picture->run(), why));
  CHECK(picture->keep());
  CHECK(opened(folder.capture())->caught_up());
}

}  // namespace hopbench
