#include <fmt/format.h>

#include "view/number_text.h"
#include "view/paragraph.h"
#include "view/soak_report.h"

namespace hopbench {
namespace {

using Text = fmt::memory_buffer;

template <class... Args>
void add(Text& text, fmt::format_string<Args...> form, Args&&... args) {
  fmt::format_to(fmt::appender(text), form, std::forward<Args>(args)...);
}

std::string span_of_plan(double trials, double per_second) {
  if (per_second <= 0) return "-";
  const double seconds = trials / per_second;
  if (seconds > 3.1e9) return "over 100 years";
  return long_span(static_cast<Nanos>(seconds * 1e9));
}

}  // namespace

std::string soak_plan_text(const std::string& scenario, const SoakPlan& plan, bool real_time) {
  Text text;
  const auto say = [&](const std::string& sentence) { add(text, "{}", paragraph(0, "", sentence)); };
  say(fmt::format("Plan of a soak of {}: how long for which statement. Rates are from a simulated run of {}.", scenario,
                  long_span(plan.rehearsed)));
  if (real_time) {
    say("In real time your controller sets the rate: the trials hold, and the times if it asks as often as the "
        "scenario's plan. Gaps, and time in which it asks nothing, come on top.");
  }
  if (plan.cycle > 0) {
    say(fmt::format("The chain has cycles of {}: a share is decided after {} at the earliest ({}).",
                    long_span(plan.cycle), counted(least_cycles, "whole cycle"),
                    long_span(plan.cycle * static_cast<Nanos>(least_cycles))));
  }
  for (const auto& each : plan.requirements) {
    add(text, "\n{}\n", harmless(each.requirement->that));
    if (!each.requirement->term.share) {
      add(text, "{}",
          paragraph(2, "",
                    "A limit: accepted if it holds for as long as you choose; rejected as soon as it is passed."));
      continue;
    }
    const SharePlan shares = share_plan(*each.requirement);
    const auto row = [&](const std::string& what, double trials) {
      add(text, "  {:<52}{:>12}{:>12}\n", what, grouped(static_cast<std::uint64_t>(trials + 0.999999)),
          span_of_plan(trials, each.trials_per_second));
    };
    add(text, "  {:<52}{:>12}{:>12}\n", "", "trials", "time");
    row(fmt::format("accepted, if nothing fails, after (bunch: {})", each.requirement->bunch), each.without_hits);
    row(fmt::format("decided on average, if the share is {} %, after", percent(shares.acceptable)), each.if_acceptable);
    row(fmt::format("decided on average, if the share is {} %, after", percent(shares.rejectable)), each.if_rejectable);
    add(text, "  A test of fixed length instead, passed with at most\n");
    for (const auto& fixed : each.fixed) {
      row(fmt::format("  {} (a chain at {} % fails it in {} %)", counted(fixed.allowed, "failure"),
                      percent(shares.acceptable), percent(fixed.rejects_good)),
          static_cast<double>(fixed.trials));
    }
    add(text, "  All but the first are for independent failures. Bursts take longer; the soak says so.\n");
  }
  return fmt::to_string(text);
}

}  // namespace hopbench
