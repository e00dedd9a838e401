#include <fmt/format.h>

#include <algorithm>

#include "seen/reality.h"
#include "view/coexist_report.h"
#include "view/number_text.h"
#include "view/paragraph.h"

namespace hopbench {
namespace {

using Text = fmt::memory_buffer;

const Promise& promise_of(PromiseNumber number) { return promises()[static_cast<std::size_t>(number)]; }

std::string title(PromiseNumber number) {
  return fmt::format("{:>2} {}", static_cast<int>(number) + 1, promise_of(number).id);
}

std::string list(const std::vector<std::string>& names) {
  std::string text;
  for (std::size_t i = 0; i < names.size(); ++i) {
    text += (i == 0 ? "" : i + 1 == names.size() ? " and " : ", ") + harmless(names[i]);
  }
  return text;
}

std::string cell_text(const CoexistCell& cell) {
  if (cell.tried == 0) return "-";
  if (cell.broken == 0) return "kept";
  return fmt::format("NO {}/{}", cell.broken, cell.tried);
}

/// "120 chains, 4,812 exchanges, 41,200 frames, 600 of them damaged".
std::string amount(const TrialCounts& counts, PromiseNumber promise) {
  std::string text = counted(counts.chains, "chain");
  if (counts.exchanges > 0) text += ", " + counted(counts.exchanges, "exchange");
  if (counts.frames > 0) text += fmt::format(", {} passing hops", counted(counts.frames, "frame"));
  if (counts.strikes > 0) {
    const char* what = promise == PromiseNumber::numbers ? "held up or repeated" : "damaged";
    text += fmt::format(", {} of them {}", grouped(counts.strikes), what);
  }
  if (counts.resets > 0) text += ", " + counted(counts.resets, "restart or silence", "restarts and silences");
  if (counts.pairs > 0) text += ", " + counted(counts.pairs, "pair") + " of clocks";
  return text;
}

void add_verdict(Text& text, const CoexistReport& report) {
  const auto& all = report.found.promises;
  const auto broken = std::count_if(all.begin(), all.end(), [](const auto& each) { return each.broken(); });
  const auto old_too =
      std::count_if(all.begin(), all.end(), [](const auto& each) { return each.old_breach.has_value(); });
  const auto untried = std::count_if(all.begin(), all.end(), [](const auto& each) { return each.tried() == 0; });
  const auto tried = static_cast<std::uint64_t>(all.size()) - static_cast<std::uint64_t>(untried);
  const std::vector<std::string> old(report.kinds.begin() + 1, report.kinds.end());
  fmt::format_to(fmt::appender(text), "Can {} share a chain with {}? {}: scenario {}, seed {}.\n",
                 harmless(report.kinds.front()), list(old), at_top(Reality::simulated), harmless(report.scenario),
                 report.seed);
  if (broken > 0) {
    fmt::format_to(fmt::appender(text), "NO: {} of {} that could be tried {} broken.", broken,
                   counted(tried, "promise"), broken == 1 ? "is" : "are");
  } else if (tried > 0) {
    fmt::format_to(fmt::appender(text), "Nothing speaks against it: {} that could be tried {} kept.",
                   tried == 1 ? "the one promise" : fmt::format("all {} promises", tried), tried == 1 ? "is" : "are");
  } else {
    fmt::format_to(fmt::appender(text), "Nothing is known: no promise could be tried.");
  }
  if (untried > 0 && tried > 0) {
    fmt::format_to(fmt::appender(text), " {} could not be tried.", grouped(static_cast<std::uint64_t>(untried)));
  }
  fmt::format_to(fmt::appender(text), "\n");
  if (old_too > 0) {
    fmt::format_to(fmt::appender(text), "{} broken without {} as well: not its doing.\n",
                   old_too == 1 ? "One is" : fmt::format("{} are", old_too), harmless(report.kinds.front()));
  }
  if (report.found.possible == 1) {
    fmt::format_to(fmt::appender(text), "One order was tried.\n\n");
    return;
  }
  const bool more = report.found.possible > report.found.orders;
  const std::string orders = fmt::format(
      "{} of {} tried, up to {}; {}.", counted(report.found.orders, "order"),
      report.found.possible == ~std::uint64_t{0} ? "more than can be counted" : grouped(report.found.possible),
      counted(report.found.longest, "node"),
      more ? "of short chains all, of longer ones the edges and a pairwise set" : "all there are");
  fmt::format_to(fmt::appender(text), "{}\n", paragraph(0, "", orders, 80));
}

void add_matrix(Text& text, const CoexistReport& report) {
  fmt::format_to(fmt::appender(text), "{:<19}", "promise");
  for (std::size_t i = 0; i < order_class_count; ++i) {
    fmt::format_to(fmt::appender(text), "{:>12}", name_of(static_cast<OrderClass>(i)));
  }
  fmt::format_to(fmt::appender(text), "\n");
  for (const PromiseFinding& each : report.found.promises) {
    fmt::format_to(fmt::appender(text), "{:<19}", title(each.promise));
    if (each.tried() == 0) {
      fmt::format_to(fmt::appender(text), "  not tried\n");
      continue;
    }
    for (const CoexistCell& cell : each.by_class) fmt::format_to(fmt::appender(text), "{:>12}", cell_text(cell));
    fmt::format_to(fmt::appender(text), "\n");
  }
  fmt::format_to(fmt::appender(text),
                 "NO 2/18: broken in 2 of 18 trials; a trial is one promise in one order.\n-: nothing to try there.\n");
}

void add_breach(Text& text, const CoexistReport& report, const PromiseFinding& each, const Breach& breach) {
  const std::string with =
      breach.balancing ? fmt::format("While all cells are bled, {}: ", promise_of(breach.promise).id) : "";
  fmt::format_to(fmt::appender(text), "\n{}: {}\n", title(each.promise), promise_of(each.promise).says);
  fmt::format_to(fmt::appender(text), "{}", paragraph(3, "", with + harmless(breach.sentence)));
  fmt::format_to(fmt::appender(text), "{}", paragraph(3, "", "Smallest chain: " + harmless(breach.chain) + "."));
  fmt::format_to(fmt::appender(text), "{}",
                 paragraph(3, "", "In service: " + std::string(promise_of(breach.promise).matters)));
  fmt::format_to(fmt::appender(text), "   Again: {}\n", harmless(command_of(report, breach)));
}

void add_breaches(Text& text, const CoexistReport& report) {
  for (const PromiseFinding& each : report.found.promises) {
    if (each.breach) add_breach(text, report, each, *each.breach);
  }
  bool said = false;
  for (const PromiseFinding& each : report.found.promises) {
    if (!each.old_breach) continue;
    if (!said) fmt::format_to(fmt::appender(text), "\nBroken without the new kind as well, so not its doing:\n");
    said = true;
    add_breach(text, report, each, *each.old_breach);
  }
}

void add_limits(Text& text, const CoexistReport& report) {
  fmt::format_to(fmt::appender(text), "\nWhat the table stands on\n");
  for (const PromiseFinding& each : report.found.promises) {
    std::string line = each.tried() > 0          ? amount(each.counts, each.promise)
                       : !each.not_tried.empty() ? "not tried: " + each.not_tried
                                                 : "not tried: nothing in these chains to try it on";
    if (!each.note.empty()) line += "; " + each.note;
    fmt::format_to(fmt::appender(text), "{}", paragraph(2, fmt::format("{:<18}", title(each.promise)), line + "."));
  }
  if (!report.asked_as.empty()) {
    fmt::format_to(fmt::appender(text), "{}",
                   paragraph(2, "",
                             fmt::format("The plan asks no node of kind {}; it was asked as {} is.",
                                         harmless(report.kinds.front()), harmless(report.asked_as))));
  }
  fmt::format_to(fmt::appender(text), "{}\n", caution_of(Reality::simulated));
}

}  // namespace

std::string command_of(const CoexistReport& report, const Breach& breach) {
  std::string order;
  for (std::size_t i = 0; i < breach.order.size();) {
    std::size_t end = i + 1;
    while (end < breach.order.size() && breach.order[end] == breach.order[i]) ++end;
    order += (order.empty() ? "" : ",") + report.kinds[breach.order[i]];
    if (end > i + 2) {
      order += fmt::format("*{}", end - i);
    } else if (end > i + 1) {
      order += "," + report.kinds[breach.order[i]];
    }
    i = end;
  }
  // A shell might take a star for names of files.
  if (order.find('*') != std::string::npos) order = "'" + order + "'";
  return fmt::format("{} --promise {} --order {}", report.command,
                     breach.balancing ? promise_of(PromiseNumber::balancing).id : promise_of(breach.promise).id, order);
}

std::string coexist_text(const CoexistReport& report) {
  Text text;
  add_verdict(text, report);
  add_matrix(text, report);
  add_breaches(text, report);
  add_limits(text, report);
  return fmt::to_string(text);
}

}  // namespace hopbench
