#include "report.h"

#include <fmt/format.h>

#include <algorithm>
#include <map>
#include <stdexcept>

#include "work/workers.h"

namespace hopbench::rates {
namespace {

std::string percent(std::uint64_t part, std::uint64_t all) {
  return all == 0 ? "-" : fmt::format("{:.1f} %", 100.0 * static_cast<double>(part) / static_cast<double>(all));
}

const CaseJudgement& seen_by(const Judged& each, Eyes eyes) {
  return eyes == Eyes::every_hop ? each.hops : each.controller;
}

using Counts = std::array<std::uint64_t, verdict_count>;

std::uint64_t sum(const Counts& counts) {
  std::uint64_t all = 0;
  for (const auto each : counts) all += each;
  return all;
}

std::string on_balancing(const std::vector<Judged>& cases, Eyes eyes) {
  std::uint64_t innocent = 0;
  std::uint64_t accused = 0;
  for (const Judged& each : cases) {
    const CaseJudgement& judgement = seen_by(each, eyes);
    if (!judgement.balancing_innocent) continue;
    ++innocent;
    if (judgement.balancing_accused) ++accused;
  }
  return fmt::format(
      "Chains that balance and hide nothing that could hang on it: {}; failures said to go with balancing: {}.\n",
      innocent, accused);
}

}  // namespace

std::vector<Judged> judged_cases(const Wish& wish) {
  std::vector<Judged> out(wish.cases);
  Workers workers(wish.threads);
  workers.each(
      out.size(),
      [&](std::size_t index, const StopAsked&) {
        Judged& each = out[index];
        const auto hidden = kept_case(wish.from + index, wish.only, wish.keep);
        if (!hidden) return;
        each.drawn = true;
        each.hidden = *hidden;
        try {
          const auto run = run_case(hidden->text, hidden->as_told);
          if (wish.hops)
            each.hops = judge(*hidden, *run, explanation_of(*run, Eyes::every_hop, wish.effort), Eyes::every_hop);
          if (wish.controller)
            each.controller =
                judge(*hidden, *run, explanation_of(*run, Eyes::controller, wish.effort), Eyes::controller);
        } catch (const std::exception& error) {
          each.trouble = error.what();
        }
      },
      [] { return false; });
  return out;
}

std::string hops_table(const std::vector<Judged>& cases) {
  std::map<Mechanism, Counts> rows;
  std::uint64_t innocent = 0;
  std::uint64_t chains = 0;
  for (const Judged& each : cases) {
    if (each.drawn) ++chains;
    innocent += each.hops.innocent.size();
    for (const Judgement& judgement : each.hops.hidden)
      ++rows[judgement.mechanism][static_cast<std::size_t>(judgement.verdict)];
  }
  std::string text =
      "| hidden | alone | tied | wrong | none | mixed | merged | little | of |\n| --- | --- | --- | --- | --- | --- | "
      "--- | --- | "
      "--- |\n";
  Counts all{};
  const auto row = [&](std::string_view name, const Counts& counts) {
    text += fmt::format("| {} |", name);
    for (const auto each : counts) text += fmt::format(" {} |", each);
    text += fmt::format(" {} |\n", sum(counts));
  };
  for (const auto& [mechanism, counts] : rows) {
    row(name_of(mechanism), counts);
    for (std::size_t i = 0; i < counts.size(); ++i) all[i] += counts[i];
  }
  row("all", all);
  const auto right = all[static_cast<std::size_t>(Verdict::alone)] + all[static_cast<std::size_t>(Verdict::tied)];
  const auto wrong = all[static_cast<std::size_t>(Verdict::wrong)];
  text += fmt::format(
      "\n{} chains, {} mechanisms. Named alone or tied: {} ({}); wrong: {} ({}); other cases that name only what is "
      "not "
      "there: {}.\n",
      chains, sum(all), right, percent(right, sum(all)), wrong, percent(wrong, sum(all)), innocent);
  return text + on_balancing(cases, Eyes::every_hop);
}

std::string controller_table(const std::vector<Judged>& cases) {
  struct Row {
    std::uint64_t in = 0;
    std::uint64_t none = 0;
    std::uint64_t little = 0;
    std::uint64_t all = 0;
    std::uint64_t sizes = 0;
  };
  std::map<Mechanism, Row> rows;
  std::array<std::array<std::uint64_t, 2>, 2> claims{};  // by what, by whether they hold
  for (const Judged& each : cases) {
    for (const Judgement& judgement : each.controller.hidden) {
      Row& row = rows[judgement.mechanism];
      ++row.all;
      if (judgement.verdict == Verdict::alone || judgement.verdict == Verdict::tied) {
        ++row.in;
        row.sizes += judgement.group;
      }
      if (judgement.verdict == Verdict::none) ++row.none;
      if (judgement.verdict == Verdict::little) ++row.little;
    }
    for (const Claim& claim : each.controller.claims)
      ++claims[static_cast<std::size_t>(claim.what)][claim.holds ? 1 : 0];
  }
  std::string text =
      "| hidden | within the first group | mean size of the group | none | little | of |\n| --- | --- | --- | --- | "
      "--- | --- |\n";
  Row all;
  const auto print = [&](std::string_view name, const Row& row) {
    text += fmt::format(
        "| {} | {} | {} | {} | {} | {} |\n", name, row.in,
        row.in == 0 ? "-" : fmt::format("{:.1f}", static_cast<double>(row.sizes) / static_cast<double>(row.in)),
        row.none, row.little, row.all);
  };
  for (const auto& [mechanism, row] : rows) {
    print(name_of(mechanism), row);
    all.in += row.in;
    all.none += row.none;
    all.little += row.little;
    all.all += row.all;
    all.sizes += row.sizes;
  }
  print("all", all);
  text += fmt::format(
      "\nWithin the group: {} of {} ({}). False sentences that accuse a node: {} of {}; of a stretch of time: {} of "
      "{}.\n",
      all.in, all.all, percent(all.in, all.all), claims[0][0], claims[0][0] + claims[0][1], claims[1][0],
      claims[1][0] + claims[1][1]);
  return text + on_balancing(cases, Eyes::controller);
}

std::string list_of(const std::vector<Judged>& cases, Eyes eyes) {
  std::string text;
  for (const Judged& each : cases) {
    const CaseJudgement& judgement = seen_by(each, eyes);
    std::string lines;
    for (const Judgement& one : judgement.hidden) {
      if (one.verdict == Verdict::alone || one.verdict == Verdict::tied) continue;
      lines += fmt::format("  {}: {} ({}), {} of {} ({}) in: {}\n", name_of(one.verdict), one.name,
                           name_of(one.mechanism), one.mine, one.in_all, one.truth, one.named);
    }
    for (const std::string& innocent : judgement.innocent) lines += "  innocent: " + innocent + "\n";
    for (const Claim& claim : judgement.claims) {
      if (!claim.holds) lines += "  untrue: " + claim.sentence + "\n";
    }
    if (judgement.balancing_innocent && judgement.balancing_accused) lines += "  balancing is said to matter\n";
    if (!each.trouble.empty()) lines += "  not run: " + each.trouble + "\n";
    if (lines.empty()) continue;
    text += fmt::format("seed {}:", each.hidden.seed);
    for (const Hidden& hidden : each.hidden.hidden)
      text += fmt::format(" [{}, {} failures]", hidden.name, hidden.failures);
    text += "\n" + lines;
  }
  return text;
}

}  // namespace hopbench::rates
