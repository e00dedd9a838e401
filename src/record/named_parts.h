// Files of captures as somebody named them one by one: which of them are to be read on from one to the next.
#pragma once

#include <cstdint>
#include <memory>
#include <optional>
#include <string>
#include <utility>
#include <vector>

#include "record/capture_reader.h"

namespace hopbench {

/// What a file says of its place in a capture.
struct FilePlace {
  std::uint64_t run_id = 0;
  std::uint32_t number = 0;    // of the file; a cut is the first of its own
  std::optional<Nanos> floor;  // up to when the files before it reach; none: its first block cannot be read
  std::optional<Nanos> until;  // up to when it reaches itself, if it was ended in order
  bool goes_on = false;        // and the run goes on in a further file
};

/// None if it cannot be read or has no block that can be. Reads its first and last blocks.
std::optional<FilePlace> place_of(const std::string& path);

/// Files of one capture, each to follow the one before, or a single one.
struct NamedPart {
  std::vector<std::pair<std::uint32_t, std::string>> files;  // never empty; numbers rise
  std::optional<FilePlace> place;                            // of the first one

  [[nodiscard]] const std::string& name() const { return files.front().second; }
  /// Null, with the reason in `why`, if the first one cannot be opened.
  [[nodiscard]] std::unique_ptr<CaptureReader> open(std::string& why) const;
};

/// None if files of one capture are named in another order than their numbers': in one line in `why`.
std::optional<std::vector<NamedPart>> named_parts(const std::vector<std::string>& paths, std::string& why);

/// The same without those that are a file named before, by whatever name. `told` gets a line for each of these.
std::vector<std::string> each_once(const std::vector<std::string>& paths, std::vector<std::string>& told);

}  // namespace hopbench
