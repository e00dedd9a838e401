// The inspector on captures whose check values are good and whose values are not. Under the sanitizers (tools/check)
// this says that nothing is indexed with, shifted by or added to what a file holds without a look at it.
#include <boost/json/parse.hpp>
#include <fstream>

#include "cli/program.h"
#include "measure/sample_run.h"
#include "record/forged.h"
#include "support/catch.h"
#include "view/inspector.h"
#include "view/selection_json.h"

namespace hopbench {
namespace {

int captures_wanted() {
  const char* asked = std::getenv("HOPBENCH_FORGED");
  return asked == nullptr ? 120 : std::atoi(asked);
}

/// Every page, and keys at random.
void press_keys(Inspector& inspector, sample::Dice& dice) {
  static constexpr Key keys[] = {Key::left, Key::right, Key::up,     Key::down,  Key::page_up, Key::page_down,
                                 Key::home, Key::end,   Key::escape, Key::enter, Key::tab};
  const std::u32string letters = U"nNo+-v=fghjklHLdDszi12t/[] ?";
  inspector.resize(80 + static_cast<int>(dice.below(100)), 24 + static_cast<int>(dice.below(30)));
  for (int i = 0; i < 40; ++i) {
    if (dice.chance(9)) {
      inspector.press({Key::click, 0, static_cast<int>(dice.below(100)), static_cast<int>(dice.below(30))});
    } else if (dice.chance(2)) {
      inspector.press({keys[dice.below(std::size(keys))], 0});
    } else {
      inspector.press({Key::character, letters[dice.below(letters.size())]});
    }
    (void)inspector.compose();
  }
}

}  // namespace

TEST_CASE("the inspector takes any capture whose records are well formed") {
  const program::Folder folder;
  int opened = 0;
  for (int i = 0; i < captures_wanted(); ++i) {
    const auto seed = static_cast<std::uint64_t>(i);
    CAPTURE(seed);
    const auto run = sample::full_run(seed, 60);
    const auto bytes = sample::forged(sample::capture_of(run), seed, 1 + seed % 9);
    folder.write("f.cap", std::string(bytes.begin(), bytes.end()));
    sample::Dice dice(seed);
    for (const bool again : {false, true}) {
      std::string why;
      bool no_capture = false;
      const auto picture = Picture::open(folder.file("f.cap"), "1", why, no_capture);
      if (!picture) break;
      ++opened;
      Inspector inspector(*picture, nullptr, {}, false);
      press_keys(inspector, dice);
      while (picture->grow(1000) > 0) inspector.grown();
      press_keys(inspector, dice);
      const auto columns = picture->columns(slot_of(picture->from(), second) * second, second, 20);
      boost::system::error_code error;
      boost::json::parse(map_json(*picture, 0, second, columns), error);
      CHECK_FALSE(error);
      if (const auto found = picture->next_failure(picture->from() - 1, false)) {
        const JourneyScene scene{&picture->run(), nullptr, &*found, {}, 0, 0, "", nullptr, "CRC"};
        CHECK_FALSE(journey_report(scene).empty());
        boost::json::parse(journey_json(scene), error);
        CHECK_FALSE(error);
      }
      if (!again) CHECK(picture->keep());
    }
    std::filesystem::remove(folder.file("f.cap.slices"));
  }
  CHECK(opened > captures_wanted());
}

TEST_CASE("values of a later version are said where they are seen") {
  auto run = sample::Run{};
  run.info = sample::ring(3);
  for (std::uint64_t i = 0; i < 10; ++i) {
    run.events.emplace_back(sample::clean_exchange(run.info, i, static_cast<Nanos>(i) * second));
  }
  auto& strange = std::get<sample::OwnedExchange>(run.events[4]);
  strange.fixed.outcome = static_cast<Outcome>(57);
  strange.attempts.front().outcome = static_cast<Outcome>(58);
  strange.rows[1].symptom = static_cast<Symptom>(59);
  strange.attempt_truth.front().cause = static_cast<Cause>(60);
  run.until = 10 * second;
  const program::Folder folder;
  const auto bytes = sample::capture_of(run);
  folder.write("f.cap", std::string(bytes.begin(), bytes.end()));
  std::string why;
  bool no_capture = false;
  const auto picture = Picture::open(folder.file("f.cap"), "1", why, no_capture);
  REQUIRE(picture);
  while (picture->grow(1000) > 0) {
  }
  const auto slice = picture->slices().sum(4 * second, 5 * second);
  CHECK(seen_words(slice.links[1], "CRC") == "unknown symptom 1");
  CHECK(slice.tried.by_outcome[outcome_count] == 1);
  const auto found = picture->numbered(4);
  REQUIRE(found);
  std::string text;
  for (const auto& line : journey_details({&picture->run(), nullptr, &*found, {}, 0, 0, "", nullptr, "CRC"}))
    text += line + "\n";
  CHECK(text.find("unknown (57)") != std::string::npos);
  CHECK(text.find("unknown (58)") != std::string::npos);
  CHECK(text.find("unknown (59) on hop 2") != std::string::npos);
  CHECK(text.find("unknown (60)") != std::string::npos);
}

}  // namespace hopbench
