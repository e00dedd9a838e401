// Scenarios changed by paths. What a path does to a scenario is held against the same change made to the file by hand:
// a line replaced or taken out of its text.
#include "text/edit.h"

#include <filesystem>
#include <map>
#include <regex>

#include "bench.h"
#include "bus_dump.h"
#include "scenario.pb.h"
#include "support/dice.h"
#include "support/scenario_text.h"

namespace hopbench {
namespace {

using bench::load;
using bench::load_good;

/// A value that stands in a printed text, with its line and the path by numbers, and by names where there are some.
struct Leaf {
  std::size_t line = 0;
  std::string path;
  std::string by_name;
  std::string in_file;
  bool is_text = false;
  bool list = false;
  bool deep_in_list = false;
};

std::vector<std::string> lines_of(const std::string& text) {
  std::vector<std::string> lines;
  std::istringstream in(text);
  for (std::string line; std::getline(in, line);) lines.push_back(line);
  return lines;
}

std::string joined(const std::vector<std::string>& lines) {
  std::string text;
  for (const std::string& line : lines) text += line + "\n";
  return text;
}

/// Reads a printed text line by line: one field each, braces at the ends of lines.
std::vector<Leaf> leaves_of(const std::string& text) {
  struct Level {
    const google::protobuf::Descriptor* type;
    std::string path;
    std::string by_name;
    std::map<std::string, int> counts;
  };
  const std::vector<std::string> lines = lines_of(text);
  std::vector<Leaf> leaves;
  std::vector<Level> levels{{text::Scenario::descriptor(), "", "", {}}};
  for (std::size_t i = 0; i < lines.size(); ++i) {
    const std::size_t from = lines[i].find_first_not_of(' ');
    const std::string line = from == std::string::npos ? "" : lines[i].substr(from);
    if (line.empty() || line[0] == '#') continue;
    if (line == "}") {
      levels.pop_back();
      continue;
    }
    Level& level = levels.back();
    const std::string name = line.substr(0, line.find_first_of(": "));
    const auto* field = level.type->FindFieldByName(name);
    REQUIRE(field != nullptr);
    std::string step = (level.path.empty() ? "" : ".") + name;
    std::string named = step;
    const int index = level.counts[name]++;
    if (field->is_repeated()) step += "[" + std::to_string(index) + "]";
    if (line.back() == '{') {
      if (field->is_repeated()) {
        // Printed elements begin with their names, if they have any.
        const std::string& next = lines[i + 1];
        const auto key = next.find_first_not_of(' ');
        const bool has_name = next.compare(key, 6, "name: ") == 0 || next.compare(key, 7, "field: ") == 0;
        named += has_name ? "[" + next.substr(next.find('"') + 1, next.rfind('"') - next.find('"') - 1) + "]"
                          : "[" + std::to_string(index) + "]";
      }
      levels.push_back({field->message_type(), level.path + step, level.by_name + named, {}});
      continue;
    }
    if (field->is_repeated()) named += "[" + std::to_string(index) + "]";
    const std::string value = line.substr(line.find(": ") + 2);
    leaves.push_back({i, level.path + step, level.by_name + named, value, value[0] == '"', field->is_repeated()});
  }
  return leaves;
}

Scenario loaded_tree(const ScenarioTree& tree) { return load_good(tree.text()); }

std::string got(const ScenarioTree& tree, const std::string& path) {
  const auto values = tree.get(path);
  if (const auto* problem = std::get_if<EditProblem>(&values)) return "problem: " + render(*problem);
  const auto& list = std::get<std::vector<std::string>>(values);
  REQUIRE(list.size() == 1);
  return list.front();
}

std::optional<EditProblem> set(ScenarioTree& tree, const std::string& path, const std::string& value) {
  const Edit edit{path, value};
  return tree.apply(std::span(&edit, 1));
}

std::optional<EditProblem> removed(ScenarioTree& tree, const std::string& path) {
  const Edit edit{path, std::nullopt};
  return tree.apply(std::span(&edit, 1));
}

std::variant<Scenario, EditProblem> made(const Scenario& scenario, const std::vector<Edit>& edits) {
  return edited(scenario, edits, buses_beside("s.txtpb"));
}

void require_same(const Scenario& a, const Scenario& b) {
  REQUIRE(a.chain == b.chain);
  REQUIRE(BusDump::of(a.bus) == BusDump::of(b.bus));
}

/// The result by path is that of the file: the same scenario, or the same thing wrong.
void require_as_file(const std::variant<Scenario, EditProblem>& by_path, const std::string& file) {
  const bench::Loaded by_file = load(file);
  INFO("by file: " << by_file.shown);
  const auto* problem = std::get_if<EditProblem>(&by_path);
  if (problem != nullptr) UNSCOPED_INFO("by path: " << render(*problem));
  REQUIRE(by_file.scenario.has_value() == (problem == nullptr));
  if (by_file.scenario) {
    require_same(*by_file.scenario, std::get<Scenario>(by_path));
    return;
  }
  // The field's name stands in the path, not a second time in front of what is wrong.
  const std::string& what = by_file.problems.front().what;
  std::string told = problem->what.substr(0, problem->what.find(" (the first of "));
  REQUIRE((what == told || what.ends_with(": " + told)));
}

/// Good, bad and odd values as they stand in a file, without quotes.
const std::vector<std::string> values{"1ms",         "250us",   "0s",         "30s",   "5",
                                      "0.5ms",       "2%",      "1e-5",       "3",     "7",
                                      "16",          "true",    "DROP",       "x",     "1",
                                      "3.31V",       "2ohm",    "21C",        "a1",    "*",
                                      "a..b",        "010",     "-1",         "-5ppm", "99999999999999999999",
                                      "LOSS",        "RESET",   "900d",       "1e-20", "bench-frame",
                                      "modbus-rtu",  "nowhere", "false",      "k0",    "readings",
                                      "line_health", "250 ms",  "controller", "f0",    "\xc3\xa4"};

/// A number or a word: what a file can hold without quotes.
bool is_bare(const std::string& value) {
  static const std::regex bare("-?[0-9]+|[A-Za-z_][A-Za-z0-9_]*");
  return std::regex_match(value, bare);
}

bool is_of_default(const std::string& value) { return value == "0" || value == "false"; }

std::string as_in_file(const Leaf& leaf, const std::string& value) {
  return leaf.is_text ? "\"" + value + "\"" : value;
}

}  // namespace

TEST_CASE("every value of a scenario is found by its path, and set to what it is leaves all as it is") {
  std::vector<std::string> texts;
  for (std::uint64_t number = 0; number < 40; ++number) texts.push_back(scenario_text(number));
  for (const auto& entry : std::filesystem::recursive_directory_iterator(HOPBENCH_SOURCE_DIR "/captures")) {
    if (entry.path().extension() != ".txtpb") continue;
    std::string why;
    texts.push_back(read_text_file(entry.path().string(), why)->text);
  }
  std::size_t found = 0;
  for (const std::string& text : texts) {
    INFO(text);
    const Scenario scenario = load_good(text);
    ScenarioTree tree(scenario);
    const std::string printed = tree.text();
    require_same(loaded_tree(tree), scenario);
    for (const Leaf& leaf : leaves_of(printed)) {
      INFO(leaf.path << " or " << leaf.by_name);
      for (const std::string& path : {leaf.path, leaf.by_name, "scenario." + leaf.path}) {
        const std::string value = got(tree, path);
        CHECK((value == leaf.in_file || "\"" + value + "\"" == leaf.in_file));
        REQUIRE_FALSE(set(tree, path, value));
        REQUIRE_FALSE(set(tree, path, leaf.in_file));  // as in the file, quotes and all
        REQUIRE(tree.text() == printed);
      }
      ++found;
    }
  }
  CHECK(found > 5000);
}

TEST_CASE("a value set or removed by a path is as if the line of the file were changed") {
  std::size_t good = 0;
  std::size_t bad = 0;
  for (std::uint64_t number = 0; number < 8; ++number) {
    Dice dice("edits", number);
    const Scenario scenario = load_good(scenario_text(number));
    const std::string printed = ScenarioTree(scenario).text();
    const std::vector<std::string> lines = lines_of(printed);
    INFO(printed);
    for (const Leaf& leaf : leaves_of(printed)) {
      const auto with_line = [&](const std::optional<std::string>& value) {
        std::vector<std::string> changed = lines;
        if (value) {
          changed[leaf.line].replace(changed[leaf.line].find(": ") + 2, std::string::npos, as_in_file(leaf, *value));
        } else {
          changed.erase(changed.begin() + static_cast<std::ptrdiff_t>(leaf.line));
        }
        return joined(changed);
      };
      for (int i = 0; i < 4; ++i) {
        const std::string value = dice.of(values);
        INFO(leaf.path << "=" << value);
        // What is empty or nothing is not there for a path; a file can state it.
        if (!leaf.is_text && (is_of_default(value) || !is_bare(value))) continue;
        const auto by_path = made(scenario, {{leaf.path, value}});
        require_as_file(by_path, with_line(value));
        ++(std::holds_alternative<Scenario>(by_path) ? good : bad);
      }
      INFO("without " << leaf.path);
      const auto less = made(scenario, {{leaf.path, std::nullopt}});
      require_as_file(less, with_line(std::nullopt));
      if (leaf.list) continue;
      // Removed and set again.
      ScenarioTree tree(scenario);
      REQUIRE_FALSE(removed(tree, leaf.path));
      REQUIRE(tree.text() == joined([&] {
                auto without = lines;
                without.erase(without.begin() + static_cast<std::ptrdiff_t>(leaf.line));
                return without;
              }()));
      REQUIRE_FALSE(set(tree, leaf.path, leaf.in_file));
      REQUIRE(tree.text() == printed);
    }
  }
  CHECK(good > 100);
  CHECK(bad > 500);
}

TEST_CASE("nothing but the value that is set changes in the message") {
  for (std::uint64_t number = 100; number < 130; ++number) {
    const Scenario scenario = load_good(scenario_text(number));
    const std::string printed = ScenarioTree(scenario).text();
    INFO(printed);
    for (const Leaf& leaf : leaves_of(printed)) {
      if (!leaf.is_text || leaf.in_file == "\"other\"") continue;
      INFO(leaf.path);
      ScenarioTree tree(scenario);
      REQUIRE_FALSE(set(tree, leaf.path, "other"));
      const std::vector<std::string> before = lines_of(printed);
      const std::vector<std::string> after = lines_of(tree.text());
      REQUIRE(before.size() == after.size());
      for (std::size_t i = 0; i < before.size(); ++i) {
        REQUIRE((before[i] == after[i]) == (i != leaf.line));
      }
      REQUIRE(after[leaf.line].ends_with(": \"other\""));
    }
  }
}

}  // namespace hopbench
