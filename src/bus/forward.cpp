// Frames passed on: fields rewritten, checks repaired without ever making a bad one good.
#include <algorithm>
#include <array>

#include "bus/protocol_plan.h"

namespace hopbench {
namespace {

enum class Step : std::uint8_t { keep, change, off };

/// What becomes of a raw value; wraps at the field's limit unless it counts down.
Step rewritten(const RewritePlan& plan, std::uint64_t limit, std::uint64_t& raw) {
  if (std::find(plan.spared.begin(), plan.spared.end(), raw) != plan.spared.end()) return Step::keep;
  const bool down = plan.add < 0;
  const std::uint64_t by = down ? ~static_cast<std::uint64_t>(plan.add) + 1 : static_cast<std::uint64_t>(plan.add);
  if (plan.counts_down && down && by > raw) return Step::off;
  const std::uint64_t values = limit + 1;  // 0 stands for 2^64
  if (values == 0) {
    raw = down ? raw - by : raw + by;
  } else {
    const std::uint64_t step = by % values;
    raw = down ? (raw >= step ? raw - step : raw + (values - step))
               : (limit - raw >= step ? raw + step : raw - (values - step));
  }
  return Step::change;
}

/// Content has been rewritten: its checks follow as far as the bus says, none that was bad becoming good.
void mend_checks(const FramePlan& plan, CheckRepair repair, const Content& before, Content& content) {
  if (repair == CheckRepair::untouched) return;
  for (const CheckPlan& check : plan.checks) {
    if (!check.follows_forwarding) continue;
    if (repair == CheckRepair::by_difference) {
      check.adjust(before.view(), content.view(), plan.zones);
      continue;
    }
    const std::uint64_t made = check.value_over(content.view(), plan.zones);
    if (check.good(before.view(), plan.zones)) {
      check.put(content.view(), plan.zones, made);
    } else if (check.stands(content.view(), plan.zones) == std::optional(made)) {
      // The rewriting happened to agree with the damage: keep it visible.
      check.put(content.view(), plan.zones, made ^ check.mask());
    }
  }
}

}  // namespace

bool Protocol::forward(Frame& frame) const {
  auto fields = frame.field;
  const FramePlan& shape = plan_->of(frame);
  for (const RewritePlan& plan : shape.rewrites) {
    if (rewritten(plan, shape.slots[plan.slot].code.limit(), fields[plan.slot]) == Step::off) return false;
  }
  frame.field = fields;
  return true;
}

bool Protocol::forward_bytes(Content& content) const {
  const FramePlan& plan = plan_->shapes[plan_->shape_of(content.view())];
  if (plan.rewrites.empty()) return true;
  if (content.size() < plan.zones.front + plan.zones.back) return false;
  const Content before = content;
  for (const RewritePlan& rewrite : plan.rewrites) {
    const SlotPlan& slot = plan.slots[rewrite.slot];
    const auto found = plan.load(slot, content.view());
    std::uint64_t raw = found.value_or(0);
    const Step step = found ? rewritten(rewrite, slot.code.limit(), raw) : Step::off;
    if (step == Step::off) {
      content = before;
      return false;
    }
    if (step == Step::change) plan.store(slot, content.view(), raw);
  }
  mend_checks(plan, plan_->description.forward.repair, before, content);
  return true;
}

void Protocol::undo_forward(Content& content) const {
  const FramePlan& plan = plan_->shapes[plan_->shape_of(content.view())];
  if (plan.rewrites.empty() || content.size() < plan.zones.front + plan.zones.back) return;
  const Content before = content;
  for (const RewritePlan& rewrite : plan.rewrites) {
    RewritePlan back = rewrite;
    back.add = static_cast<decltype(back.add)>(-rewrite.add);
    back.counts_down = false;
    const SlotPlan& slot = plan.slots[rewrite.slot];
    const auto found = plan.load(slot, content.view());
    if (!found) continue;
    std::uint64_t raw = *found;
    if (rewritten(back, slot.code.limit(), raw) == Step::change) plan.store(slot, content.view(), raw);
  }
  mend_checks(plan, plan_->description.forward.repair, before, content);
}

bool Protocol::overwrite(Content& content, std::size_t place, std::uint64_t raw) const {
  const FramePlan& plan = plan_->shapes[plan_->shape_of(content.view())];
  if (!plan.has(place < plan.slots.size() ? place : no_index) || content.size() < plan.zones.front + plan.zones.back)
    return false;
  const Content before = content;
  plan.store(plan.slots[place], content.view(), raw);
  mend_checks(plan, plan_->description.forward.repair, before, content);
  return true;
}

}  // namespace hopbench
