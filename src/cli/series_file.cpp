#include "cli/series_file.h"

#include <fmt/format.h>
#include <unistd.h>

#include <cerrno>
#include <cstdio>
#include <memory>
#include <optional>
#include <vector>

#include "base/duration.h"
#include "cli/mechanism_options.h"
#include "cli/read_capture.h"
#include "cli/say.h"
#include "record/new_file.h"
#include "seen/reality.h"
#include "study/series.h"
#include "text/scenario.h"
#include "view/series_csv.h"

namespace hopbench {
namespace {

constexpr Nanos shortest_step = second;
constexpr Nanos longest_step = 10 * 86'400 * second;
constexpr std::size_t written_at_once = std::size_t{1} << 16U;

std::optional<Nanos> step_of(const std::string& text) {
  std::string why;
  const auto step = parse_duration(text, &why);
  if (!step) {
    say_line("hopbench: --step: {}\n", why);
    return std::nullopt;
  }
  if (*step >= shortest_step && *step <= longest_step && *step % millisecond == 0) return step;
  say_line("hopbench: --step: \"{}\" is out of range: 1s to 10d, in whole milliseconds\n", text);
  return std::nullopt;
}

/// The first head of a capture that can be read, if there is one.
std::optional<CaptureHead> head_of(const std::string& path) {
  std::string why;
  const auto capture = open_capture(path, why);
  if (!capture) return std::nullopt;
  Record record;
  while (capture->next(record)) {
    if (record.kind == RecordKind::head) return record.head;
  }
  return std::nullopt;
}

/// Gathers text and writes it in large pieces.
class Output {
 public:
  explicit Output(int file) : file_(file) {}
  ~Output() { ::close(file_); }
  Output(const Output&) = delete;
  Output& operator=(const Output&) = delete;

  std::string& text() { return text_; }
  /// False once something could not be written.
  bool flush(bool all) {
    while (error_ == 0 && (text_.size() >= written_at_once || (all && !text_.empty()))) {
      const ssize_t written = ::write(file_, text_.data(), text_.size());
      if (written < 0 && errno == EINTR) continue;
      if (written < 0) {
        error_ = errno;
      } else {
        text_.erase(0, static_cast<std::size_t>(written));
      }
    }
    return error_ == 0;
  }
  [[nodiscard]] int error() const { return error_; }

 private:
  int file_;
  int error_ = 0;
  std::string text_;
};

}  // namespace

ExitCode write_series(const std::string& capture, const SeriesOptions& options) {
  const auto step = step_of(options.step);
  if (!step) return exit_bad_input;
  const auto head = head_of(capture);
  if (!head) return exit_done;  // measuring it has said why
  std::vector<Problem> problems;
  auto scenario = load_recorded({capture, head->scenario_text}, stored_bus(head->bus_text), problems);
  if (!scenario) {
    say_line("hopbench: {}: no series: the scenario in it cannot be read\n", capture);
    return exit_bad_input;
  }
  apply_written(*scenario);
  const Protocol protocol(scenario->bus);
  std::optional<PackTrack> track;
  if (anything_simulated(reality_of(head->run))) track.emplace(scenario->chain, head->run.seed);

  const int file = open_new_file(options.path);
  if (file < 0) {
    say_line("hopbench: {}: {}\n", options.path, file_error(-file));
    return exit_trouble;
  }
  Output output(file);
  append_series_head(head->run, track.has_value(), output.text());
  Series series(*step, &protocol, track ? &*track : nullptr, [&](const SeriesRow& row) {
    append_series_row(row, track.has_value(), output.text());
    return output.flush(false);
  });
  CaptureRead read;
  if (const auto code = read_capture(capture, series, read); code != exit_done) return code;
  if (track && !track->lost().empty())
    say_line("hopbench: {}: not all that was simulated is in the series: {}\n", capture, track->lost());
  if (output.flush(true)) return exit_done;
  say_line("hopbench: {}: cannot be written: {}\n", options.path, file_error(output.error()));
  return exit_trouble;
}

}  // namespace hopbench
