// The matrix as results of tests, for programs that collect these.
#include <fmt/format.h>

#include <functional>
#include <string>

#include "view/coexist_report.h"
#include "view/number_text.h"

namespace hopbench {
namespace {

enum class Verdict : std::uint8_t { kept, broken, skipped };

struct Case {
  const Promise& promise;
  std::string name;
  Verdict verdict = Verdict::kept;
  std::string why;
};

/// A case for each promise in each class of orders with something to try, and one for each that was not tried.
void each_case(const CoexistReport& report, const std::function<void(const Case&)>& take) {
  for (const PromiseFinding& each : report.found.promises) {
    const Promise& promise = promises()[static_cast<std::size_t>(each.promise)];
    if (each.tried() == 0) {
      take({promise, std::string(promise.id), Verdict::skipped,
            each.not_tried.empty() ? "nothing in these chains to try it on" : each.not_tried});
      continue;
    }
    for (std::size_t i = 0; i < order_class_count; ++i) {
      const CoexistCell& cell = each.by_class[i];
      if (cell.tried == 0) continue;
      const auto which = static_cast<OrderClass>(i);
      const bool of_new = each.broken() && which != OrderClass::all_old;
      const auto& breach = of_new ? each.breach : each.old_breach;
      std::string why;
      if (cell.broken > 0) {
        why = fmt::format("broken{} in {} of {}", of_new ? "" : " without the new kind as well", cell.broken,
                          counted(cell.tried, "trial"));
        if (breach) {
          why += fmt::format("; {} Smallest chain: {}. Again: {}", breach->sentence, breach->chain,
                             command_of(report, *breach));
        }
      }
      take({promise,
            fmt::format("{} in orders with {}", promise.id,
                        which == OrderClass::mixed ? "old and new mixed" : name_of(which)),
            cell.broken == 0 ? Verdict::kept
            : of_new         ? Verdict::broken
                             : Verdict::skipped,
            why});
    }
  }
}

/// What XML 1.0 may hold; the rest becomes "?".
std::string escaped(const std::string& text) {
  std::string made;
  for (const char c : harmless(text)) {
    switch (c) {
      case '<':
        made += "&lt;";
        break;
      case '>':
        made += "&gt;";
        break;
      case '&':
        made += "&amp;";
        break;
      case '"':
        made += "&quot;";
        break;
      default:
        made += c;
    }
  }
  return made;
}

}  // namespace

std::string coexist_junit(const CoexistReport& report) {
  std::size_t tests = 0;
  std::size_t failures = 0;
  std::size_t skipped = 0;
  std::string cases;
  each_case(report, [&](const Case& each) {
    ++tests;
    cases += fmt::format("  <testcase classname=\"hopbench.coexist.{}\" name=\"{}\" time=\"0\"", each.promise.id,
                         escaped(each.name));
    if (each.verdict == Verdict::kept) {
      cases += "/>\n";
      return;
    }
    const bool broken = each.verdict == Verdict::broken;
    ++(broken ? failures : skipped);
    cases += broken ? fmt::format(">\n    <failure message=\"{}\" type=\"broken\">{}</failure>\n",
                                  escaped(std::string(each.promise.says)), escaped(each.why))
                    : fmt::format(">\n    <skipped message=\"{}\"/>\n", escaped(each.why));
    cases += "  </testcase>\n";
  });
  return fmt::format(
      "<?xml version=\"1.0\" encoding=\"UTF-8\"?>\n"
      "<testsuite name=\"{} with {}\" tests=\"{}\" failures=\"{}\" errors=\"0\" skipped=\"{}\" "
      "time=\"0\">\n{}</testsuite>\n",
      escaped(report.scenario), escaped(report.kinds.front()), tests, failures, skipped, cases);
}

std::string coexist_tap(const CoexistReport& report) {
  std::size_t number = 0;
  std::string lines;
  each_case(report, [&](const Case& each) {
    ++number;
    // "#" begins a directive.
    std::string name = harmless(each.name);
    for (char& c : name) c = c == '#' ? '?' : c;
    lines += fmt::format("{}ok {} - {}", each.verdict == Verdict::broken ? "not " : "", number, name);
    if (each.verdict == Verdict::skipped) lines += fmt::format(" # SKIP {}", harmless(each.why));
    lines += "\n";
    if (each.verdict == Verdict::broken) lines += fmt::format("# {}\n", harmless(each.why));
  });
  return fmt::format("TAP version 13\n1..{}\n{}", number, lines);
}

}  // namespace hopbench
