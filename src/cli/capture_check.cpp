#include "cli/capture_check.h"

#include <fmt/format.h>

#include <algorithm>
#include <boost/json/array.hpp>
#include <boost/json/object.hpp>
#include <cstdio>

#include "cli/say.h"
#include "record/capture_census.h"
#include "seen/reality.h"
#include "view/file_trouble.h"
#include "view/json_text.h"
#include "view/number_text.h"

namespace hopbench {
namespace {

namespace json = boost::json;

constexpr std::array<const char*, 14> kind_names{
    "",      "head",  "build", "clean_exchange", "touched_exchange", "stray", "arrival", "end",
    "tally", "state", "gap",   "dropped",        "command",          "note"};

std::string name_of_kind(std::size_t kind) {
  return kind > 0 && kind < kind_names.size() ? kind_names[kind] : fmt::format("kind_{}", kind);
}

ExitCode verdict(const CaptureCensus& census) {
  if (!census.head) return exit_bad_input;
  return census.damage.in_the_middle() ? exit_incomplete : exit_done;
}

std::string format_of(const CaptureHead& head) { return fmt::format("{}.{}", head.major, head.minor); }

void print_line(const char* what, const std::string& text) { fmt::print("  {:<10}{}\n", what, text); }

void print_table(const std::string& path, const CaptureCensus& census) {
  fmt::print("{}: {}{}\n", harmless(path), census.damage.in_the_middle() ? "damaged" : "sound",
             census.damage.goes_on    ? ", goes on in a file that is not here"
             : census.damage.unclosed ? ", not closed"
                                      : "");
  print_line("format", format_of(*census.head) +
                           (census.build ? ", by hopbench " + harmless(census.build->version) : std::string()));
  print_line("run", fmt::format("{}, seed {}, {}, id {:016x}", harmless(census.head->run.scenario),
                                census.head->run.seed, in_passing(reality_of(census.head->run)), census.head->run_id));
  if (census.head->segment > 0) print_line("segment", fmt::format("{}", census.head->segment));
  if (census.files > 1) print_line("files", fmt::format("{}", census.files));
  if (census.first && census.last) {
    print_line("covers", fmt::format("from {} to {}", long_span(*census.first), long_span(*census.last)));
  }
  print_line("exchanges", fmt::format("{} recorded, {} of them answered; {} tallied", grouped(census.exchanges),
                                      grouped(census.outcomes[0]), grouped(census.tallied)));
  print_line("records", grouped(census.records));
  for (std::size_t kind = 0; kind < census.kinds.size(); ++kind) {
    if (census.kinds[kind] > 0) fmt::print("    {:<18}{:>12}\n", name_of_kind(kind), grouped(census.kinds[kind]));
  }
  if (census.dropped_records > 0) {
    print_line("dropped", fmt::format("at least {} records, by its writer", grouped(census.dropped_records)));
  }
  if (census.damage.in_the_middle()) print_line("damage", damage_text(census.damage));
  if (census.damage.torn_bytes > 0) {
    print_line("torn",
               fmt::format("{} bytes of a last record that is not all there", grouped(census.damage.torn_bytes)));
  }
}

json::object as_json(const std::string& path, const CaptureCensus& census) {
  const auto& damage = census.damage;
  json::object object;
  object["file"] = path;
  object["sound"] = census.head.has_value() && !damage.in_the_middle();
  object["closed"] = !damage.unclosed;
  if (census.head) {
    object["format"] = format_of(*census.head);
    object["scenario"] = census.head->run.scenario;
    object["seed"] = census.head->run.seed;
    object["run_id"] = fmt::format("{:016x}", census.head->run_id);
    const auto reality = reality_of(census.head->run);
    object["reality"] = name_of(reality);
    object["simulated"] = anything_simulated(reality);
    object["segment"] = census.head->segment;
  }
  object["version"] = census.build ? json::value(census.build->version) : json::value(nullptr);
  object["files"] = census.files;
  object["from_ns"] = census.first ? json::value(*census.first) : json::value(nullptr);
  object["to_ns"] = census.last ? json::value(*census.last) : json::value(nullptr);
  json::object kinds;
  for (std::size_t kind = 0; kind < census.kinds.size(); ++kind) {
    if (census.kinds[kind] > 0) kinds[name_of_kind(kind)] = census.kinds[kind];
  }
  object["records"] = census.records;
  object["by_kind"] = std::move(kinds);
  object["exchanges"] = census.exchanges;
  object["answered"] = census.outcomes[0];
  object["tallied"] = census.tallied;
  object["dropped_records"] = census.dropped_records;
  const auto missing = records_missing(damage.bytes_skipped, damage.records_missing);
  object["damage"] = {
      {"bytes_skipped", damage.bytes_skipped},
      {"records_missing", missing ? json::value(*missing) : json::value(nullptr)},
      {"segments_missing", damage.segments_missing},
      {"segments_misplaced", damage.segments_misplaced},
      {"segments_cut", damage.segments_cut},
      {"first_bad_segment", damage.first_bad_segment ? json::value(*damage.first_bad_segment) : json::value(nullptr)},
      {"torn_bytes", damage.torn_bytes},
      {"causes_unreadable", damage.causes_unreadable},
      {"sum_disagrees", damage.sum_disagrees},
      {"newer", damage.newer}};
  return object;
}

/// What must be seen first: a file that cannot be read, then what is no capture, then damage.
int weight(ExitCode code) { return code == exit_trouble ? 3 : code == exit_bad_input ? 2 : code == exit_done ? 0 : 1; }

}  // namespace

std::string damage_text(const CaptureDamage& damage) {
  std::vector<std::string> found;
  if (auto skipped = skipped_text(damage.bytes_skipped, damage.records_missing); !skipped.empty())
    found.push_back(std::move(skipped));
  if (damage.bad_segments() > 0) found.push_back(file_trouble(damage));
  if (damage.causes_unreadable > 0) {
    found.push_back(fmt::format("causes of {} exchanges unreadable", grouped(damage.causes_unreadable)));
  }
  if (damage.sum_disagrees) found.emplace_back("the sum at its end does not agree");
  if (damage.newer) found.emplace_back("some of it written by a newer hopbench");
  return fmt::format("{}", fmt::join(found, ", "));
}

ExitCode check_captures(const std::vector<std::string>& paths, bool as_document) {
  ExitCode worst = exit_done;
  json::array files;
  for (const auto& path : paths) {
    std::string why;
    ExitCode code = exit_trouble;
    if (const auto reader = open_capture(path, why)) {
      const CaptureCensus census = census_of(*reader);
      code = verdict(census);
      if (as_document) files.push_back(as_json(path, census));
      if (code == exit_bad_input) {
        say_line("hopbench: {}: {}\n", path,
                 census.damage.newer ? "written by a newer hopbench" : "no capture, or its head cannot be read");
      } else if (!as_document) {
        print_table(path, census);
      }
    } else {
      say_line("hopbench: {}: {}\n", path, why);
    }
    if (weight(code) > weight(worst)) worst = code;
  }
  if (as_document) {
    fmt::print("{}", json_text(json::object{{"schema", "hopbench.capture_check/1"}, {"files", std::move(files)}}));
  }
  std::fflush(stdout);
  return worst;
}

}  // namespace hopbench
