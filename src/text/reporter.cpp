#include <algorithm>
#include <tuple>

#include "text/outline.h"

namespace hopbench {
namespace {

constexpr int tab_width = 8;
constexpr std::size_t longest_line_kept = 10'000;  // bytes

/// Column from 1 in characters, from the tokenizer's column.
int character_column(std::string_view line, int column) {
  int at = 0;
  int characters = 0;
  for (const char c : line) {
    if (at >= column) break;
    at += c == '\t' ? tab_width - at % tab_width : 1;
    if ((static_cast<unsigned char>(c) & 0xc0U) != 0x80U) ++characters;
  }
  return characters + 1;
}

}  // namespace

Reporter::Reporter(const TextFile& file) : file_(&file), line_starts_{0} {
  for (std::size_t i = 0; i < file.text.size(); ++i) {
    if (file.text[i] == '\n') line_starts_.push_back(i + 1);
  }
}

std::string_view Reporter::line(int number) const {
  const auto n = static_cast<std::size_t>(number);
  if (n >= line_starts_.size()) return {};
  return line_of(std::string_view{file_->text}.substr(line_starts_[n]), 1);
}

Reporter::LineAndColumn Reporter::shown(Place place) const {
  return {place.line + 1, character_column(line(place.line), place.column)};
}

void Reporter::say(Place place, std::string what) {
  if (errors_ >= max_problems) {
    cut_ = true;
    throw TooManyProblems{};
  }
  ++errors_;
  found_.push_back({place, std::move(what), Severity::error});
}

void Reporter::warn(Place place, std::string what) {
  if (++warnings_ <= max_problems) found_.push_back({place, std::move(what), Severity::warning});
}

void Reporter::hand_over(std::vector<Problem>& problems) {
  const auto by_place = [](const Found& a, const Found& b) {
    return std::tie(a.place.line, a.place.column) < std::tie(b.place.line, b.place.column);
  };
  std::stable_sort(found_.begin(), found_.end(), by_place);
  const auto same = [](const Found& a, const Found& b) {
    return a.place.line == b.place.line && a.place.column == b.place.column && a.severity == b.severity &&
           a.what == b.what;
  };
  found_.erase(std::unique(found_.begin(), found_.end(), same), found_.end());
  for (Found& found : found_) {
    const std::string_view source = line(found.place.line);
    // A line that no editor shows as one is no help, and a hundred copies of it would be a burden.
    const std::string_view kept = source.size() <= longest_line_kept ? source : std::string_view{};
    const LineAndColumn at = shown(found.place);
    problems.push_back({file_->name, at.line, at.column, std::move(found.what), std::string{kept}, found.severity});
  }
  if (cut_) problems.push_back({file_->name, 0, 0, "there are more problems than are shown here", ""});
  if (warnings_ > max_problems) {
    problems.push_back({file_->name, 0, 0, "there are more warnings than are shown here", "", Severity::warning});
  }
  found_.clear();
  errors_ = warnings_ = 0;
  cut_ = false;
}

const Outline* Outline::find(std::string_view field_name, int index) const {
  if (message == nullptr) return nullptr;
  const auto* field = message->FindFieldByName(std::string{field_name});
  if (field == nullptr) return nullptr;
  const auto found = inside.find({field->number(), index});
  return found == inside.end() ? nullptr : found->second.get();
}

Spot Spot::in(std::string_view field, int index) const {
  const Outline* found = node_->find(field, index);
  return {found != nullptr ? *found : *node_, *reporter_};
}

void Spot::say(std::string what) const { reporter_->say(place(), std::move(what)); }

void Spot::warn(std::string what) const { reporter_->warn(place(), std::move(what)); }

}  // namespace hopbench
