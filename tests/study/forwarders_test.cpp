// Whatever stands between a run and a listener has to hand on every kind of record, in order.
#include <filesystem>
#include <fstream>
#include <regex>
#include <sstream>

#include "../record/capture_tools.h"
#include "books/tap.h"
#include "measure/fan_out.h"
#include "measure/thinner.h"
#include "record/capture_copy.h"
#include "record/from_head.h"
#include "study/observed.h"
#include "study/sight.h"
#include "support/catch.h"
#include "support/every_kind.h"

namespace hopbench {
namespace {

using sample::Listing;
using Lines = std::vector<std::string>;
using Use = std::function<void(Sink&)>;

struct Forwarder {
  std::string name;
  std::function<void(Sink& out, const Use& use)> through;  // lets `use` tell something before it, and `out` hear
};

void through_capture(Sink& out, const Use& use) {
  sample::MemoryFile file;
  {
    CaptureWriter writer(file, "memory", sample::origin(), sample::still_plan());
    use(writer);
  }
  CaptureReader reader(std::make_unique<MemorySource>(file.bytes));
  replay(reader, out);
}

void through_copy(Sink& out, const Use& use) {
  const std::filesystem::path folder = std::filesystem::temp_directory_path() / "hopbench-forwarders";
  std::filesystem::remove_all(folder);
  std::filesystem::create_directories(folder);
  const std::string path = folder / "copy.hbcap";
  Opening opening;
  opening.head.run = run_of_every_kind();
  RecordEncoder encoder;
  const auto head = encoder.head(opening.head);
  opening.head_bytes.assign(head.begin(), head.end());
  CaptureCopy copy(path, opening);
  use(copy);
  REQUIRE(copy.place() == 0);
  std::string why;
  const auto reader = open_capture(path, why);
  REQUIRE(reader);
  replay(*reader, out);
}

const std::vector<Forwarder>& forwarders() {
  static const std::vector<Forwarder> all{
      {"Tap",
       [](Sink& out, const Use& use) {
         Tap tap(out);
         use(tap);
       }},
      {"FanOut, the only one",
       [](Sink& out, const Use& use) {
         FanOut fan{&out};
         use(fan);
       }},
      {"FanOut, the last of three",
       [](Sink& out, const Use& use) {
         Listing one;
         Listing two;
         one.repeats_below = two.repeats_below = ~std::uint64_t{0};
         FanOut fan{&one, &two};
         fan.add(out);
         use(fan);
       }},
      {"Thinner that holds nothing",
       [](Sink& out, const Use& use) {
         Thinner thinner(out, 0, 0);
         use(thinner);
       }},
      {"Thinner that holds what may come before a failure",
       [](Sink& out, const Use& use) {
         Thinner thinner(out, 0, 5);
         use(thinner);
       }},
      {"FromHead",
       [](Sink& out, const Use& use) {
         FromHead head(out);
         use(head);
       }},
      {"CaptureWriter and back", through_capture},
      {"CaptureCopy and back", through_copy},
  };
  return all;
}

/// begin, what `middle` tells, end.
Use framed(Use middle) {
  return [middle = std::move(middle)](Sink& sink) {
    every_kind().front().tell(sink);
    middle(sink);
    every_kind().back().tell(sink);
  };
}

Lines heard_of(const Use& tell) {
  Listing direct;
  direct.repeats_below = ~std::uint64_t{0};
  tell(direct);
  return direct.lines;
}

Lines heard_through(const Forwarder& forwarder, const Use& tell) {
  Listing out;
  out.repeats_below = ~std::uint64_t{0};
  forwarder.through(out, tell);
  return out.lines;
}

/// As Listing, of what an observer is told; the kind only.
class Kinds final : public Observer {
 public:
  Lines kinds;
  void begin(const RunInfo&) override { kinds.emplace_back("begin"); }
  void exchange(const ExchangeObs&) override { kinds.emplace_back("exchange"); }
  void stray(const Stray&) override { kinds.emplace_back("stray"); }
  void arrival(const Arrival&) override { kinds.emplace_back("arrival"); }
  void tally(const Tally&) override { kinds.emplace_back("tally"); }
  void conditions(const ConditionValues& told) override {
    if (!told.as_told) kinds.emplace_back("state");
  }
  void gap(const Gap&) override { kinds.emplace_back("gap"); }
  void dropped(const Dropped&) override { kinds.emplace_back("dropped"); }
  void command(const Remark&) override { kinds.emplace_back("command"); }
  void note(const Remark&) override { kinds.emplace_back("note"); }
  void end(Nanos) override { kinds.emplace_back("end"); }
};

}  // namespace

TEST_CASE("the list of kinds is that of Sink, and each of them is told as what it is") {
  std::ifstream file(std::string(HOPBENCH_SOURCE_DIR) + "/src/seen/observation.h");
  REQUIRE(file);
  std::stringstream text;
  text << file.rdbuf();
  std::string sink = text.str();
  const auto from = sink.find("\nclass Sink {");
  REQUIRE(from != std::string::npos);
  sink = sink.substr(from, sink.find("\n};", from) - from);
  Lines declared;
  const std::regex kind(R"(virtual void (\w+)\()");
  for (std::sregex_iterator each(sink.begin(), sink.end(), kind); each != std::sregex_iterator(); ++each) {
    declared.push_back((*each)[1]);
  }
  Lines listed;
  for (const auto& each : every_kind()) {
    listed.push_back(each.kind);
    const auto lines = heard_of(each.tell);
    REQUIRE(lines.size() == 1);
    CHECK(lines.front().starts_with(each.kind + " "));
  }
  CHECK(listed == declared);
}

TEST_CASE("every kind of record gets through every forwarder") {
  for (const auto& forwarder : forwarders()) {
    for (const auto& each : every_kind()) {
      if (each.kind == "begin" || each.kind == "end") continue;  // they are around each of the others
      INFO(each.kind << " through " << forwarder.name);
      if (each.kind != "again") {
        CHECK(heard_through(forwarder, framed(each.tell)) == heard_of(framed(each.tell)));
        continue;
      }
      // Who wants every exchange whole says so, and is never told of repeats. A thinner makes a tally of them.
      std::uint64_t from = 0;
      (void)heard_through(forwarder, framed([&](Sink& sink) { from = sink.whole_from(); }));
      if (from == 0) continue;
      const auto lines = heard_through(forwarder, framed(each.tell));
      REQUIRE(lines.size() == 3);
      if (forwarder.name.starts_with("Thinner")) {
        CHECK(lines[1].starts_with("tally 200 240 1 8 8 "));
      } else {
        CHECK(lines == heard_of(framed(each.tell)));
      }
    }
  }
}

TEST_CASE("forwarders keep the order, also of what they hold back") {
  for (const auto& forwarder : forwarders()) {
    for (const auto& each : every_kind()) {
      // What was summed up before is told as a sum: of that the test of measures tells.
      if (each.kind == "begin" || each.kind == "end" || each.kind == "again" || each.kind == "tally") continue;
      INFO(each.kind << " through " << forwarder.name);
      const bool holds_nothing = forwarder.name == "Thinner that holds nothing";
      const Use tell = framed([&](Sink& sink) {
        holds_nothing ? tell_failure(sink, 5) : tell_healthy(sink, 5);
        each.tell(sink);
        tell_failure(sink, 6);
      });
      CHECK(heard_through(forwarder, tell) == heard_of(tell));
    }
  }
}

TEST_CASE("repeats that a tap has gathered come before whatever is told next") {
  const std::vector<ExchangeObs> models(1);
  for (const auto& each : every_kind()) {
    INFO(each.kind);
    Listing out;
    out.repeats_below = ~std::uint64_t{0};
    Tap tap(out);
    tap.start_copying();
    tap.add(models, {0, 1, 1, 100, -1});
    CHECK(out.lines.empty());
    each.tell(tap);
    REQUIRE(out.lines.size() == 2);
    CHECK(out.lines[0] == "again 0 1 1 100 -1");
    CHECK(out.lines[1] == heard_of(each.tell).front());
    // Nothing but one exchange is a recording.
    CHECK((tap.copy().exchanges == 1) == (each.kind == "exchange"));
    CHECK((tap.copy().others == 0) == (each.kind == "exchange"));
  }
}

TEST_CASE("no forwarder lets repeats by that its listener wants whole") {
  for (const auto& forwarder : forwarders()) {
    INFO(forwarder.name);
    Listing out;
    out.repeats_below = 5;
    std::uint64_t from = ~std::uint64_t{0};
    forwarder.through(out, framed([&](Sink& sink) { from = sink.whole_from(); }));
    if (!forwarder.name.starts_with("Thinner")) CHECK(from <= 5);  // that makes tallies of them
  }
  // Who tells of them all the same is stopped.
  Kinds kinds;
  Observed door(kinds);
  CHECK(door.whole_from() == 0);
  CHECK_THROWS_AS(tell_repeat(door), std::logic_error);
}

TEST_CASE("every forwarder wants as many whole before a failure as its listener, but one that makes tallies") {
  for (const auto& forwarder : forwarders()) {
    INFO(forwarder.name);
    Listing out;
    out.repeats_below = ~std::uint64_t{0};
    out.before = 7;
    std::uint64_t from = 1;
    std::uint32_t before = 0;
    forwarder.through(out, framed([&](Sink& sink) {
                        from = sink.whole_from();
                        before = sink.whole_before();
                      }));
    if (from == 0) continue;  // every exchange
    if (forwarder.name.starts_with("Thinner")) {
      CHECK(before == (forwarder.name.ends_with("nothing") ? 0 : 5));
    } else {
      CHECK(before == 7);
    }
  }
}

TEST_CASE("before a head nothing gets through that needs one") {
  for (const auto& each : every_kind()) {
    INFO(each.kind);
    Listing out;
    FromHead head(out);
    each.tell(head);
    CHECK(out.lines.empty() == (each.kind != "begin"));
    CHECK(head.seen() == (each.kind == "begin"));
  }
}

TEST_CASE("every kind of record gets to observers, also past what a controller cannot know") {
  for (const auto& each : every_kind()) {
    if (each.kind == "begin" || each.kind == "end" || each.kind == "again") continue;
    INFO(each.kind);
    Kinds direct;
    Observed door(direct);
    framed(each.tell)(door);
    CHECK(direct.kinds == Lines{"begin", each.kind, "end"});
    Kinds shut;
    AtController at_controller(shut, nullptr);
    Observed other_door(at_controller);
    framed(each.tell)(other_door);
    // What a simulation states is not told to a controller.
    CHECK(shut.kinds == (each.kind == "state" ? Lines{"begin", "end"} : direct.kinds));
    Kinds open;
    AsTold as_taken(open, nullptr, TakeTold::on_real_chain);
    Observed third_door(as_taken);
    framed(each.tell)(third_door);
    CHECK(open.kinds == direct.kinds);
  }
}

}  // namespace hopbench
