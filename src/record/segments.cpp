#include "record/segments.h"

#include <algorithm>
#include <charconv>
#include <filesystem>
#include <optional>
#include <string_view>
#include <utility>

#include "record/segment_path.h"

namespace hopbench {
namespace {

namespace fs = std::filesystem;

class SegmentFiles final : public Segments {
 public:
  explicit SegmentFiles(std::string path) : path_(std::move(path)) {
    // What stands before and after the number is learnt from a name, so that it is decided in one place only.
    const std::string digits = "0001";
    const std::string name = fs::path(segment_path(path_, 1)).filename().string();
    const std::string own = fs::path(path_).filename().string();
    std::size_t same = 0;
    while (same < own.size() && own[same] == name[same]) ++same;
    const std::size_t at = name.find(digits, same);
    if (at == std::string::npos) return;
    before_ = name.substr(0, at);
    after_ = name.substr(at + digits.size());
  }

  std::unique_ptr<ByteSource> open(std::uint32_t segment) override {
    std::string why;
    return open_file(segment_path(path_, segment), why);
  }

  std::vector<std::uint32_t> further() override {
    std::vector<std::uint32_t> numbers;
    const fs::path folder = fs::path(path_).parent_path();
    std::error_code error;
    for (fs::directory_iterator at(folder.empty() ? "." : folder, error), end; !error && at != end;
         at.increment(error)) {
      const std::string name = at->path().filename().string();
      const auto number = number_in(name);
      if (number && fs::path(segment_path(path_, *number)).filename() == name) numbers.push_back(*number);
    }
    // One may know what lies in a folder that one may not list.
    if (error) return by_name();
    std::sort(numbers.begin(), numbers.end());
    return numbers;
  }

 private:
  [[nodiscard]] std::vector<std::uint32_t> by_name() const {
    constexpr std::uint32_t most_passed_over = 1000;  // as a writer passes over names that are taken
    std::vector<std::uint32_t> numbers;
    for (std::uint32_t number = 1, last = 0; number - last <= most_passed_over; ++number) {
      std::error_code ignored;
      if (!fs::exists(segment_path(path_, number), ignored)) continue;
      numbers.push_back(number);
      last = number;
    }
    return numbers;
  }

  [[nodiscard]] std::optional<std::uint32_t> number_in(std::string_view name) const {
    if (before_.empty() || !name.starts_with(before_)) return std::nullopt;
    name.remove_prefix(before_.size());
    if (!name.ends_with(after_)) return std::nullopt;
    name.remove_suffix(after_.size());
    std::uint32_t number = 0;
    const auto [end, error] = std::from_chars(name.data(), name.data() + name.size(), number);
    if (error != std::errc() || end != name.data() + name.size() || number == 0) return std::nullopt;
    return number;
  }

  std::string path_;
  std::string before_;
  std::string after_;
};

}  // namespace

std::unique_ptr<Segments> segments_of(const std::string& path) { return std::make_unique<SegmentFiles>(path); }

}  // namespace hopbench
