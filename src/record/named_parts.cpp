#include "record/named_parts.h"

#include <fmt/format.h>

#include <algorithm>

#include "record/block_search.h"
#include "record/new_file.h"

namespace hopbench {
namespace {

/// The files of a part, and no others, whatever lies beside them.
class NamedFiles final : public Segments {
 public:
  explicit NamedFiles(const std::vector<std::pair<std::uint32_t, std::string>>& files) : files_(files) {}
  std::unique_ptr<ByteSource> open(std::uint32_t segment) override {
    std::string why;
    for (const auto& [number, path] : files_) {
      if (number == segment) return open_file(path, why);
    }
    return nullptr;
  }
  std::vector<std::uint32_t> further() override {
    std::vector<std::uint32_t> numbers;
    for (std::size_t i = 1; i < files_.size(); ++i) numbers.push_back(files_[i].first);
    return numbers;
  }

 private:
  std::vector<std::pair<std::uint32_t, std::string>> files_;
};

}  // namespace

std::optional<FilePlace> place_of(const std::string& path) {
  std::string why;
  auto source = open_file(path, why);
  if (!source) return std::nullopt;
  std::optional<BlockHeader> header;
  for (std::uint64_t block = 0; block * block_bytes < source->size() && !header; ++block) {
    header = header_at(*source, block, std::nullopt);
  }
  if (!header) return std::nullopt;
  FilePlace place;
  place.run_id = header->run_id;
  place.number = header->segment;
  if (header->block == 0) place.floor = header->close_floor;
  CaptureReader reader(std::move(source));
  reader.latest();
  place.until = reader.ended_at();
  place.goes_on = reader.goes_on();
  return place;
}

std::unique_ptr<CaptureReader> NamedPart::open(std::string& why) const {
  auto first = open_file(name(), why);
  if (!first) return nullptr;
  return std::make_unique<CaptureReader>(std::move(first), std::make_unique<NamedFiles>(files), files.front().first);
}

std::optional<std::vector<NamedPart>> named_parts(const std::vector<std::string>& paths, std::string& why) {
  std::vector<NamedPart> parts;
  std::optional<FilePlace> before;
  for (const auto& path : paths) {
    const auto place = place_of(path);
    const auto number = place ? place->number : 0;
    // What was ended for good, as a cut is, has nothing to be read on in.
    const bool open = before && place && before->run_id == place->run_id && (!before->until || before->goes_on);
    if (open && number > 0 && number < before->number) {
      why = fmt::format("{}: is file {} of its capture, and file {} was named before it; name parts in order of time",
                        path, number, before->number);
      return std::nullopt;
    }
    if (!open || number <= before->number) parts.push_back({{}, place});
    parts.back().files.emplace_back(number, path);
    before = place;
  }
  return parts;
}

std::vector<std::string> each_once(const std::vector<std::string>& paths, std::vector<std::string>& told) {
  std::vector<std::string> once;
  for (const auto& path : paths) {
    const auto same =
        std::find_if(once.begin(), once.end(), [&](const auto& other) { return is_same_file(path, other); });
    if (same == once.end()) {
      once.push_back(path);
    } else {
      told.push_back(path + ": the same file as " + *same + "; it counts once");
    }
  }
  return once;
}

}  // namespace hopbench
