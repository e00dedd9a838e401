// No byte of a name acts on a terminal, wherever it comes from: a command line, the name of a file, a scenario, a bus
// description, a capture. What is a character, and whether it is UTF-8, a library decides that the program does not
// use. Which characters act: the control functions of ECMA-48 (C0, DEL, C1) and the Bidi_Control and line separators of
// the Unicode character database.
#include <boost/json/parse.hpp>
#include <boost/locale/utf.hpp>
#include <functional>
#include <map>

#include "commands_in_help.h"
#include "record/forged.h"
#include "terminal.h"

namespace hopbench {
namespace {

/// Every string below has it, so that a test can tell whether it was shown.
constexpr const char* mark = "7357";

/// What a terminal may act on, and what passes for a line of the program's own.
const std::vector<std::string> hostile_strings{
    "\x1b[7357m\x07\x08\r\x7f\x0e", "7357\xc2\x9b\xc2\x80\xe2\x80\xae\xe2\x81\xa6\xd8\x9c\xe2\x80\x8f\xe2\x80\xa8",
    "7357\xff\xfe\x9b\xc0\x9b\xed\xa0\x80\xf4\x90\x80\x80\xe2\x80", "7357\nforged line"};

using Utf8 = boost::locale::utf::utf_traits<char>;

bool acts(boost::locale::utf::code_point value) {
  return (value < 0x20 && value != '\n') || (value >= 0x7f && value <= 0x9f) || value == 0x61c || value == 0x200e ||
         value == 0x200f || (value >= 0x2028 && value <= 0x202e) || (value >= 0x2066 && value <= 0x2069);
}

/// What is wrong with a text for a terminal; empty: nothing.
std::string wrong_in(const std::string& text) {
  for (auto at = text.begin(); at != text.end();) {
    const auto offset = static_cast<std::size_t>(at - text.begin());
    const auto value = Utf8::decode(at, text.end());
    if (value != boost::locale::utf::illegal && value != boost::locale::utf::incomplete && !acts(value)) continue;
    return fmt::format("{:#x} at {}, behind: {}", value, offset, text.substr(offset > 200 ? offset - 200 : 0, 200));
  }
  if (text.rfind("forged line", 0) == 0 || text.find("\nforged line") != std::string::npos) return "a line of its own";
  return {};
}

std::string quoted(const std::string& word) { return "'" + word + "'"; }

/// What each command is given to work on: {S} a scenario, {B} a bus description, {C} a capture, {A} one of a session at
/// a port, {O} the name of a file to be made, {N} any text.
const std::map<std::string, std::vector<std::string>> command_lines{
    {"new", {"{O} --nodes 2x1 --bus {B}", "--bus {O}", "x.txtpb --name {N}", "x.txtpb --bus {N}"}},
    {"check", {"{S}", "{B}"}},
    {"field", {"{N}"}},
    {"frame", {"{B}", "{B} {N}", "{B} --text {N}", "{B} --topic {N}", "{B} --value {N}=1"}},
    {"budget", {"{S} --cycle 2s", "{S} --json"}},
    {"coexist",
     {"{S} --new other --old single --every-up-to 2 --longest 2 --seed 3",
      "{S} --new other --old single --every-up-to 2 --longest 2 --junit {O}"}},
    {"run", {"{S}"}},
    {"measure", {"{C}"}},
    {"explain", {"{C}", "--what-if {S}"}},
    {"compare", {"{C} {C}"}},
    {"inspect", {"{C}"}},
    {"emulate", {"{S} --pty {O} --for 20ms", "{S} --socket {O} --for 20ms", "--again {A}"}},
    {"capture check", {"{C}"}},
    {"capture cut", {"{C} {O}"}},
    {"capture join", {"{O} {C}"}},
    {"capture thin", {"{C} {O}"}},
    {"shrink", {"{S} --keep 'failed > 5' -o {O}"}},
    {"soak",
     {"{S} --set 'requirement[0].that=failed <= 50%' --set requirement[0].acceptable=10% --for 20min --dir {O}"}},
    {"sweep", {"{S} --vary controller.retries=0,1", "{S} --vary baud=9600 --out {O}", "--merge {O}"}},
};

const std::string scenario = R"(# proto-message: hopbench.text.Scenario
name: "looked-at" about: "nothing" seed: 3 run_for: "20s" bus: "mine.txtpb" baud: 19200 shape: RING
battery { capacity: "10Ah" charge: "96%" cell_resistance: "2mohm" tap_resistance: "20mohm" }
kind { name: "single" bleed { resistor: "33ohm" } processor { duty { name: "store" every: "2s" takes: "2ms" } } }
kind { name: "other" topics: "readings" }
nodes { name: "a" count: 2 kind: "single" }
nodes { name: "m" kind: "other" }
hop { into: "a2" bit_error: "2e-3" }
fault { name: "loss" class: LOSS nodes: "m" topics: "readings" leg: ANSWERS rate: "90%" }
controller { time_out: "250ms" gap: "5ms" retries: 1
  balancing { every: "10s" start: "3.38V" difference: "4mV" hysteresis: "2mV" }
  poll { name: "cells" topic: "readings" nodes: "*" with { field: "first" value: 0 } with { field: "count" own: CELLS } }
}
)";

/// The text with one quoted string at a time changed, and with all that say the same.
std::vector<std::string> changed_strings(const std::string& text, const std::string& to) {
  std::vector<std::string> out;
  for (auto from = text.find('"'); from != std::string::npos;) {
    const auto end = text.find('"', from + 1);
    const auto word = text.substr(from, end + 1 - from);
    out.push_back(text.substr(0, from + 1) + to + text.substr(end));
    std::string all = text;
    for (auto at = all.find(word); at != std::string::npos; at = all.find(word, at + word.size()))
      all.insert(at + 1, to);
    if (text.find(word, end) != std::string::npos) out.push_back(all);
    from = text.find('"', end + 1);
  }
  return out;
}

/// The same capture with `more` behind every text in it. Bytes that are made of something themselves are left alone.
std::string with_hostile_names(const std::string& capture, const std::string& more) {
  const std::vector<std::string> no_text{"scenario_text", "bus_text", "descriptors", "rows",  "asked",
                                         "answered",      "truth",    "heard",       "flags", "measures"};
  const std::function<void(google::protobuf::Message&)> change = [&](google::protobuf::Message& message) {
    using Field = google::protobuf::FieldDescriptor;
    const auto* reflection = message.GetReflection();
    std::vector<const Field*> fields;
    reflection->ListFields(message, &fields);
    for (const auto* field : fields) {
      if (std::find(no_text.begin(), no_text.end(), field->name()) != no_text.end()) continue;
      const int size = field->is_repeated() ? reflection->FieldSize(message, field) : 1;
      for (int i = 0; i < size; ++i) {
        if (field->cpp_type() == Field::CPPTYPE_MESSAGE) {
          change(field->is_repeated() ? *reflection->MutableRepeatedMessage(&message, field, i)
                                      : *reflection->MutableMessage(&message, field));
        } else if (field->cpp_type() == Field::CPPTYPE_STRING && field->is_repeated()) {
          reflection->SetRepeatedString(&message, field, i, reflection->GetRepeatedString(message, field, i) + more);
        } else if (field->cpp_type() == Field::CPPTYPE_STRING) {
          reflection->SetString(&message, field, reflection->GetString(message, field) + more);
        }
      }
    }
  };
  const auto bytes = sample::rewritten({capture.begin(), capture.end()},
                                       [&](RecordKind, google::protobuf::Message& message) { change(message); });
  return {bytes.begin(), bytes.end()};
}

/// Good files of each kind, and runs over them in which one thing is hostile.
class Bench : public program::Folder {
 public:
  Bench() : commands_(program::commands_in_help(*this)) {
    write("good.txtpb", scenario);
    const auto bus = shell("cat '" HOPBENCH_SOURCE_DIR "/proto/buses/bench-frame.txtpb'").out;
    write("mine.txtpb", bus);
    REQUIRE(run("run good.txtpb --capture good.cap").exit_code == 0);
    REQUIRE(run("emulate good.txtpb --pty link --for 20ms --capture session.cap").exit_code == 0);
    words_ = {
        {"{S}", "good.txtpb"}, {"{B}", "mine.txtpb"}, {"{C}", "good.cap"}, {"{A}", "session.cap"}, {"{N}", "seed"}};
  }

  [[nodiscard]] const std::vector<program::CommandInHelp>& commands() const { return commands_; }
  [[nodiscard]] const std::map<std::string, int>& shown() const { return shown_; }

  /// Runs each line of each command that takes `what` with `word` there instead, also as JSON where there is such.
  void run_all(const std::string& what, const std::string& word) {
    for (const auto& command : commands_) {
      for (const auto& line : lines_of(command)) {
        if (line.find(what) == std::string::npos) continue;
        auto words = words_;
        words[what] = quoted(word);
        run_line(command, filled(line, words));
      }
    }
  }
  void run_line(const program::CommandInHelp& command, const std::string& arguments) {
    const bool json = std::find(command.flags.begin(), command.flags.end(), "--json") != command.flags.end();
    run_one(command, arguments, false);
    if (json) run_one(command, arguments + " --json", true);
  }
  [[nodiscard]] const std::vector<std::string>& lines_of(const program::CommandInHelp& command) const {
    const auto found = command_lines.find(command.name);
    INFO("say above what `hopbench " << command.name << "` is given");
    REQUIRE(found != command_lines.end());
    return found->second;
  }
  [[nodiscard]] std::string filled(const std::string& line) { return filled(line, words_); }

 private:
  std::string filled(std::string line, std::map<std::string, std::string> words) {
    words.try_emplace("{O}", fmt::format("made{}", ++made_));
    for (const auto& [what, word] : words) {
      for (auto at = line.find(what); at != std::string::npos; at = line.find(what, at + word.size()))
        line.replace(at, what.size(), word);
    }
    return line;
  }
  void run_one(const program::CommandInHelp& command, const std::string& arguments, bool json) {
    CAPTURE(command.name, arguments);
    const auto ran = run(command.name + " " + arguments);
    CHECK(ran.exit_code <= 4);
    CHECK(wrong_in(ran.out) == "");
    CHECK(wrong_in(ran.err) == "");
    if ((ran.out + ran.err).find(mark) != std::string::npos) ++shown_[command.name];
    if (!json || ran.out.empty()) return;
    boost::system::error_code error;
    boost::json::parse(ran.out, error);
    CHECK_FALSE(error);
  }

  std::vector<program::CommandInHelp> commands_;
  std::map<std::string, std::string> words_;
  std::map<std::string, int> shown_;
  int made_ = 0;
};

/// That something hostile came to be shown at all.
void check_all_shown(const Bench& bench, const std::vector<std::string>& which) {
  for (const auto& name : which) {
    INFO(name);
    CHECK(bench.shown().count(name) == 1);
  }
}

std::vector<std::string> names_of(const std::vector<program::CommandInHelp>& commands) {
  std::vector<std::string> names;
  for (const auto& each : commands) names.push_back(each.name);
  return names;
}

/// What went to a terminal, without what the program itself makes the terminal do.
std::string without_own_controls(const std::string& sent) {
  std::string out;
  for (std::size_t i = 0; i < sent.size(); ++i) {
    if (std::string("\b\t\r\x0e\x0f").find(sent[i]) != std::string::npos) continue;
    const std::size_t left = sent.size() - i;
    if (sent[i] == '\x1b' && left > 1 && (sent[i + 1] == '=' || sent[i + 1] == '>' || sent[i + 1] == 'M')) {
      i += 1;
    } else if (sent[i] == '\x1b' && left > 2 && (sent[i + 1] == '(' || sent[i + 1] == ')')) {
      i += 2;
    } else if (const auto end = sent.find_first_not_of("0123456789;?", i + 2);
               sent.compare(i, 2, "\x1b[") == 0 && sent.compare(i + 2, 4, mark) != 0 && end != std::string::npos) {
      i = end;
    } else {
      out += sent[i];
    }
  }
  return out;
}

}  // namespace

TEST_CASE("whatever stands on the command line, no byte of it acts on a terminal") {
  Bench bench;
  for (const auto& hostile : hostile_strings) {
    for (const auto& command : bench.commands()) {
      for (const auto& line : bench.lines_of(command)) {
        for (const auto& option : command.options) {
          bench.run_line(command, bench.filled(line) + " " + option + " " + quoted(hostile));
        }
        for (const auto& flag : command.flags) {
          if (flag == "--help") continue;  // it takes anything, and shows none of it
          bench.run_line(command, bench.filled(line) + " " + flag + "=" + quoted(hostile));
        }
        bench.run_line(command, bench.filled(line) + " " + quoted("no-file" + hostile));
      }
      bench.run_line(command, quoted(hostile));
      bench.run_line(command, "--" + quoted(hostile));
    }
    for (const std::string before : {"", "capture "}) bench.run_line({before + quoted(hostile), {}, {}}, "");
  }
  check_all_shown(bench, names_of(bench.commands()));
}

TEST_CASE("whatever a file is called, no byte of its name acts on a terminal") {
  Bench bench;
  for (const auto& hostile : hostile_strings) {
    std::map<std::string, std::string> good;
    for (const auto& [what, file] : std::map<std::string, std::string>{
             {"{S}", "good.txtpb"}, {"{B}", "mine.txtpb"}, {"{C}", "good.cap"}, {"{A}", "session.cap"}}) {
      const std::string name = hostile + file;
      bench.write(name, bench.read(file));
      bench.run_all(what, name);
      bench.write(name, "# " + hostile + "\nname: \"" + hostile + "\" " + hostile);
      bench.run_all(what, name);
      bench.run_all(what, "missing" + hostile);
      bench.write("torn" + hostile, bench.read(file).substr(0, bench.read(file).size() / 2));
      bench.run_all(what, "torn" + hostile);
    }
    bench.run_all("{O}", "made" + hostile);
    bench.run_all("{O}", "made" + hostile);  // it is there now
    bench.run_all("{N}", hostile);
  }
  check_all_shown(bench, names_of(bench.commands()));
}

TEST_CASE("whatever a scenario or a bus description says, no byte of it acts on a terminal") {
  Bench bench;
  const std::string bus = bench.read("mine.txtpb");
  std::size_t turn = 0;
  for (const std::string hostile :
       {"7357\\x1b[m\\x7f\\302\\233\\342\\200\\256\\377", "7357\x1b[m\xe2\x80\xae\xc2\x9b"}) {
    for (const std::string& text : changed_strings(scenario, hostile)) {
      bench.write("s.txtpb", text);
      ++turn;
      for (const auto& command : bench.commands()) {
        for (const auto& line : bench.lines_of(command)) {
          // All read a scenario in one way: check says most of it, the others take turns.
          if (line.find("{S}") == std::string::npos || (command.name != "check" && turn % 8 != 0)) continue;
          auto arguments = line;
          arguments.replace(arguments.find("{S}"), 3, "s.txtpb");
          bench.run_line(command, bench.filled(arguments));
        }
      }
    }
    for (const std::string& text : changed_strings(bus, hostile)) {
      bench.write("b.txtpb", text);
      bench.run_all("{B}", "b.txtpb");
    }
  }
  check_all_shown(bench, {"check", "run", "explain", "emulate", "shrink"});
}

TEST_CASE("whatever a capture holds, no byte of it acts on a terminal") {
  Bench bench;
  for (const auto& hostile : hostile_strings) {
    bench.write("c.cap", with_hostile_names(bench.read("good.cap"), hostile));
    bench.run_all("{C}", "c.cap");
    bench.write("a.cap", with_hostile_names(bench.read("session.cap"), hostile));
    bench.run_all("{A}", "a.cap");
    bench.run_all("{C}", "a.cap");
  }
  check_all_shown(bench, {"measure", "explain", "compare", "capture check"});
}

TEST_CASE("in the inspector no byte of a name acts on the terminal") {
  const Bench bench;
  for (const auto& hostile : hostile_strings) {
    const std::string name = "c" + hostile;
    bench.write(name, with_hostile_names(bench.read("good.cap"), hostile));
    bench.write(name + ".notes", "0\tnoted " + hostile + "\n");
    // By way of a link, since the name has to pass through a shell that a terminal runs.
    bench.write("go.sh", "exec '" HOPBENCH_BINARY "' inspect " + quoted(name) + "\n");
    const Terminal terminal(bench, 120, 40, "--version; sh go.sh");
    REQUIRE(terminal.comes("capture complete"));
    terminal.send("Home");
    REQUIRE(terminal.comes("noted "));
    terminal.send("n");
    REQUIRE(terminal.comes("Enter: journey"));
    terminal.send("Enter");
    REQUIRE(terminal.comes("Journey of exchange"));
    terminal.send("Escape");
    terminal.send("'?'");
    REQUIRE(terminal.comes("How to read the map"));
    terminal.send("x");
    terminal.send("mhere Enter");
    REQUIRE(terminal.comes("written: c"));
    terminal.send("q");
    REQUIRE(terminal.comes("it gave 0"));
    CHECK(terminal.sent().find(mark) != std::string::npos);
    CHECK(terminal.sent().find("\x1b[?1049h") != std::string::npos);
    CHECK(wrong_in(without_own_controls(terminal.sent())) == "");
  }
}

}  // namespace hopbench
