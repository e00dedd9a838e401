// hopbench frame BUS: the bytes of an ask or answer spelled out, and bytes read by a description.
#include <fmt/format.h>

#include <charconv>
#include <cstdio>
#include <fstream>
#include <iostream>
#include <iterator>
#include <memory>
#include <optional>
#include <string>
#include <vector>

#include "bus/bits.h"
#include "bus/crc_models.h"
#include "cli/commands.h"
#include "cli/say.h"
#include "scenario/stand_in.h"
#include "text/bus.h"
#include "text/hex_bytes.h"
#include "text/scenario.h"
#include "text/suggest.h"
#include "view/frame_report.h"
#include "view/paragraph.h"

namespace hopbench {
namespace {

struct FrameOptions {
  std::string bus;
  std::vector<std::string> hex;
  std::string file;
  std::string text;
  std::string topic;
  std::string role;
  std::uint64_t node = 1;
  std::uint64_t exchange = 1;
  std::uint64_t passes = 1;
  std::string reason = "bad_value";
  std::vector<std::string> values;
  bool checks = false;
  bool json = false;
};

std::string check_value(const NamedCrc& each) {
  return fmt::format("{:#0{}x}", each.check, (each.model.width + 3) / 4 + 2);
}

/// Names of models hold nothing that JSON would have to escape.
int print_checks_as_json() {
  fmt::print("{{\n  \"models\": [");
  const char* before = "\n";
  for (const NamedCrc& each : named_crcs()) {
    fmt::print("{}    {{\"name\": \"{}\", \"also_called\": \"{}\", \"width\": {}, \"check_value\": \"{}\"}}", before,
               each.name, each.other_name, each.model.width, check_value(each));
    before = ",\n";
  }
  fmt::print("\n  ]\n}}\n");
  return exit_done;
}

int print_checks() {
  fmt::print("{:<26} {:>5}  {:<18} {}\n", "model", "width", "check value", "also called");
  for (const NamedCrc& each : named_crcs()) {
    std::string line =
        fmt::format("{:<26} {:>5}  {:<18} {}", each.name, each.model.width, check_value(each), each.other_name);
    line.erase(line.find_last_not_of(' ') + 1);
    fmt::print("{}\n", line);
  }
  fmt::print("{}", paragraph(0, "",
                             "In a bus description: check { name: \"check\" crc { model: \"CRC-16/MODBUS\" } }. The "
                             "check value is that of the nine characters 123456789."));
  return exit_done;
}

/// The description that comes with the program under this name, or that of a file.
std::optional<BusDescription> bus_named(const std::string& name) {
  auto file = shipped_bus(name);
  if (!file) {
    std::string why;
    file = read_text_file(name, why);
    if (!file) {
      const bool path = name.find('/') != std::string::npos || name.find('.') != std::string::npos;
      say_line("hopbench frame: {}: {}{}\n", name, why, path ? "" : suggestion(name, shipped_bus_names()));
      return std::nullopt;
    }
  }
  std::vector<Problem> problems;
  auto bus = load_bus(*file, problems);
  for (const Problem& problem : problems) fmt::print(stderr, "{}", render(problem));
  return bus;
}

std::optional<Role> role_named(const std::string& name) {
  if (name == "ask") return Role::ask;
  if (name == "answer") return Role::answer;
  if (name == "refusal") return Role::refusal;
  return std::nullopt;
}

std::optional<std::int64_t> whole_number(std::string_view text) {
  const bool below = text.starts_with('-');
  if (below) text.remove_prefix(1);
  const bool hex = text.starts_with("0x") || text.starts_with("0X");
  if (hex) text.remove_prefix(2);
  std::uint64_t number = 0;
  const auto [end, error] = std::from_chars(text.data(), text.data() + text.size(), number, hex ? 16 : 10);
  if (error != std::errc() || end != text.data() + text.size()) return std::nullopt;
  return static_cast<std::int64_t>(below ? ~number + 1 : number);
}

/// "name=1,2,3" of each option. False if one is not like that; what is wrong has been said.
bool read_values(const std::vector<std::string>& texts, StandIn::Given& given) {
  for (const std::string& text : texts) {
    const std::size_t equals = text.find('=');
    std::vector<std::int64_t> numbers;
    bool good = equals != std::string::npos && equals > 0;
    for (std::size_t from = equals + 1; good;) {
      const std::size_t comma = text.find(',', from);
      const auto number =
          whole_number(std::string_view(text).substr(from, comma == std::string::npos ? comma : comma - from));
      good = number.has_value();
      if (good) numbers.push_back(*number);
      if (comma == std::string::npos) break;
      from = comma + 1;
    }
    if (!good) {
      (void)bad_input("--value " + in_quotes(text) +
                      " is no value; write a name and whole numbers, for example first=0 or cell_mv=3300,3310");
      return false;
    }
    given[text.substr(0, equals)] = numbers;
  }
  return true;
}

std::vector<std::string> names_of_values(const TopicSpec& topic) {
  std::vector<std::string> names;
  const auto add = [&](const FieldSpec& field) {
    if (field.constant || !field.copied_from_ask.empty()) return;
    for (const std::string& name : {field.name, field.quantity}) {
      if (!name.empty() && std::find(names.begin(), names.end(), name) == names.end()) names.push_back(name);
    }
  };
  for (const Layout* layout : {&topic.ask, &topic.answer}) {
    for (const LayoutItem& item : *layout) {
      if (item.field) add(*item.field);
      if (!item.group) continue;
      names.push_back(item.group->name);
      for (const FieldSpec& field : item.group->fields) add(field);
    }
  }
  return names;
}

/// The first given number that has no room in a field of its name; empty if all have.
std::string too_large(const TopicSpec& topic, const StandIn::Given& given) {
  std::string what;
  const auto look = [&](const FieldSpec& field) {
    const auto found = given.find(field.name);
    const FieldCode code(field);
    for (std::size_t i = 0; found != given.end() && what.empty() && i < found->second.size(); ++i) {
      if (code.has_room_for(static_cast<std::uint64_t>(found->second[i]))) continue;
      what = fmt::format("{} holds raw numbers of 0 to {}, not {}", field.name, code.limit(), found->second[i]);
    }
  };
  for (const Layout* layout : {&topic.ask, &topic.answer}) {
    for (const LayoutItem& item : *layout) {
      if (item.field) look(*item.field);
      for (std::size_t f = 0; item.group && f < item.group->fields.size(); ++f) look(item.group->fields[f]);
    }
  }
  return what;
}

std::string why_not(Refusal reason) {
  switch (reason) {
    case Refusal::unknown_topic:
      return "a value has no quantity that fills it";
    case Refusal::bad_address:
      return "a register or cell that is asked for is not there";
    case Refusal::bad_value:
    case Refusal::busy:
    case Refusal::bad_check:
      break;
    case Refusal::too_long:
      return "it would be longer than a frame may be";
  }
  return "a count or a value does not fit its field";
}

/// A frame of this topic. None if it cannot be made; `why` then says what stands against it.
std::optional<Frame> made(const Protocol& protocol, std::uint32_t topic, Role role, const FrameOptions& options,
                          StandIn& values, std::string& why) {
  Frame ask = protocol.ask(topic, options.node, options.exchange, options.passes);
  const auto asked = protocol.fill(ask, Protocol::Side::ask, {}, values);
  if (asked) {
    why = "the ask cannot be made: " + why_not(*asked);
    return std::nullopt;
  }
  if (role == Role::ask) return protocol.as_read(ask) ? std::optional(ask) : std::nullopt;
  if (role == Role::refusal) {
    if (!protocol.can_refuse()) {
      why = "this bus has no refusals";
      return std::nullopt;
    }
    for (int i = 0; i <= static_cast<int>(Refusal::too_long); ++i) {
      const auto reason = static_cast<Refusal>(i);
      if (name_of(reason) == options.reason) return protocol.refusal_of(ask, options.node, options.passes, reason);
    }
    why = "there is no reason " + in_quotes(options.reason) +
          "; known are unknown_topic, bad_address, bad_value, busy, bad_check, too_long";
    return std::nullopt;
  }
  Frame answer = protocol.answer_to(ask, options.node, options.passes);
  const auto refused = protocol.fill(answer, Protocol::Side::answer, ask.payload.view(), values);
  if (!refused) return answer;
  why = "the answer cannot be made: " + why_not(*refused);
  return std::nullopt;
}

FrameLook look_at_frame(const Protocol& protocol, const Frame& frame, Role role) {
  Content content;
  protocol.encode(frame, content);
  return look_at(protocol, content.view(), role);
}

/// One line for each frame that the description has.
int print_all(const Protocol& protocol, const FrameOptions& options) {
  std::vector<FrameLook> looks;
  for (std::uint32_t topic = 0; topic < protocol.description().topics.size(); ++topic) {
    for (const Role role : {Role::ask, Role::answer}) {
      StandIn values({}, protocol.topic_spec(topic));
      std::string why;
      const auto frame = made(protocol, topic, role, options, values, why);
      const std::string title =
          fmt::format("{} {}", role == Role::ask ? "ask   " : "answer", protocol.topic_spec(topic).name);
      if (!frame) {
        if (!options.json) fmt::print("{}", paragraph(2, title + ": ", why));
        continue;
      }
      looks.push_back(look_at_frame(protocol, *frame, role));
      if (options.json) continue;
      std::string bytes;
      for (const std::uint8_t byte : looks.back().wire) bytes += fmt::format("{:02x} ", byte);
      fmt::print("{}\n{}", title, paragraph(4, "", bytes));
    }
  }
  if (options.json) fmt::print("{}", frames_json(protocol, looks));
  return exit_done;
}

int print_made(const Protocol& protocol, const FrameOptions& options) {
  const auto topic = protocol.topic_named(options.topic);
  if (!topic) {
    std::vector<std::string> known;
    for (const TopicSpec& each : protocol.description().topics) known.push_back(each.name);
    return bad_input("the bus " + protocol.description().name + " has no topic " + in_quotes(options.topic) +
                     suggestion(options.topic, known));
  }
  StandIn::Given given;
  if (!read_values(options.values, given)) return exit_bad_input;
  const TopicSpec& spec = protocol.topic_spec(*topic);
  const std::vector<std::string> known = names_of_values(spec);
  for (const auto& [name, numbers] : given) {
    if (std::find(known.begin(), known.end(), name) == known.end())
      return bad_input("topic " + spec.name + " has no value " + in_quotes(name) + suggestion(name, known));
  }
  if (const std::string what = too_large(spec, given); !what.empty()) return bad_input(what);
  StandIn values(given, spec);
  const Role role = role_named(options.role).value_or(Role::ask);
  std::string why;
  const auto frame = made(protocol, *topic, role, options, values, why);
  if (!frame)
    return bad_input(why.empty() ? "the ask does not read back as it was made: a number is too large for its field"
                                 : why);
  const std::vector<FrameLook> looks{look_at_frame(protocol, *frame, role)};
  if (options.json) {
    fmt::print("{}", frames_json(protocol, looks));
  } else {
    fmt::print("{}", frame_text(protocol, looks.front()));
  }
  std::string taken;
  for (const auto& [name, value] : values.taken())
    taken += fmt::format("{}{}={}", taken.empty() ? "" : " ", name, value);
  if (!taken.empty())
    fmt::print(stderr, "{}",
               paragraph(0, "", "Not given, so taken: " + taken + ". Give others with --value NAME=NUMBER."));
  return exit_done;
}

/// The bytes to be read; none if something is wrong with them, which has been said.
std::optional<std::vector<HexRun>> bytes_of(const FrameOptions& options, int& exit_code) {
  std::string problem;
  exit_code = exit_bad_input;
  if (!options.text.empty()) {
    if (auto bytes = bytes_of_text(options.text, problem)) return std::vector<HexRun>{*bytes};
  } else if (!options.file.empty()) {
    std::string text;
    if (options.file == "-") {
      text.assign(std::istreambuf_iterator<char>(std::cin), {});
    } else {
      const auto file = read_text_file(options.file, problem);
      if (!file) {
        exit_code = exit_trouble;
        say_line("hopbench frame: {}: {}\n", options.file, problem);
        return std::nullopt;
      }
      text = file->text;
    }
    if (auto runs = hex_runs(options.file == "-" ? "standard input" : options.file, text, problem)) return runs;
  } else {
    std::string line;
    for (const std::string& each : options.hex) line += (line.empty() ? "" : " ") + each;
    if (auto runs = hex_runs("HEX", line, problem)) return runs;
  }
  say_line("{}\n", problem);
  return std::nullopt;
}

int print_read(const Protocol& protocol, const FrameOptions& options) {
  int exit_code = exit_bad_input;
  const auto runs = bytes_of(options, exit_code);
  if (!runs) return exit_code;
  const auto looks = frames_in(protocol, *runs, role_named(options.role));
  bool all_fit = !looks.empty();
  for (const FrameLook& look : looks) all_fit = all_fit && fits(look);
  if (options.json) {
    fmt::print("{}", frames_json(protocol, looks));
  } else {
    for (std::size_t i = 0; i < looks.size(); ++i)
      fmt::print("{}{}", i == 0 ? "" : "\n", frame_text(protocol, looks[i]));
    if (looks.empty()) fmt::print("No frame: nothing but what stands between frames.\n");
  }
  return all_fit ? exit_done : exit_failed;
}

int run_frame(const FrameOptions& options) {
  if (options.checks) return options.json ? print_checks_as_json() : print_checks();
  if (options.bus.empty())
    return bad_input("frame needs a bus: a name such as bench-frame, or a file (see hopbench frame --help)");
  const int inputs = (options.hex.empty() ? 0 : 1) + (options.file.empty() ? 0 : 1) + (options.text.empty() ? 0 : 1);
  if (inputs > 1) return bad_input("give bytes in one way: HEX, --file or --text");
  if (inputs > 0 && !options.topic.empty())
    return bad_input("--topic makes a frame, and bytes are read; give one of the two");
  if (!options.role.empty() && !role_named(options.role))
    return bad_input("--role is ask, answer or refusal, not " + in_quotes(options.role));
  const auto bus = bus_named(options.bus);
  if (!bus) return exit_bad_input;
  const Protocol protocol(*bus);
  if (inputs > 0) return print_read(protocol, options);
  return options.topic.empty() ? print_all(protocol, options) : print_made(protocol, options);
}

}  // namespace

void add_frame(CLI::App& app, int& exit_code) {
  auto options = std::make_shared<FrameOptions>();
  CLI::App* command = app.add_subcommand("frame", "Spell out the bytes of a frame, or read bytes by a bus description");
  command->add_option("BUS", options->bus, "Bus description: a file, or the name of one that comes with hopbench");
  command->add_option("HEX", options->hex, "Bytes to read, in hexadecimal, for example b5 01 21");
  command->add_option("--file", options->file,
                      "Read the bytes from a file of hexadecimal text or a hex dump; - reads standard input");
  command->add_option("--text", options->text, "Read these characters; \\r, \\n and \\xhh stand for bytes");
  command->add_option("--topic", options->topic,
                      "Make a frame of this topic (default: a line for each frame of the bus)");
  command->add_option("--role", options->role,
                      "Make, or read the bytes as: ask, answer or refusal (default: ask; read: as the bytes tell)");
  command->add_option("--node", options->node, "Address of the node, or its distance in hops (default: 1)");
  command->add_option("--exchange", options->exchange, "Number of the exchange (default: 1)");
  command->add_option("--passes", options->passes, "Passes left (default: 1)");
  command->add_option("--reason", options->reason, "Reason of a refusal (default: bad_value)");
  command->add_option("--value", options->values,
                      "Set a field or quantity, for example first=0 or cell_mv=3300,3310; can be repeated");
  command->add_flag("--checks", options->checks, "List the CRC models that a bus description can name");
  command->add_flag("--json", options->json, "Print JSON");
  command->callback([options, &exit_code] { exit_code = run_frame(*options); });
}

}  // namespace hopbench
