// Which defence of a bus finds which error class, one defence at a time, held against two published tables.
//
// OPC: OPC 10000-15, Table 2, which cites IEC 61784-3:2021, 5.5, read in a copy. Columns: sequence number; time
// expectation with feedback; connection authentication; data integrity.
// EN: EN 50159:2010, Table 1, columns sequence number, time-out, source and destination identifier, safety code. The
// crosses were read in a copy, the order of the columns is from memory.
#include <algorithm>
#include <array>
#include <fstream>
#include <iterator>
#include <string>
#include <vector>

#include "chain/defended.h"
#include "support/catch.h"

namespace hopbench {
namespace {

enum class Published : std::uint8_t { cross, blank, no_row };
constexpr Published X = Published::cross;
constexpr Published o = Published::blank;
constexpr Published n = Published::no_row;

/// What the tables say of one error and one defence, what the bench does, and why that differs from either.
struct Cell {
  Published opc;
  Published en;
  bool caught;
  const char* why = "";
};

struct Injected {
  FaultClass kind;
  Nanos by = 0;
  PollOrder order = PollOrder::several_each;
  bool always_time_out = false;
};

struct Row {
  const char* name;
  Injected error;
  std::array<Cell, 4> cells;  // in the order of `defences`
};

struct Column {
  const char* name;
  Defences has;
};

const std::array<Column, 4> defences{{{"exchange number", {.number = true}},
                                      {"time-out", {.time_out = true}},
                                      {"addresses", {.addresses = true}},
                                      {"check", {.check = true}}}};

// The reasons are our reading: of the standards only these tables were at hand. The page has them word for word.
constexpr const char* waits =
    "without a time-out the controller waits for this reply for ever, so no later number comes that would show the gap";
constexpr const char* no_feedback =
    "the cross is for a time expectation together with feedback; a time-out alone tells that nothing came, not that "
    "something came twice";
constexpr const char* asks_and_expects =
    "the controller awaits a reply to each ask, so its time-out tells that one is missing; who only listens cannot "
    "tell a lost message from one that was never sent";
constexpr const char* foreign_only =
    "the controller awaits one node at a time, so a frame of any other node is foreign to it, also that of a node that "
    "belongs to the chain";
constexpr const char* number_kept =
    "the bench alters a real frame on its way, which keeps its number; a stranger would have to guess it";
constexpr const char* address_kept =
    "the bench alters a real frame on its way, which keeps its addresses; a stranger would have to know them";
constexpr const char* check_made =
    "the bench makes the check anew, as whoever knows the bus can; only a check that strangers cannot make would tell";

// Each cell: OPC, EN, caught on the bench.
const std::vector<Row> rows{
    {"corruption", {FaultClass::corruption}, {{{o, o, false}, {o, o, false}, {o, o, false}, {X, X, true}}}},
    {"repetition",
     {FaultClass::repetition},
     {{{X, X, true}, {X, o, false, no_feedback}, {o, o, false}, {o, o, false}}}},
    // Without a time-out only one frame is on its way, and its order cannot change (a test of its own, below).
    {"incorrect sequence",
     {.kind = FaultClass::sequence, .by = 10 * second, .always_time_out = true},
     {{{X, X, true}, {o, o, false}, {o, o, false}, {o, o, false}}}},
    {"loss",
     {FaultClass::loss},
     {{{X, X, false, waits}, {X, o, true, asks_and_expects}, {o, o, false}, {o, o, false}}}},
    {"unacceptable delay",
     {FaultClass::delay, longest_wait + 40 * millisecond},
     {{{o, o, false}, {X, X, true}, {o, o, false}, {o, o, false}}}},
    {"insertion, of another node",
     {.kind = FaultClass::insertion, .order = PollOrder::in_turn},
     {{{X, X, true}, {o, o, false}, {o, X, true, foreign_only}, {o, o, false}}}},
    // EN's cross for addresses has the footnote: only what comes from an invalid source. So there is none in this row.
    {"insertion, of the same node",
     {.kind = FaultClass::insertion, .order = PollOrder::one_node},
     {{{X, X, true}, {o, o, false}, {o, o, false}, {o, o, false}}}},
    {"masquerade",
     {FaultClass::masquerade},
     {{{X, o, false, number_kept}, {o, o, false}, {X, o, false, address_kept}, {X, o, false, check_made}}}},
    {"wrong address", {FaultClass::address}, {{{o, n, false}, {o, n, false}, {X, n, true}, {o, n, false}}}},
};

/// Corruption: one, two and three bits, each at other places.
Toll toll_of(const Row& row, Defences has) {
  has.time_out = has.time_out || row.error.always_time_out;
  Toll sum;
  for (std::uint32_t bits = 1; bits <= (row.error.kind == FaultClass::corruption ? 3U : 1U); ++bits) {
    SmallChain small = defended(has, row.error.order);
    small.seed = bits;
    FaultSpec fault;
    fault.name = "fault";
    fault.kind = row.error.kind;
    fault.by = row.error.by;
    fault.bits = bits;
    fault.value = row.error.kind == FaultClass::masquerade ? 1 : 0;
    const Toll some = strike(small, fault);
    sum.strikes += some.strikes;
    sum.mistaken += some.mistaken;
    sum.unnoticed += some.unnoticed;
  }
  return sum;
}

/// Of a reply that does not come the controller must know; of all else it must take nothing.
std::uint64_t missed(const Row& row, const Toll& toll) {
  const bool silent = row.error.kind == FaultClass::loss || row.error.kind == FaultClass::delay;
  return silent ? toll.unnoticed : toll.mistaken;
}

std::string share(std::uint64_t missed, std::uint64_t strikes) {
  return missed == 0 ? "**none of " + std::to_string(strikes) + "**"
                     : std::to_string(missed) + " of " + std::to_string(strikes);
}

bool page_has(const std::string& text) {
  std::ifstream file(HOPBENCH_SOURCE_DIR "/docs/chain.md");
  REQUIRE(file);
  const std::string page{std::istreambuf_iterator<char>(file), {}};
  return page.find(text) != std::string::npos;
}

const Row& row_of(FaultClass kind) {
  return *std::find_if(rows.begin(), rows.end(), [kind](const Row& row) { return row.error.kind == kind; });
}

std::string say(Published published) {
  return published == X ? "a cross" : published == o ? "no cross" : "no such row";
}

}  // namespace

TEST_CASE("each defence alone, against the published tables and the page") {
  std::string table = "| injected error | no defence |";
  std::string rule = "| --- | --- |";
  for (const Column& column : defences) {
    table += std::string(" ") + column.name + " |";
    rule += " --- |";
  }
  table += "\n" + rule + "\n";
  std::string differences;
  for (const Row& row : rows) {
    const Toll bare = toll_of(row, {});
    INFO(row.name);
    CHECK(missed(row, bare) > 0);  // else no defence could show anything
    table += std::string("| ") + row.name + " | " + share(missed(row, bare), bare.strikes) + " |";
    for (std::size_t i = 0; i < defences.size(); ++i) {
      const Cell& cell = row.cells[i];
      const Toll toll = toll_of(row, defences[i].has);
      INFO(defences[i].name << ": missed " << missed(row, toll) << " of " << toll.strikes);
      CHECK((missed(row, toll) == 0) == cell.caught);
      table += " " + share(missed(row, toll), toll.strikes) + " |";
      // Each difference has its reason, and each reason a difference.
      const Published here = cell.caught ? X : o;
      const bool differs = cell.opc != here || (cell.en != here && cell.en != n);
      CHECK(differs == !std::string(cell.why).empty());
      if (differs) {
        differences += std::string("- ") + row.name + ", " + defences[i].name + ": " + say(cell.opc) +
                       " in OPC 10000-15, " + say(cell.en) + " in EN 50159. Here " +
                       (cell.caught ? "caught" : "not caught") + ": " + cell.why + ".\n";
      }
    }
    table += "\n";
  }
  {
    INFO("docs/chain.md should have\n" << table);
    CHECK(page_has("\n\n" + table + "\n"));
  }
  INFO("docs/chain.md should have\n" << differences);
  CHECK(page_has("\n\n" + differences + "\n"));
}

TEST_CASE("a time-out alone finds a delay, and then takes the late reply for another's; a number prevents that") {
  const Row& delay = row_of(FaultClass::delay);
  const Toll alone = toll_of(delay, {.time_out = true});
  CHECK(alone.unnoticed == 0);
  CHECK(alone.mistaken > 0);
  CHECK(page_has("in " + std::to_string(alone.mistaken) + " of the " + std::to_string(alone.strikes) + " runs"));
  const Toll numbered = toll_of(delay, {.number = true, .time_out = true});
  CHECK(numbered.unnoticed == 0);
  CHECK(numbered.mistaken == 0);
}

TEST_CASE("with all four defences only a masquerade is missed") {
  for (const Row& row : rows) {
    INFO(row.name);
    const Toll toll = toll_of(row, {.number = true, .time_out = true, .addresses = true, .check = true});
    if (row.error.kind == FaultClass::masquerade) {
      CHECK(toll.mistaken == toll.strikes);
      continue;
    }
    CHECK(toll.mistaken == 0);
    CHECK(missed(row, toll) == 0);
  }
}

TEST_CASE("without a time-out a frame that is held back is only late: nothing overtakes it") {
  SmallChain small = defended({}, PollOrder::several_each);
  FaultSpec& fault = small.fault(FaultClass::sequence);
  fault.by = 10 * second;
  fault.links = {GENERATE(std::uint16_t{0}, std::uint16_t{1}, std::uint16_t{2}, std::uint16_t{3})};
  fault.at_most = 1;
  const Collector kept = small.run(20);
  CHECK(kept.count(Outcome::answered) == 20);
  CHECK(kept.strays.empty());
  CHECK(exchange_number(kept, 0).seen.round_trip > fault.by);
}

TEST_CASE("with a pause between exchanges a repetition is seen by its place: nobody waits for it") {
  SmallChain small = defended({}, PollOrder::several_each);
  small.controller().gap = 50 * millisecond;
  small.fault(FaultClass::repetition).links = {
      GENERATE(std::uint16_t{0}, std::uint16_t{1}, std::uint16_t{2}, std::uint16_t{3})};
  const Collector kept = small.run(20);
  CHECK(kept.count(Outcome::answered) == 20);
  CHECK(kept.strays.size() == 20);
}

}  // namespace hopbench
