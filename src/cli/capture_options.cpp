#include "cli/capture_options.h"

#include <fmt/format.h>

#include <cerrno>

#include "cli/say.h"
#include "record/ack_lines.h"
#include "record/byte_size.h"

namespace hopbench {
namespace {

/// Smaller files would be mostly heads.
constexpr std::uint64_t least_rotate_bytes = 1'000'000;

bool refuse(const std::string& what) {
  say_line("hopbench: {}\n", what);
  return false;
}

}  // namespace

void add_capture_options(CLI::App& command, CaptureOptions& options) {
  command.add_option("--capture", options.file, "Record to this new file, e.g. run.hbcap (default: record nothing)")
      ->type_name("FILE")
      ->check([](const std::string& name) { return name.empty() ? "a file name is wanted" : ""; });
  command
      .add_option("--rotate", options.rotate,
                  "Go on in a further file (FILE.0001, ...) when one has this size, e.g. 256MB (default: one file)")
      ->type_name("SIZE");
  auto* thin = command
                   .add_option("--keep-one-in", options.keep_one_in,
                               "Record one in N healthy exchanges whole and count the rest, e.g. 20 (default: all; "
                               "0: none)")
                   ->type_name("N");
  command
      .add_option("--around", options.around,
                  "Record K exchanges before and after each that is not healthy, with --keep-one-in (default: 3)")
      ->type_name("K")
      ->needs(thin)
      ->capture_default_str();
  command
      .add_option(
          "--at-most", options.at_most,
          "Keep the capture within this size, e.g. 1GB: the fuller it is, the more is only counted (default: no limit)")
      ->type_name("SIZE");
  command
      .add_option("--ack-fd", options.ack_fd,
                  "Write to descriptor N how many records are synced so far, e.g. 3 (default: nowhere)")
      ->type_name("N");
}

bool apply(const CaptureOptions& options, WritePlan& plan) {
  if (options.file.empty()) {
    if (!options.rotate.empty()) return refuse("--rotate goes with --capture");
    if (options.ack_fd) return refuse("--ack-fd goes with --capture");
    if (options.keep_one_in) return refuse("--keep-one-in goes with --capture");
    if (!options.at_most.empty()) return refuse("--at-most goes with --capture");
    return true;
  }
  if (!options.rotate.empty()) {
    const auto size = parse_byte_size(options.rotate);
    if (!size) return refuse(fmt::format("--rotate {}: give a size, such as 256MB", options.rotate));
    if (*size < least_rotate_bytes) return refuse(fmt::format("--rotate {}: must be at least 1MB", options.rotate));
    plan.rotate_bytes = *size;
  }
  if (!options.at_most.empty()) {
    const auto size = parse_byte_size(options.at_most);
    if (!size) return refuse(fmt::format("--at-most {}: give a size, such as 1GB", options.at_most));
    if (*size < least_rotate_bytes) return refuse(fmt::format("--at-most {}: must be at least 1MB", options.at_most));
  }
  if (options.ack_fd) {
    switch (AckLines::trouble_with(*options.ack_fd)) {
      case 0:
        break;
      case EACCES:
        return refuse(fmt::format("--ack-fd {}: it is open for reading only", *options.ack_fd));
      default:
        return refuse(fmt::format("--ack-fd {}: no such descriptor is open", *options.ack_fd));
    }
  }
  return true;
}

}  // namespace hopbench
