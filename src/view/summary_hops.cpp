#include <fmt/format.h>

#include <algorithm>
#include <map>

#include "judge/limits.h"
#include "study/words.h"
#include "view/number_text.h"
#include "view/paragraph.h"
#include "view/short_names.h"
#include "view/summary_parts.h"
#include "view/text_table.h"

namespace hopbench {
namespace {

constexpr std::size_t fewest_folded = 3;  // hops in a row of several
constexpr std::size_t most_lossy = 12;    // hops with losses that have rows of their own
constexpr std::size_t names_column = 1;
constexpr std::size_t arrow = 4;  // characters of " -> "

std::uint64_t undetected_on(const Summary& summary, std::size_t link) {
  const bool known = summary.causes != nullptr && link < summary.causes->undetected.size();
  return known ? summary.causes->undetected[link] : 0;
}

/// What went wrong on the link, in words; empty if nothing did.
std::string seen_text(const LinkMeasures& link, std::uint64_t undetected) {
  std::vector<std::string> parts;
  for (std::size_t i = 1; i < symptom_count; ++i) {
    if (link.symptoms[i] > 0) {
      parts.push_back(fmt::format("{} {}", words::spaced(name_of(static_cast<Symptom>(i))), grouped(link.symptoms[i])));
    }
  }
  if (link.unknown_symptoms() > 0) parts.push_back("unknown " + grouped(link.unknown_symptoms()));
  if (link.came_damaged > 0) parts.push_back(fmt::format("damaged before {}", grouped(link.came_damaged)));
  if (link.strays > 0) parts.push_back(fmt::format("of no exchange {}", grouped(link.strays)));
  if (undetected > 0)
    parts.push_back(fmt::format("undetected {} (known because the chain is simulated)", grouped(undetected)));
  return listed(parts);
}

/// The figures of one hop, or of several: the fewest frames, all that were lost, the largest of everything else.
struct HopFigures {
  std::uint64_t fewest_frames = 0;
  std::uint64_t lost_frames = 0;
  double lost_share = 0;
  double lost_high = 0;  // upper end of its interval
  std::optional<double> used;
  std::optional<Nanos> median, most_of_them, longest;

  void add(const Summary& summary, const LinkMeasures& link, bool first) {
    const auto larger = [](auto& mine, const auto& other) {
      if (other && (!mine || *mine < *other)) mine = other;
    };
    fewest_frames = first ? link.frames_in : std::min(fewest_frames, link.frames_in);
    lost_frames += lost(link);
    if (const auto share = share_of(lost(link), link.frames_in)) {
      lost_share = std::max(lost_share, share->value);
      lost_high = std::max(lost_high, share->high);
    }
    larger(used, used_share(summary, link));
    larger(median, link.transit.percentile(500'000));
    larger(most_of_them, link.transit.percentile(990'000));
    larger(longest, link.transit.most());
  }
  [[nodiscard]] std::string lost_percent() const {
    if (fewest_frames == 0 && lost_frames == 0) return "-";
    return lost_frames == 0 ? "<" + percent(lost_high) : percent(lost_share);
  }
};

class HopTable {
 public:
  HopTable(const Summary& summary, std::optional<std::size_t> worst, const TableStyle& style)
      : summary_(&summary), worst_(worst), count_(std::min(summary.measures.links.size(), summary.run.links.size())) {
    choose(style.all);
    for (std::size_t from = 0; from < count_;) {
      std::size_t to = from + 1;
      while (to < count_ && goes_with(from, to)) ++to;
      if (shown_[from] || to - from < fewest_folded) to = from + 1;
      add_row(from, to);
      from = to;
    }
    name_rows();
  }

  [[nodiscard]] std::string text(bool colour) const { return table_.text(colour) + paragraph(2, "", legend()); }

 private:
  [[nodiscard]] const LinkMeasures& link(std::size_t at) const { return summary_->measures.links[at]; }
  [[nodiscard]] const LinkInfo& info(std::size_t at) const { return summary_->run.links[at]; }

  /// Which hops have a row of their own, whatever stands beside them.
  void choose(bool all) {
    shown_.assign(count_, all || count_ <= rows_never_folded);
    std::vector<std::pair<double, std::size_t>> by_share;
    for (std::size_t i = 0; i < count_; ++i) {
      if (seen_text(link(i), undetected_on(*summary_, i)).empty()) continue;
      const auto share = share_of(lost(link(i)), link(i).frames_in);
      by_share.emplace_back(share ? -share->value : 0, i);
    }
    std::sort(by_share.begin(), by_share.end());
    for (std::size_t i = 0; i < std::min(by_share.size(), most_lossy); ++i) shown_[by_share[i].second] = true;
    if (worst_) shown_[*worst_] = true;
  }

  [[nodiscard]] bool goes_with(std::size_t from, std::size_t other) const {
    return !shown_[from] && !shown_[other] && info(from).homeward == info(other).homeward;
  }

  void add_row(std::size_t from, std::size_t to) {
    HopFigures figures;
    for (std::size_t i = from; i < to; ++i) figures.add(*summary_, link(i), i == from);
    TextTable::Row row;
    const bool several = to - from > 1;
    folded_ = folded_ || several;
    row.cells = {several ? fmt::format("{}-{}", info(from).hop, info(to - 1).hop) : fmt::format("{}", info(from).hop),
                 "",
                 grouped(figures.fewest_frames),
                 grouped(figures.lost_frames),
                 figures.lost_percent(),
                 figures.used ? percent(*figures.used) : "-",
                 milliseconds(figures.median),
                 milliseconds(figures.most_of_them),
                 milliseconds(figures.longest)};
    row.marked = worst_ && *worst_ >= from && *worst_ < to;
    if (!several) row.below = below(from);
    names_.push_back(
        several ? Names{"", "", fmt::format("{} hops{}", to - from, figures.lost_frames == 0 ? ": none lost" : "")}
                : Names{info(from).from, info(from).to, ""});
    table_.rows().push_back(std::move(row));
  }

  [[nodiscard]] std::string below(std::size_t at) const {
    std::string seen = seen_text(link(at), undetected_on(*summary_, at));
    if (seen.empty()) return "";
    if (lost(link(at)) > 0) {
      const auto share = share_of(lost(link(at)), link(at).frames_in);
      seen += fmt::format("; 95 % interval {} to {} %", percent(share->low), percent(share->high));
    }
    return paragraph(7, "seen: ", seen);
  }

  /// Once all else is known to stand in its place.
  void name_rows() {
    const std::size_t room = table_.room(names_column);
    std::vector<std::string> stations;
    for (const Names& names : names_) stations.insert(stations.end(), {names.from, names.to});
    std::map<std::size_t, std::vector<std::string>> shorter;  // by width
    const auto within = [&](std::size_t width, std::size_t station) {
      auto& all = shorter[width];
      if (all.empty()) all = short_names(stations, width);
      return all[station];
    };
    for (std::size_t i = 0; i < names_.size(); ++i) {
      std::string& cell = table_.rows()[i].cells[names_column];
      cell = names_[i].instead;
      if (characters_in(cell) > room) cell.resize(std::min(cell.size(), cell.find(':')));
      if (!cell.empty()) continue;
      // Where one is short the other one has more room.
      const std::size_t both = room - arrow;
      const std::size_t to = std::min(both / 2, characters_in(names_[i].to));
      const std::string from = within(both - to, 2 * i);
      cell = from + " -> " + within(both - characters_in(from), 2 * i + 1);
    }
  }

  [[nodiscard]] std::string legend() const {
    std::string text =
        "lost %: of the frames put on the hop; < before the upper end of the 95 % interval where none was lost. line "
        "used %: of the time. median, 99 %, longest: time on the hop of frames heard well.";
    if (folded_) {
      text +=
          " A row of several hops tells the fewest frames, all that were lost, and the largest of each other figure; "
          "--all shows every hop.";
    }
    return text;
  }

  struct Names {
    std::string from, to;
    std::string instead;  // of both
  };

  const Summary* summary_;
  std::optional<std::size_t> worst_;
  std::size_t count_;
  std::vector<bool> shown_;
  std::vector<Names> names_;  // by row
  bool folded_ = false;
  TextTable table_{{{"hop"},
                    {"from -> to", true},
                    {"frames"},
                    {"lost"},
                    {"lost %"},
                    {"line\nused %"},
                    {"median\nms"},
                    {"99 %\nms"},
                    {"longest\nms"}}};
};

}  // namespace

std::optional<double> used_share(const Summary& summary, const LinkMeasures& link) {
  const Nanos seen = summary.seen_time();
  if (seen <= 0 || link.transit.count() == 0) return std::nullopt;
  double sum = 0;
  link.transit.each_bucket([&](std::int64_t low, std::int64_t high, std::uint64_t count) {
    sum += (static_cast<double>(low) + static_cast<double>(high)) / 2 * static_cast<double>(count);
  });
  const double mean = sum / static_cast<double>(link.transit.count());
  const double frames = static_cast<double>(link.frames_in) + static_cast<double>(link.came_damaged);
  return std::min(1.0, mean * frames / static_cast<double>(seen));
}

std::string listed(const std::vector<std::string>& parts) {
  std::string out;
  for (const auto& part : parts) out += (out.empty() ? "" : ", ") + part;
  return out;
}

std::string hop_table(const Summary& summary, std::optional<std::size_t> worst, const TableStyle& style) {
  return HopTable(summary, worst, style).text(style.colour);
}

}  // namespace hopbench
