#include "engine/event_queue.h"

#include <algorithm>
#include <cassert>

namespace hopbench {

bool EventQueue::Later::operator()(const Event& a, const Event& b) const {
  if (a.at != b.at) return a.at > b.at;
  if (a.order != b.order) return a.order > b.order;
  return a.sequence > b.sequence;
}

void EventQueue::push(Nanos at, Rank rank, std::uint16_t entity, std::uint8_t port, Actor& actor, std::uint64_t what) {
  assert(at >= now_);
  const std::uint64_t order =
      (static_cast<std::uint64_t>(rank) << 24U) | (static_cast<std::uint64_t>(entity) << 8U) | port;
  heap_.push_back({at, order, sequence_++, &actor, what});
  std::push_heap(heap_.begin(), heap_.end(), Later{});
}

bool EventQueue::step() {
  const Nanos at = heap_.front().at;
  if (at > now_) {
    at_this_instant_ = 0;
  } else if (at_this_instant_ >= limit_) {
    return false;
  }
  std::pop_heap(heap_.begin(), heap_.end(), Later{});
  const Event event = heap_.back();
  heap_.pop_back();
  now_ = at;
  ++at_this_instant_;
  event.actor->on_event(now_, event.what);
  return true;
}

void EventQueue::advance(Nanos at) {
  if (at <= now_) return;
  now_ = at;
  at_this_instant_ = 0;
}

}  // namespace hopbench
