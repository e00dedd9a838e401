// Where a name is not known all that would be right are listed, and none that would then be refused.
#include <string>

#include "support/catch.h"
#include "text/bus.h"
#include "text/scenario.h"

using namespace hopbench;

namespace {

const std::string bus_text =
    "# proto-message: hopbench.text.Bus\n"
    "name: \"b\" line { baud: 9600 } framing { kind: SILENCE silence_char_tenths: 35 }\n"
    "part { field { name: \"lead\" constant: 1 } } part { field { name: \"to\" } } part { field { name: \"code\" } }\n"
    "part { field { name: \"spare\" } } part { payload {} } part { check { name: \"sum\" kind: SUM } }\n"
    "roles { destination: \"to\" topic: \"code\" tell_role: BY_PENDING_ASK }\n"
    "topic { name: \"t\" code: 1 changes: false ask { field { name: \"first\" } } ask { field { name: \"count\" } }\n"
    "  answer { field { name: \"n\" copied_from_ask: \"count\" } }\n"
    "  answer { group { name: \"cells\" count_field: \"n\" field { name: \"cell\" bits: 16 quantity: \"cell_mv\" } } "
    "}\n"
    "  first_field: \"first\" count_field: \"count\" values_group: \"cells\" }\n";

std::string problems_with(const std::string& what, const std::string& instead) {
  std::string text = bus_text;
  const std::size_t at = text.find(what);
  REQUIRE(at != std::string::npos);
  text.replace(at, what.size(), instead);
  std::vector<Problem> problems;
  (void)load_bus({"b.txtpb", text}, problems);
  std::string all;
  for (const Problem& problem : problems) all += problem.what + "\n";
  return all;
}

bool says(const std::string& all, const std::string& part) {
  INFO(all);
  CHECK(all.find(part) != std::string::npos);
  return true;
}

}  // namespace

TEST_CASE("names of parts, fields and groups are listed where one is not known") {
  CHECK(problems_with("\"b\"", "\"b\"").empty());
  // The constant is no candidate, and neither is a field that plays a role already.
  says(problems_with("destination: \"to\"", "destination: \"too\""),
       "no header field is called \"too\"; known are to, spare\n");
  says(problems_with("kind: SUM", "kind: SUM covers: [\"to\", \"sapre\"]"),
       "no part is called \"sapre\"; known are lead, code, spare, payload\n");
  says(problems_with("first_field: \"first\"", "first_field: \"frist\""),
       "no field of the ask is called \"frist\"; known are first, count\n");
  says(problems_with("values_group: \"cells\"", "values_group: \"cell\""),
       "no group of the ask or the answer is called \"cell\"; known are cells\n");
  says(problems_with("count_field: \"n\"", "count_field: \"m\""),
       "no earlier field of this layout is called \"m\"; known are n\n");
  says(problems_with("copied_from_ask: \"count\"", "copied_from_ask: \"cuont\""),
       "no field of the ask is called \"cuont\"; known are first, count\n");
  says(problems_with("kind: SUM", "crc { model: \"zzz\" }"),
       "there is no CRC model \"zzz\"; known are CRC-4/G-704, CRC-5/");
  says(problems_with("kind: SUM", "crc { model: \"CRC-16/MODBSU\" }"), "did you mean CRC-16/MODBUS?");
}

TEST_CASE("what is given already is not suggested once more") {
  // "baud" is near, and there; nothing else is.
  const std::string twice = problems_with("baud: 9600", "baud: 9600 buad: 1");
  says(twice, "Line has no field \"buad\"; known are format\n");
  // Of a choice only one can be given.
  const std::string beside = problems_with("payload {}", "payload {} fild { name: \"x\" }");
  INFO(beside);
  CHECK(beside.find("did you mean field") == std::string::npos);
}
