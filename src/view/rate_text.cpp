#include "view/rate_text.h"

#include <fmt/format.h>

#include <algorithm>
#include <boost/json/object.hpp>
#include <cmath>

#include "view/number_text.h"
#include "view/page.h"
#include "view/paragraph.h"
#include "view/short_names.h"

namespace hopbench {
namespace {

constexpr std::size_t least_label = 8;
constexpr std::size_t least_bar = 6;

std::string counts_of(const RateRow& row) { return fmt::format("{} of {}", grouped(row.failed), grouped(row.of)); }

/// A lower limit that is a thousandth of the share, or less, is as good as none.
std::string limits_of(const RateRow& row) {
  const bool low = row.share.low > row.share.value / 1000;
  return (low ? percent(row.share.low) : "0") + " to " + percent(row.share.high);
}

/// Left of the bars: label, counts, per cent, limits.
struct Columns {
  std::size_t label = least_label;
  std::size_t counts = 6;
  std::size_t share = 4;
  std::size_t limits = 13;

  static constexpr std::size_t indent = 4;
  static constexpr std::size_t between = 5;  // one column, two, and two

  void fit(const RateRow& row) {
    label = std::max(label, characters_in(harmless(row.label)));
    counts = std::max(counts, counts_of(row).size());
    share = std::max(share, percent(row.share.value).size());
    limits = std::max(limits, limits_of(row).size());
  }
  [[nodiscard]] std::size_t used() const { return indent + label + counts + share + limits + between; }
};

Columns columns_for(const Rates& rates) {
  Columns columns;
  for (const auto& table : rates.tables) {
    for (const auto& row : table.rows) columns.fit(row);
    if (table.others_count > 0) columns.fit(table.others);
  }
  const std::size_t most = page_width() - 1;
  if (columns.used() > most) columns.label -= std::min(columns.label - least_label, columns.used() - most);
  return columns;
}

struct Scale {
  double most = 0;  // share that fills the bar
  std::size_t columns = 0;

  [[nodiscard]] std::size_t place(double share) const {
    if (most <= 0) return 0;
    return static_cast<std::size_t>(std::lround(std::min(1.0, share / most) * static_cast<double>(columns)));
  }
};

std::string bar_of(const RateRow& row, const Scale& scale, Bars bars) {
  const auto sign = [&](const char* utf8, const char* plain, std::size_t times) {
    std::string text;
    for (std::size_t i = 0; i < times; ++i) text += bars == Bars::utf8 ? utf8 : plain;
    return text;
  };
  const auto value = scale.place(row.share.value);
  if (value == 0) return row.failed == 0 ? std::string() : sign("\u258f", ".", 1);
  return sign("\u2588", "#", value) + sign("\u2500", "-", scale.place(row.share.high) - value);
}

/// `name`: no wider than its column.
std::string line_of(const RateRow& row, const std::string& name, const Columns& columns, const std::string& bar) {
  std::string text = fmt::format("{}{}{} {:>{}}  {:>{}}  {:<{}}", std::string(Columns::indent, ' '), name,
                                 std::string(columns.label - characters_in(name), ' '), counts_of(row), columns.counts,
                                 percent(row.share.value), columns.share, limits_of(row), columns.limits);
  if (!bar.empty()) return text + " " + bar + "\n";
  text.erase(text.find_last_not_of(' ') + 1);
  return text + "\n";
}

std::string healthy_line(const RateTable& table) {
  const bool hops = table.name == "hop";
  return paragraph(Columns::indent, "",
                   fmt::format("{}: none {} in {} (at most {} %)",
                               counted(table.healthy_count, hops ? "hop" : std::string(table.name)),
                               hops ? "lost" : "failed", grouped(table.healthy.of), percent(table.healthy.share.high)));
}

/// All at one value: a table of one row has nothing to compare.
bool is_plain(const RateTable& table) { return table.ordered && table.rows.size() < 2; }

std::string table_text(const RateTable& table, const Columns& columns, Bars bars) {
  std::string out = "  " + table.title + "\n";
  Scale scale;
  const auto left = page_width() - std::min(page_width(), columns.used() + 1);
  scale.columns = left;
  for (const auto& row : table.rows) scale.most = std::max(scale.most, row.share.value);
  const bool drawn = bars != Bars::none && left >= least_bar;
  const auto line = [&](const RateRow& row, const std::string& name) {
    return line_of(row, name, columns, drawn ? bar_of(row, scale, bars) : "");
  };
  std::vector<std::string> names;
  for (const auto& row : table.rows) names.push_back(row.label);
  names = short_names(names, columns.label);
  for (std::size_t i = 0; i < names.size(); ++i) out += line(table.rows[i], names[i]);
  if (table.others_count > 0)
    out += line(table.others, fmt::format("{} other{}", table.others_count, table.others_count == 1 ? "" : "s"));
  if (table.healthy_count > 0) out += healthy_line(table);
  return out;
}

boost::json::object row_object(const RateRow& row) {
  boost::json::object object;
  object["failed"] = row.failed;
  object["of"] = row.of;
  object["share"] = row.share.value;
  object["low"] = row.share.low;
  object["high"] = row.share.high;
  return object;
}

boost::json::value sum_of(const RateRow& row, std::size_t count) {
  if (count == 0) return nullptr;
  auto object = row_object(row);
  object["count"] = count;
  return object;
}

}  // namespace

std::string rates_text(const Rates& rates, Bars bars) {
  const auto columns = columns_for(rates);
  std::string out = fmt::format("{:<{}}{:>{}}  {:>{}}  95 % interval\n", "Failed tries",
                                Columns::indent + columns.label, "n of N", columns.counts + 1, "%", columns.share);
  std::vector<std::string> plain;
  for (const auto& table : rates.tables) {
    if (!is_plain(table)) {
      out += table_text(table, columns, bars);
    } else {
      plain.push_back(fmt::format("{} ({})", table.title, table.rows.front().label));
    }
  }
  std::string same;
  for (std::size_t i = 0; i < plain.size(); ++i) same += (i == 0 ? "" : "; ") + plain[i];
  if (!same.empty()) out += paragraph(2, "", "The same throughout: " + same + ".");
  if (!rates.unknown.empty()) out += paragraph(2, "", rates.unknown);
  return out + paragraph(2, "", rates.intervals);
}

boost::json::array rates_json(const Rates& rates) {
  boost::json::array array;
  for (const auto& table : rates.tables) {
    boost::json::object object;
    object["by"] = table.name;
    object["title"] = table.title;
    boost::json::array rows;
    for (const auto& row : table.rows) {
      auto one = row_object(row);
      one["label"] = row.label;
      rows.push_back(std::move(one));
    }
    object["rows"] = std::move(rows);
    object["others"] = sum_of(table.others, table.others_count);
    object["healthy"] = sum_of(table.healthy, table.healthy_count);
    array.push_back(std::move(object));
  }
  return array;
}

}  // namespace hopbench
