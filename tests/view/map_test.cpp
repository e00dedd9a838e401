// Rows, cells and names of the map, of runs made up here.
#include "view/map.h"

#include <algorithm>
#include <set>

#include "support/catch.h"
#include "view/map_figures.h"
#include "view/moments.h"
#include "view/short_names.h"

namespace hopbench {
namespace {

RunInfo long_chain(std::size_t nodes) {
  RunInfo run;
  run.scenario = "long";
  run.controller = "controller";
  std::string before = "controller";
  for (std::size_t i = 1; i <= nodes; ++i) {
    const std::string name = "n" + std::to_string(i);
    run.nodes.push_back(name);
    run.cells.push_back(i % 10 == 0 ? 16 : 1);
    run.links.push_back({static_cast<std::uint16_t>(i), before, name});
    before = name;
  }
  run.links.push_back({static_cast<std::uint16_t>(nodes + 1), before, "controller"});
  return run;
}

LinkCell cell_of(std::uint32_t good, Symptom symptom = Symptom::none, std::uint32_t bad = 0) {
  LinkCell cell;
  cell.seen[0] = good;
  if (bad > 0) cell.seen[place_of(symptom)] = bad;
  return cell;
}

/// A chain with so many columns of healthy traffic.
struct Made {
  RunInfo run;
  Stations stations;
  RunPart whole;
  std::vector<TimeColumn> columns;
  std::vector<MapRow> rows;

  explicit Made(std::size_t nodes, std::size_t count = 5) : run(long_chain(nodes)), stations(run) {
    whole.size_for(run);
    whole.measures.links.resize(run.links.size());
    whole.measures.nodes.resize(run.nodes.size() + 1);
    for (std::size_t i = 0; i < run.links.size(); ++i) good(i, 500);
    columns.resize(count);
    for (auto& column : columns) {
      column.slice.size_for(run);
      for (std::size_t i = 0; i < run.links.size(); ++i) column.slice.links.set(i, cell_of(100));
    }
  }
  void good(std::size_t link, std::uint64_t frames) {
    auto& measures = whole.measures.links[link];
    measures.frames_in += frames;
    measures.frames_out += frames;
    measures.symptoms[0] += frames;
  }
  void lost(std::size_t link, Symptom symptom, std::uint64_t frames) {
    whole.measures.links[link].frames_in += frames;
    whole.measures.links[link].symptoms[static_cast<std::size_t>(symptom)] += frames;
    whole.tried.by_outcome[place_of(Outcome::lost)] += static_cast<std::uint32_t>(frames);
  }
  MapScene scene(const RowWishes& wishes = {}) {
    rows = map_rows(run, stations, whole, wishes);
    MapScene scene;
    scene.run = &run;
    scene.stations = &stations;
    scene.whole = &whole;
    scene.rows = rows;
    scene.columns = columns;
    scene.until = second * static_cast<Nanos>(columns.size());
    scene.state = "capture complete";
    return scene;
  }
};

std::vector<std::string> labels(const std::vector<MapRow>& rows, const RunInfo& run) {
  std::vector<std::string> all;
  for (const auto& row : rows) all.push_back(row_words(row, run));
  return all;
}

}  // namespace

TEST_CASE("levels end where the scale says") {
  CHECK(loss_level(0, 0) == 0);
  CHECK(loss_level(0, 100) == 0);
  CHECK(loss_level(1, 0) == 8);
  const std::uint64_t million = 1'000'000;
  int level = 1;
  for (const std::uint64_t end : {100, 300, 1'000, 3'000, 10'000, 30'000, 100'000}) {
    CHECK(loss_level(end, million) == level);
    CHECK(loss_level(end + 1, million) == level + 1);
    ++level;
  }
  CHECK(loss_level(million, million) == most_level);
  const auto scale = loss_scale();
  for (int i = 0; i <= most_level; ++i) CHECK(scale.find(utf8(level_glyph(i))) != std::string::npos);
  // In ASCII no two levels look alike.
  std::set<char> signs;
  for (int i = 0; i <= most_level; ++i) signs.insert(to_ascii(level_glyph(i)));
  CHECK(signs.size() == 9);
}

TEST_CASE("the worst come first, hops without loss are folded, and stations have rows of their own") {
  Made made(10);
  made.lost(3, Symptom::check, 5);
  made.lost(7, Symptom::framing, 90);
  made.whole.tried.count(StationTrouble::held, 4, 20);
  made.whole.tried.count(StationTrouble::refused, 4, 7);
  CHECK(labels(made.scene().rows.empty() ? made.rows : made.rows, made.run) ==
        std::vector<std::string>{"hop 8 n7 -> n8", "in n5", "tries to n5", "hop 4 n3 -> n4", "hops 1 to 3",
                                 "hops 5 to 7", "hops 9 to 11"});
  RowWishes wishes;
  wishes.sort = MapSort::chain;
  CHECK(labels(map_rows(made.run, made.stations, made.whole, wishes), made.run) ==
        std::vector<std::string>{"hops 1 to 3", "hop 4 n3 -> n4", "hop 5 n4 -> n5", "in n5", "tries to n5",
                                 "hops 6 to 7", "hop 8 n7 -> n8", "hops 9 to 11"});
  wishes.sort = MapSort::checks;
  CHECK(map_rows(made.run, made.stations, made.whole, wishes).front().place.index == 3);
  wishes = {};
  wishes.fold = false;
  CHECK(map_rows(made.run, made.stations, made.whole, wishes).size() == 13);
  wishes = {};
  wishes.open = {5};
  const auto opened = labels(map_rows(made.run, made.stations, made.whole, wishes), made.run);
  CHECK(std::find(opened.begin(), opened.end(), "hop 6 n5 -> n6") != opened.end());
}

TEST_CASE("a hop that nobody watched is not one without loss") {
  Made made(6);
  made.run.links[2].vantage = made.run.links[3].vantage = Vantage::unseen;
  made.scene();
  const auto all = labels(made.rows, made.run);
  CHECK(all == std::vector<std::string>{"hops 1 to 2", "hops 3 to 4", "hops 5 to 7"});
  CHECK(made.rows[1].unseen);
  const auto text = map_screen(made.scene(), 80, 24).text(false);
  CHECK(text.find("╎") != std::string::npos);
  CHECK(text.find("╎ unheard") != std::string::npos);
}

TEST_CASE("250 hops fit in 24 lines, and each can be come to") {
  Made made(250);
  made.lost(200, Symptom::check, 40);
  auto scene = made.scene();
  CHECK(made.rows.size() == 3);
  const auto text = map_screen(scene, 80, 24).text(false);
  CHECK(text.find(" 201 n201") != std::string::npos);
  CHECK(text.find("1-200 (200)") != std::string::npos);
  CHECK(text.find("202-251 (50)") != std::string::npos);
  RowWishes wishes;
  wishes.fold = false;
  scene = made.scene(wishes);
  scene.first_row = 243;
  const auto last = map_screen(scene, 80, 24).text(false);
  CHECK(last.find("n250") != std::string::npos);
  CHECK(last.find("rows 244 to 251 of 251") != std::string::npos);
}

TEST_CASE("what was not seen looks different from what was well") {
  Made made(3);
  made.scene();
  const auto& row = made.rows[0];
  TimeColumn column = made.columns[0];
  const auto glyph = [&](bool after_end = false) {
    return map_cell(row, column, made.run, made.stations, MapShows::lost, after_end).glyph;
  };
  CHECK(glyph() == U'·');
  CHECK(glyph(true) == U' ');
  column.slice.missing = missing_dropped;
  CHECK(glyph() == U'▒');
  CHECK(coverage_cell(column, false).glyph == U'▒');
  column.slice.links.set(1, cell_of(90, Symptom::check, 10));
  CHECK(glyph() == level_glyph(6));  // 10 of 400: what was seen is told all the same
  column.read = ReadState::some;
  CHECK(glyph() == U'░');
  column.read = ReadState::none;
  CHECK(glyph() == U'░');
  column = {};
  column.slice.size_for(made.run);
  CHECK(glyph() == U' ');
  column.slice.missing = missing_gap;
  CHECK(glyph() == U'▒');
  column.slice.missing = missing_tallied;
  CHECK(coverage_cell(column, false).glyph == U'+');
  made.run.links[0].vantage = static_cast<Vantage>(61);
  CHECK(glyph() == U'?');
}

TEST_CASE("the line below tells of the cursor's cell what was seen there, with its count and its limits") {
  Made made(5);
  made.lost(2, Symptom::framing, 30);
  auto cell = cell_of(970, Symptom::framing, 24);
  cell.seen[place_of(Symptom::check)] = 6;
  made.columns[3].slice.links.set(2, cell);
  made.columns[3].slice.known = true;
  made.columns[3].slice.cells_balancing = 1;
  made.columns[3].slice.charge_ma = 4000;
  made.columns[3].slice.board_mc = 41'400;
  auto scene = made.scene();
  scene.cursor_column = 3;
  const auto words = cursor_words(scene);
  // 30 of 1,000: exact limits after Clopper and Pearson, from tables 2.03 to 4.26 %.
  CHECK(words[0] == "hop 3 n2 -> n3: 30 of 1,000 frames, 3.0 % (2.0 to 4.3): framing error 24, CRC error 6");
  CHECK(words[1] == "at most 1 cell balancing, +4.0 A, warmest board 41 °C");
  scene.cursor_column = 0;
  CHECK(cursor_words(scene)[0] == "hop 3 n2 -> n3: none of 100 frames lost");
}

TEST_CASE("the head says first what was real, in short where there is little room") {
  Made made(3);
  const auto head = [&](int width) {
    auto scene = made.scene();
    scene.capture = "a-capture-with-a-name-that-is-rather-long.hbcap";
    const auto text = map_screen(scene, width, 24).text(false);
    return text.substr(0, text.find('\n'));
  };
  CHECK(head(80).starts_with("simulated: long seed 0 "));
  made.run.simulated = false;
  CHECK(head(80).starts_with("simulated chain: long seed 0 "));
  CHECK(head(200).starts_with("simulated chain, real controller: long seed 0  a-capture-"));
  made.run.truth_known = false;
  for (auto& link : made.run.links) link.vantage = Vantage::tapped;
  CHECK(head(80).starts_with("real chain: long seed 0 "));
  // The longest name of a scenario does not push it out.
  made.run.scenario = std::string(300, 'x');
  CHECK(head(80).starts_with("real chain: xxx"));
}

TEST_CASE("the whole capture's totals are never cut short of their per cent") {
  Made made(3);
  made.whole.tried.by_outcome[0] = 517'000;
  made.lost(1, Symptom::framing, 1'404);
  auto scene = made.scene();
  scene.filter = "hop 2 node n1 topic readings outcome lost symptom framing failed";
  CHECK(map_screen(scene, 80, 24).text(false).find("FAILED 1,404 of 518,404 tries") == std::string::npos);
  scene.filter = "hop 2";
  const auto text = map_screen(scene, 80, 24).text(false);
  CHECK(text.find("only hop 2: FAILED 1,404 of 518,404 tries, 0.27 %") != std::string::npos);
  scene.whole_read = false;
  CHECK(map_screen(scene, 80, 24).text(false).find("READ SO FAR") != std::string::npos);
}

TEST_CASE("nothing that a capture holds can speak to the terminal") {
  Made made(2);
  made.run.scenario = "bad\x1b[2J\x07name";
  made.run.nodes[0] = made.run.links[0].to = made.run.links[1].from = "\x1b]0;x\x07";
  const auto text = map_screen(made.scene(), 80, 24).text(false);
  CHECK(
      std::none_of(text.begin(), text.end(), [](char c) { return static_cast<unsigned char>(c) < 0x20 && c != '\n'; }));
}

TEST_CASE("a place on the screen that is clicked on is found again") {
  const auto layout = map_layout(80, 24, 3, 0);
  CHECK_FALSE(spot_at(layout, 0, 3, 60, layout.rows_top - 1));
  CHECK_FALSE(spot_at(layout, 0, 3, 60, layout.rows_top + 3));
  const auto spot = spot_at(layout, 0, 3, layout.cells_left + 7, layout.rows_top + 2);
  REQUIRE(spot);
  CHECK(spot->row == 2);
  CHECK(spot->column == 7);
  CHECK_FALSE(spot_at(layout, 0, 3, 10, layout.rows_top)->column);
}

TEST_CASE("names that are cut stay different") {
  const auto check = [](const std::vector<std::string>& names, std::size_t width) {
    const auto cut = short_names(names, width);
    std::set<std::string> different(cut.begin(), cut.end());
    CAPTURE(width, cut);
    CHECK(different.size() == names.size());
    for (const auto& name : cut) CHECK(code_points(name).size() <= width);
  };
  std::vector<std::string> racks;
  std::vector<std::string> ends_alike;
  std::vector<std::string> middles;
  for (int i = 1; i <= 250; ++i) {
    racks.push_back("pump-house-north-rack-" + std::to_string(i));
    ends_alike.push_back(std::to_string(i) + "-of-the-northern-rack");
    middles.push_back("rack-" + std::to_string(1000 + i) + "-of-the-pump-house");
  }
  for (const std::size_t width : {8U, 10U, 20U}) {
    check(racks, width);
    check(ends_alike, width);
    check(middles, width);
  }
  CHECK(short_names(std::vector<std::string>{"n1", "n250"}, 8) == std::vector<std::string>{"n1", "n250"});
  CHECK(short_names(std::vector<std::string>{"pump-house-17"}, 8) == std::vector<std::string>{"pum~e-17"});
}

TEST_CASE("numbers in few places") {
  CHECK(short_share(0, 0) == "-");
  CHECK(short_share(0, 9) == "0");
  CHECK(short_share(1, 1'000'000) == "<0.001");
  CHECK(short_share(41, 100'000) == "0.041");
  CHECK(short_share(999, 1000) == "99.90");
  CHECK(short_share(7, 7) == "100");
  CHECK(short_ms(std::nullopt) == "-");
  CHECK(short_ms(4'700'000) == "4.7");
  CHECK(short_ms(187 * millisecond) == "187");
  CHECK(short_ms(3 * second) == "3s");
  CHECK(short_count(9'999, 6) == "9,999");
  CHECK(short_count(518'400, 6) == "518k");
  CHECK(short_count(~std::uint64_t{0}, 6) == "18E");
}

TEST_CASE("an instant is told with its day, and read back as it is typed") {
  CHECK(stretch_text(0, one_day - second, second) == "00:00:00 to 23:59:59");
  CHECK(stretch_text(0, 6 * one_day, second) == "00:00:00 to 6 d 00:00:00");
  CHECK(stretch_text(2 * one_day + second, 2 * one_day + 61 * second, second) == "2 d 00:00:01 to 00:01:01");
  CHECK(stretch_text(one_day + 1'250 * millisecond, one_day + 2'000 * millisecond, millisecond) ==
        "1 d 00:00:01.250 to 00:00:02.000");
  CHECK(whole_time(-1'250 * millisecond, millisecond) == "-00:00:01.250");
  const Nanos near = 3 * one_day + 5 * one_hour;
  CHECK(parse_moment("2d 13:00", near) == 2 * one_day + 13 * one_hour);
  CHECK(parse_moment("2 d 13:00:05.250", near) == 2 * one_day + 13 * one_hour + 5'250 * millisecond);
  CHECK(parse_moment("13:00", near) == 3 * one_day + 13 * one_hour);
  CHECK(parse_moment("2d", near) == 2 * one_day);
  CHECK(parse_moment("90min", near) == 90 * one_minute);
  CHECK(parse_moment("1.5h", near) == 90 * one_minute);
  for (const char* bad : {"", "x", "13", "13:", "13:70", "2d x", "2d 13:00:00:00", "99999999999d", "1e9h", "25:99"}) {
    CAPTURE(bad);
    CHECK_FALSE(parse_moment(bad, near));
  }
}

TEST_CASE("a column is a round span, and slices fit into those above them") {
  for (std::size_t i = 1; i < slice_spans.size(); ++i) CHECK(slice_spans[i] % slice_spans[i - 1] == 0);
  for (const Nanos span : column_spans) {
    if (span <= one_day) CHECK(one_day % span == 0);
  }
  CHECK(column_for(0, 6 * one_day, 30) == 6 * one_hour);
  CHECK(column_for(0, one_hour, 30) == 2 * one_minute);
  CHECK(column_for(0, one_hour + 1, 30) == 5 * one_minute);
  CHECK(column_for(0, 0, 30) == millisecond);
}

}  // namespace hopbench
