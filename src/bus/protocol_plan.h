// What a Protocol keeps: the description, and all names in it resolved.
// Inner part of Protocol; everybody else goes through bus/protocol.h.
#pragma once

#include <optional>
#include <vector>

#include "bus/frame_plan.h"
#include "bus/layout_plan.h"
#include "bus/protocol.h"

namespace hopbench {

struct TopicPlan {
  LayoutPlan ask;
  LayoutPlan answer;
  // Where the ask says what it wants; nowhere if the topic has no such field.
  std::optional<LayoutPlan::FieldIndex> first;
  std::optional<LayoutPlan::FieldIndex> count;
  std::size_t ask_values = no_index;     // the values group in the ask (a write)...
  std::size_t answer_values = no_index;  // ...or in the answer (a read)
};

struct Protocol::Plan {
  explicit Plan(BusDescription bus);
  Plan(const Plan&) = delete;
  Plan& operator=(const Plan&) = delete;

  BusDescription description;  // first: the rest points into it
  FramePlan frame;
  std::vector<TopicPlan> topics;
  LayoutPlan refusal;
  std::optional<LayoutPlan::FieldIndex> refusal_code;
  bool padded = false;  // fixed framing: payloads may go on after their layout

  [[nodiscard]] Role role_of(const Frame& frame_value) const;
  void set_role(Frame& frame_value, Role role) const;
  void set_constants(Frame& frame_value) const;
  void set(Frame& frame_value, std::size_t slot, std::uint64_t raw) const;
  [[nodiscard]] const LayoutPlan* layout_for(const Frame& frame_value, std::optional<std::uint32_t> topic,
                                             Side side) const;
};

}  // namespace hopbench
