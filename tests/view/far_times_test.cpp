// Times at the ends of the range that a capture may state: the inspector searches and jumps there and back, and comes
// to an end. Under the sanitizers (tools/check) nothing overflows on the way.
#include "cli/program.h"
#include "measure/sample_run.h"
#include "record/forged.h"
#include "support/catch.h"
#include "view/inspector.h"

namespace hopbench {
namespace {

sample::Run run_at(const std::vector<Nanos>& starts) {
  auto run = sample::Run{};
  run.info = sample::ring(3);
  std::uint64_t number = 0;
  for (const Nanos start : starts) {
    auto exchange = sample::clean_exchange(run.info, number++, start);
    exchange.fixed.outcome = Outcome::lost;
    for (auto& attempt : exchange.attempts) attempt.outcome = Outcome::lost;
    run.events.emplace_back(std::move(exchange));
  }
  run.until = farthest_instant;
  return run;
}

}  // namespace

TEST_CASE("the inspector finds failures at both ends of the time that a capture may state") {
  const std::vector<Nanos> every{-farthest_instant,
                                 -farthest_instant + 1,
                                 -farthest_instant + second,
                                 -1,
                                 0,
                                 1,
                                 farthest_instant - 20 * second,
                                 farthest_instant - 10 * second};
  const program::Folder folder;
  for (std::size_t from = 0; from < every.size(); ++from) {
    for (std::size_t to = from + 1; to <= every.size(); ++to) {
      const std::vector<Nanos> starts(every.begin() + static_cast<std::ptrdiff_t>(from),
                                      every.begin() + static_cast<std::ptrdiff_t>(to));
      CAPTURE(from, to);
      const auto bytes = sample::capture_of(run_at(starts));
      folder.write("f.cap", std::string(bytes.begin(), bytes.end()));
      std::string why;
      bool no_capture = false;
      const auto picture = Picture::open(folder.file("f.cap"), std::nullopt, why, no_capture);
      REQUIRE(picture);
      Inspector inspector(*picture, nullptr, {}, false);
      inspector.resize(100, 30);
      while (picture->grow(1000) > 0) inspector.grown();
      const auto press = [&](Key key, char32_t letter = 0) {
        inspector.press({key, letter});
        return inspector.compose();
      };
      std::size_t found = 0;
      for (auto next = picture->next_failure(picture->from() - 1, false); next && found <= starts.size(); ++found) {
        CHECK(next->record.fixed.start == starts[found]);
        next = picture->next_failure(next->record.fixed.start, false);
      }
      CHECK(found == starts.size());
      for (const char32_t zoom : U"o+-") {
        for (const Key end : {Key::home, Key::end}) {
          press(end);
          for (int i = 0; i < 60 && zoom != 0; ++i) press(Key::character, zoom);
          for (std::size_t i = 0; i <= starts.size(); ++i) press(Key::character, U'n');
          for (std::size_t i = 0; i <= starts.size(); ++i) press(Key::character, U'N');
          for (const Key key : {Key::up, Key::page_up, Key::page_up, Key::down, Key::page_down, Key::page_down,
                                Key::enter, Key::escape, Key::end, Key::page_down, Key::home, Key::page_up}) {
            press(key);
          }
          for (const char32_t key : U"HLdDszv") press(Key::character, key == 0 ? U'q' : key);
        }
      }
    }
  }
}

}  // namespace hopbench
