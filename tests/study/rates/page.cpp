#include "page.h"

#include <fmt/format.h>

namespace hopbench::rates {
namespace {

constexpr std::string_view head = R"(# How often explain is right

```text
cmake --build build --target explain_rates
build/explain_rates --page > docs/explain-rates.md
```

This page comes from one command, the second one above. The command draws {cases} random chains, hides one mechanism (70 %) or two (30 %) in each, runs each chain
once, and holds what [explain](explain.md) says against the truth. The seeds are {from} to {to}. Seeds from 1 on are for whoever shapes `explain`; seeds from 900001 on are for this page
only. The source is in `tests/study/rates`.

A chain has 4 to 40 nodes in a ring or a line, of one kind or of two (multi-cell nodes have 4 to 16 cells), on one of four buses, with whole frames, characters or edges passed on, some with a battery
and charge cycles. A mechanism gets a strength and a place at random. It counts if it made at least 50 tries fail. A seed whose chain hardly works is drawn again. What `explain` says plays no part in any draw.

These are our own numbers, of our own simulator. They say that `explain` fits the models, not that a real chain behaves like them.

## With every hop seen

Of each hidden mechanism, the case with most of its failures is looked at.

| column | the case |
| --- | --- |
| alone | names the mechanism, and no other beside it |
| tied | names it among at most four that cannot be told apart |
| wrong | names others, or more than four |
| none | says that it is like none of these |
| mixed | is mostly another mechanism's, and says that it is a mixture |
| merged | is mostly another mechanism's, and does not say so |
| little | has fewer than 50 failures |

)";

constexpr std::string_view controller = R"(
## From the controller only

The same runs, as `--vantage controller` sees them, with simulations (no `--quick`). Here many mechanisms leave the same trace, so a group is named. The question is whether the truth is within it, and how large the group is. A sentence that accuses a
node is false if no hidden mechanism is at that node or on a hop that ends there. A sentence about a stretch of time is false if a good answer came within it.

)";

constexpr std::string_view foreign = R"(
## Faults that no scenario can say

{kinds} faults that `explain` has no name for, each in {each} random chains (seeds {from} to {to}). A post between the chain and the capture takes frames off one hop by a rule of its own: frames with a certain byte, every 64th
frame, all frames for two seconds every 49.7 minutes, and so on. No mechanism should be named alone here. Instead the first sentence on what the failures have in common should say the rule.

)";

std::string filled(std::string text, const std::string& name, std::uint64_t value) {
  const std::string hole = "{" + name + "}";
  for (auto at = text.find(hole); at != std::string::npos; at = text.find(hole))
    text.replace(at, hole.size(), fmt::format("{}", value));
  return text;
}

}  // namespace

std::string page_of(const Wish& wish, const std::vector<Judged>& cases, std::uint64_t foreign_from,
                    const std::vector<ForeignJudgement>& judged) {
  std::string text = filled(std::string{head}, "cases", wish.cases);
  text = filled(filled(text, "from", wish.from), "to", wish.from + wish.cases - 1);
  text += hops_table(cases) + std::string{controller} + controller_table(cases);
  std::string last = filled(std::string{foreign}, "each", judged.size() / foreign_count);
  last = filled(last, "kinds", foreign_count);
  last = filled(filled(last, "from", foreign_from), "to", foreign_from + judged.size() - 1);
  return text + last + foreign_table(judged);
}

}  // namespace hopbench::rates
