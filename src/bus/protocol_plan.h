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
  std::uint8_t ask_shape = 0;
  std::uint8_t answer_shape = 0;
  std::size_t ask_values = no_index;     // the values group in the ask (a write)...
  std::size_t answer_values = no_index;  // ...or in the answer (a read)
};

struct Protocol::Plan {
  explicit Plan(BusDescription bus);
  Plan(const Plan&) = delete;
  Plan& operator=(const Plan&) = delete;

  BusDescription description;     // first: the rest points into it
  std::vector<FramePlan> shapes;  // at least one
  std::vector<TopicPlan> topics;
  LayoutPlan refusal;
  std::optional<LayoutPlan::FieldIndex> refusal_code;
  LayoutPlan nothing;   // of frames that name no topic
  bool padded = false;  // fixed framing: payloads may go on after their layout

  /// What holds for frames of this one's shape; roles stand in the same slots for all of them.
  [[nodiscard]] const FramePlan& of(const Frame& frame_value) const {
    return shapes[frame_value.shape < shapes.size() ? frame_value.shape : 0];
  }
  [[nodiscard]] const FramePlan& first() const { return shapes.front(); }
  /// The shape of content by its first part; the first shape if it is none of them.
  [[nodiscard]] std::uint8_t shape_of(std::span<const std::uint8_t> content) const;
  /// Whether the frame's shape has a field for the topic, or the bus needs none.
  [[nodiscard]] bool names_topic(const Frame& frame_value) const {
    return first().topic == no_index || of(frame_value).has(first().topic);
  }
  void take_shape(Frame& frame_value, std::uint8_t shape) const;
  [[nodiscard]] Frame answer_header(const Frame& ask, std::optional<std::uint32_t> topic, std::uint8_t shape,
                                    std::uint64_t own_address, std::uint64_t passes_left) const;

  [[nodiscard]] Role role_of(const Frame& frame_value) const;
  void set_role(Frame& frame_value, Role role) const;
  void set_constants(Frame& frame_value) const;
  void set(Frame& frame_value, std::size_t slot, std::uint64_t raw) const;
  [[nodiscard]] const LayoutPlan* layout_for(const Frame& frame_value, std::optional<std::uint32_t> topic,
                                             Side side) const;
};

}  // namespace hopbench
