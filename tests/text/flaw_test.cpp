// A kind's design mistake in a scenario's text: read as it stands, refused where the bus or the kind cannot have it.
#include <string>

#include "support/catch.h"
#include "text/bench.h"

namespace hopbench {
namespace {

/// The good scenario with a kind like this, on another bus if one is named.
std::string with_kind(const std::string& kind, const std::string& bus = "bench-frame") {
  std::string text = bench::spoilt("kind { name: \"single\" }", "kind { name: \"single\" " + kind + " }");
  if (bus == "bench-frame") return text;
  const auto replace = [&](const std::string& what, const std::string& by) {
    text.replace(text.find(what), what.size(), by);
  };
  replace("bench-frame", bus);
  if (bus == "modbus-rtu") {
    replace("topic: \"nameplate\"",
            "topic: \"read_holding\" with { field: \"first\" value: 0 } with { field: \"count\" value: 1 }");
  } else {
    replace("topic: \"nameplate\"", "topic: \"board\"");
  }
  return text;
}

FlawSpec read(const std::string& flaw, const std::string& rest = "") {
  return bench::load_good(with_kind(rest + " flaw { " + flaw + " }")).chain.kinds.at(0).flaw;
}

/// The one line that is told of it, place and all; the place is that of the value.
void refused(const std::string& what, const std::string& flaw, const std::string& rest = "",
             const std::string& bus = "bench-frame") {
  INFO(flaw << " on " << bus);
  const std::string text = with_kind(rest + " flaw { " + flaw + " }", bus);
  const bench::Loaded loaded = bench::load(text);
  CHECK(has_errors(loaded.problems));
  REQUIRE(loaded.problems.size() == 1);
  const std::size_t line = text.find("kind { name");
  const std::size_t value = flaw.empty() ? text.find("flaw {") : text.find(flaw) + flaw.find(' ') + 1;
  const std::string place = "s.txtpb:3:" + std::to_string(value - line + 1) + ": ";
  CHECK(loaded.shown.substr(0, loaded.shown.find('\n')) == place + what);
}

}  // namespace

TEST_CASE("each design mistake arrives as stated", "[flaw]") {
  CHECK(read("answers_broadcast: true") == FlawSpec{Flaw::answers_broadcast, {}, 0, 0});
  CHECK(read("forgets_topic: \"readings\"") == FlawSpec{Flaw::forgets_topic, "readings", 0, 0});
  CHECK(read("repeats_number: true") == FlawSpec{Flaw::repeats_number, {}, 0, 0});
  CHECK(read("number_bits: 15") == FlawSpec{Flaw::number_bits, {}, 15, 0});
  CHECK(read("address_bits: 7") == FlawSpec{Flaw::address_bits, {}, 7, 0});
  CHECK(read("stale_snapshot: true") == FlawSpec{Flaw::stale_snapshot, {}, 0, 0});
  CHECK(read("rewrites_field: \"revision\"") == FlawSpec{Flaw::rewrites_field, "revision", 0, 0});
  CHECK(read("remakes_checks: true") == FlawSpec{Flaw::remakes_checks, {}, 0, 0});
  CHECK(read("acts_again_after: \"5s\"") == FlawSpec{Flaw::acts_again_after, {}, 0, 5 * second});
  CHECK(read("cells_off_by_one: true", "cells: 2") == FlawSpec{Flaw::cells_off_by_one, {}, 0, 0});
  CHECK(read("counts_one_more: true") == FlawSpec{Flaw::counts_one_more, {}, 0, 0});
  CHECK(read("answers_unknown_topic: true", "topics: \"nameplate\"") ==
        FlawSpec{Flaw::answers_unknown_topic, {}, 0, 0});
  CHECK(read("hangs_above_bytes: 171") == FlawSpec{Flaw::hangs_above_bytes, {}, 171, 0});
  CHECK(bench::load_good(with_kind("")).chain.kinds.at(0).flaw == FlawSpec{});
}

TEST_CASE("a design mistake that a bus cannot have is refused in one line", "[flaw]") {
  const std::string modbus = "modbus-rtu";
  refused("repeats_number cannot be: the bus modbus-rtu has no exchange number", "repeats_number: true", "", modbus);
  refused("number_bits cannot be: the bus modbus-rtu has no exchange number", "number_bits: 8", "", modbus);
  refused("number_bits must be 1 to 15: \"exchange\" of the bus bench-frame has 16 bits", "number_bits: 16");
  refused("number_bits must be 1 to 15: \"exchange\" of the bus bench-frame has 16 bits", "number_bits: 0");
  refused("address_bits must be 1 to 7: \"to\" of the bus bench-frame has 8 bits", "address_bits: 8");
  refused(
      "rewrites_field cannot be: the bus modbus-rtu has no header field in which others may send another value "
      "(sent_only)",
      "rewrites_field: \"function\"", "", modbus);
  refused("in \"role\" nobody may send another value; \"revision\" is one in which others may",
          "rewrites_field: \"role\"");
  refused("the bus bench-frame has no header field \"revisoin\"; did you mean revision?",
          "rewrites_field: \"revisoin\"");
  refused("the bus bench-frame has no topic \"reading\"; did you mean readings?", "forgets_topic: \"reading\"");
  refused("counts_one_more cannot be: the bus old-style has no answer that tells the number of cells",
          "counts_one_more: true", "", "old-style");
  refused("hangs_above_bytes must be 1 to 171: no frame of the bus bench-frame is longer than 172 bytes",
          "hangs_above_bytes: 172");
  refused("hangs_above_bytes must be 1 to 7: no frame of the bus old-style is longer than 8 bytes",
          "hangs_above_bytes: 8", "", "old-style");
}

TEST_CASE("a design mistake that a kind cannot have is refused in one line", "[flaw]") {
  const std::string edges = "forwarding { electrical {} }";
  refused("forgets_topic goes with forwarding of whole frames: forwarding { whole { } }", "forgets_topic: \"readings\"",
          edges);
  refused("rewrites_field goes with forwarding of whole frames: forwarding { whole { } }",
          "rewrites_field: \"revision\"", edges);
  refused("remakes_checks goes with forwarding of whole frames: forwarding { whole { } }", "remakes_checks: true",
          edges);
  refused("cells_off_by_one goes with two cells or more", "cells_off_by_one: true");
  refused("answers_unknown_topic goes with a kind that states the topics that it knows", "answers_unknown_topic: true");
  refused("acts_again_after must be longer than 0", "acts_again_after: \"0s\"");
  refused("stale_snapshot: false is no mistake; leave the flaw out", "stale_snapshot: false");
  refused("flaw needs one mistake, for example flaw { answers_broadcast: true }", "");
}

TEST_CASE("two mistakes in one kind are refused", "[flaw]") {
  const bench::Loaded loaded = bench::load(with_kind("flaw { number_bits: 8 address_bits: 7 }"));
  CHECK(has_errors(loaded.problems));
}

}  // namespace hopbench
