// `hopbench inspect`: a capture on the terminal, complete or still growing.
#include <fcntl.h>
#include <fmt/format.h>
#include <unistd.h>

#include <algorithm>
#include <cerrno>
#include <chrono>
#include <cstdio>
#include <memory>
#include <optional>
#include <string>
#include <vector>

#include "cli/build_info.h"
#include "cli/commands.h"
#include "cli/read_capture.h"
#include "cli/say.h"
#include "cli/watch.h"
#include "record/byte_source.h"
#include "view/inspector.h"
#include "view/painter.h"
#include "view/terminal.h"

namespace hopbench {
namespace {

using Clock = std::chrono::steady_clock;

constexpr auto frame_time = std::chrono::milliseconds(50);        // at most 20 redraws a second
constexpr auto idle_frame_time = std::chrono::milliseconds(250);  // while all of a capture is read and nobody moves
constexpr auto reading_time = std::chrono::milliseconds(25);      // of these at most so long for reading on
constexpr std::size_t records_at_a_time = 200;

struct Options {
  std::string capture;
  bool follow = false;
  bool ascii = false;
  bool no_index = false;
};

/// What was noted down before; nothing if it cannot be read, or is no regular file.
std::string notes_at(const std::string& path) {
  constexpr std::uint64_t most = 16ULL << 20U;
  std::string why;
  const auto file = open_file(path, why);
  std::vector<std::uint8_t> bytes(file ? static_cast<std::size_t>(std::min(file->size(), most)) : 0);
  if (file) bytes.resize(file->read(0, bytes));
  return {bytes.begin(), bytes.end()};
}

/// What to say of it. Nothing that is there already is written over: it may be the capture itself.
std::string write(const Writing& writing) {
  // Never through a symbolic link: it may lead to the capture itself.
  const int how = writing.append ? O_APPEND : O_EXCL;
  const int made = ::open(writing.path.c_str(), O_WRONLY | O_CREAT | O_CLOEXEC | O_NOFOLLOW | O_NONBLOCK | how, 0644);
  std::FILE* file = made < 0 ? nullptr : ::fdopen(made, "ab");
  if (file == nullptr) {
    const bool there = errno == EEXIST || errno == ELOOP;
    return fmt::format("{} {}", there ? "not written, there is a file already:" : "cannot be written:", writing.path);
  }
  const bool whole = std::fwrite(writing.text.data(), 1, writing.text.size(), file) == writing.text.size();
  const bool closed = std::fclose(file) == 0;
  return fmt::format("{} {}", whole && closed ? "written:" : "cannot be written:", writing.path);
}

/// Reads on for a while; whether anything came.
bool read_on(Picture& picture) {
  const auto until = Clock::now() + reading_time;
  bool any = false;
  while (Clock::now() < until) {
    const auto count = picture.grow(records_at_a_time);
    any = any || count > 0;
    if (count < records_at_a_time) break;
  }
  return any;
}

void look(Painter& painter, Picture& picture, Inspector& inspector) {
  EndSignals signals;
  inspector.resize(painter.width(), painter.height());
  bool changed = true;
  auto next_paint = Clock::now();
  while (!inspector.wants_to_quit() && !EndSignals::came()) {
    const bool follow = inspector.follows();
    if ((follow || !picture.caught_up()) && read_on(picture)) {
      inspector.grown();
      changed = true;
    }
    const auto now = Clock::now();
    if (changed && now >= next_paint) {
      painter.paint(inspector.compose());
      changed = false;
      next_paint = now + (inspector.live() ? frame_time : idle_frame_time);
    }
    // While there is more to read keys are only looked for; a capture that may grow is looked at again soon; otherwise
    // there are only keys to wait for.
    int wait = !picture.caught_up() ? 0 : follow || changed ? static_cast<int>(frame_time.count()) : 500;
    while (const auto press = painter.key(wait)) {
      inspector.press(*press);
      changed = true;
      next_paint = Clock::now();
      wait = 0;
      if (inspector.wants_to_quit()) break;
    }
    if (painter.resized()) {
      inspector.resize(painter.width(), painter.height());
      changed = true;
    }
    for (const auto& writing : inspector.writings()) {
      inspector.say(write(writing));
      changed = true;
    }
  }
}

ExitCode run_inspect(const Options& options) {
  std::string why;
  bool no_capture = false;
  const auto program = options.no_index ? std::nullopt : std::optional(this_build(0).version);
  const auto picture = Picture::open(options.capture, program, why, no_capture);
  if (!picture) {
    say_line("hopbench: {}: {}\n", options.capture, why);
    return no_capture ? exit_bad_input : exit_trouble;
  }
  const auto protocol = bus_of(options.capture, picture->scenario_text(), picture->bus_text());
  Inspector inspector(*picture, protocol.get(), read_notes(notes_at(notes_path(options.capture))), options.follow);
  {
    const auto painter = Painter::open({options.ascii, colour_wanted(STDOUT_FILENO)}, why);
    if (!painter) {
      say_line("hopbench: {}; for the same numbers as text: hopbench measure {}\n", why, options.capture);
      return exit_trouble;
    }
    look(*painter, *picture, inspector);
  }
  picture->keep();
  if (picture->damage().in_the_middle()) {
    say_line("hopbench: {}: damaged in the middle; what is missing was not shown\n", options.capture);
  }
  return exit_done;
}

}  // namespace

void add_inspect(CLI::App& app, int& exit_code) {
  auto options = std::make_shared<Options>();
  auto* command = app.add_subcommand("inspect", "Show a capture on the terminal, hop by hop");
  command->add_option("capture", options->capture, "Capture file")->required()->type_name("FILE");
  command->add_flag("--follow", options->follow,
                    "Follow a capture that is still being written (default: stay where it stands)");
  command->add_flag("--ascii", options->ascii, "Draw with ASCII only (default: as the locale allows)");
  command->add_flag("--no-index", options->no_index, "Neither read the index beside the capture nor leave one");
  command->callback([options, &exit_code] { exit_code = run_inspect(*options); });
}

}  // namespace hopbench
