// A folder that keeps the results of numbered jobs, a small file for each, so that work that was stopped goes on, and
// so that several programs, on one machine or many, share it out. Results are bytes here. docs/sweep.md has the layout.
//
// A result is written under a name of its own, synced, and given its final name, which is never taken from another:
// what has that name is whole. Two programs that make the same result do no harm to each other.
#pragma once

#include <cstddef>
#include <cstdint>
#include <optional>
#include <span>
#include <string>
#include <string_view>
#include <variant>
#include <vector>

#include "record/file_ops.h"

namespace hopbench {

/// Something that the results depend on, by a name that a person reads.
struct FolderPart {
  std::string name;  // letters and spaces
  std::string value;
  friend bool operator==(const FolderPart&, const FolderPart&) = default;
};

struct FolderTrouble {
  bool differs = false;  // it was made for other jobs; else it cannot be used
  std::string why;       // one line, without the folder's name
};

class ResultFolder {
 public:
  /// Makes the folder, or takes one that was made for the same jobs. `ops` must outlive it.
  static std::variant<ResultFolder, FolderTrouble> open(FileOps& ops, const std::string& path,
                                                        const std::vector<FolderPart>& made_for);
  /// One that is there, whatever it was made for; nothing is written to it.
  static std::variant<ResultFolder, FolderTrouble> existing(const std::string& path);

  [[nodiscard]] const std::string& path() const { return path_; }
  [[nodiscard]] const std::vector<FolderPart>& made_for() const { return made_for_; }

  /// None if it is not there, or if it is damaged or from another folder: then `damaged` is true.
  [[nodiscard]] std::optional<std::vector<std::uint8_t>> get(std::size_t index, bool& damaged) const;
  /// 0 or an errno. What is there already stays, unless it is damaged. From any thread, of different indices.
  int put(std::size_t index, std::span<const std::uint8_t> result) const;
  [[nodiscard]] std::string file_of(std::size_t index) const;

 private:
  ResultFolder(FileOps& ops, std::string path, std::vector<FolderPart> made_for);
  [[nodiscard]] std::uint32_t check_of(std::size_t index, std::span<const std::uint8_t> result) const;

  FileOps* ops_;
  std::string path_;
  std::vector<FolderPart> made_for_;
  std::string head_;  // made_for_ as written
};

/// The name of the first part in which they differ, and how, in one line; empty if in none.
std::string difference_of(const std::vector<FolderPart>& there, const std::vector<FolderPart>& wanted);

}  // namespace hopbench
