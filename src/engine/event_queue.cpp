#include "engine/event_queue.h"

#include <algorithm>
#include <iterator>

namespace hopbench {

bool EventQueue::Later::operator()(const Event& a, const Event& b) const {
  if (a.at != b.at) return a.at > b.at;
  if (a.order != b.order) return a.order > b.order;
  return a.sequence > b.sequence;
}

void EventQueue::push(Nanos at, Rank rank, std::uint16_t entity, std::uint8_t port, Actor& actor, std::uint64_t what) {
  if (at == never) return;
  if (at < now_) {
    refused_ = true;
    return;
  }
  const std::uint64_t order =
      (static_cast<std::uint64_t>(rank) << 24U) | (static_cast<std::uint64_t>(entity) << 8U) | port;
  heap_.push_back({at, order, sequence_++, &actor, what});
  std::push_heap(heap_.begin(), heap_.end(), Later{});
}

bool EventQueue::step() {
  if (refused_ || heap_.empty()) return false;
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

Nanos EventQueue::after_next() {
  const auto over = std::remove_if(heap_.begin() + 1, heap_.end(),
                                   [](const Event& event) { return event.actor->is_over(event.at, event.what); });
  if (over != heap_.end()) {
    heap_.erase(over, heap_.end());
    std::make_heap(heap_.begin(), heap_.end(), Later{});
  }
  Nanos first = never;
  for (std::size_t i = 1; i < heap_.size(); ++i) first = std::min(first, heap_[i].at);
  return first;
}

void EventQueue::remove(std::size_t place) {
  heap_[place] = heap_.back();
  heap_.pop_back();
  std::make_heap(heap_.begin(), heap_.end(), Later{});
}

bool EventQueue::step_of_rank(Rank rank) {
  const Nanos at = next_at();
  std::size_t found = heap_.size();
  for (std::size_t i = 0; i < heap_.size(); ++i) {
    if (heap_[i].at != at || static_cast<Rank>(heap_[i].order >> 24U) != rank) continue;
    if (found == heap_.size() || Later{}(heap_[found], heap_[i])) found = i;
  }
  if (found == heap_.size()) return false;
  const Event event = heap_[found];
  remove(found);
  advance(at);
  event.actor->on_event(at, event.what);
  return true;
}

void EventQueue::drop_next() {
  std::pop_heap(heap_.begin(), heap_.end(), Later{});
  heap_.pop_back();
}

void EventQueue::advance(Nanos at) {
  if (at <= now_) return;
  now_ = at;
  at_this_instant_ = 0;
}

bool EventQueue::quiet() const {
  return std::all_of(heap_.begin(), heap_.end(), [](const Event& event) {
    return event.actor->is_over(event.at, event.what) || event.actor->may_be_due_in_quiet(event.what);
  });
}

void EventQueue::keep_time(Archive& archive) {
  archive.span("now", now_);
  archive.number("events at this instant", at_this_instant_);
}

void EventQueue::keep_event(Archive& archive, Event& event,
                            const std::function<Actor*(std::uint16_t entity)>& actor_of) const {
  auto rank = static_cast<std::uint8_t>(event.order >> 24U);
  auto entity = static_cast<std::uint16_t>(event.order >> 8U);
  auto port = static_cast<std::uint8_t>(event.order);
  archive.number("due at", event.at, now_, Archive::longest);
  archive.number("rank", rank, std::uint8_t{0}, static_cast<std::uint8_t>(Rank::release));
  archive.number("entity", entity);
  archive.number("port", port);
  archive.number("what", event.what);
  if (!archive.good() || !archive.restores()) return;
  event.order = static_cast<std::uint64_t>(rank) << 24U | static_cast<std::uint64_t>(entity) << 8U | port;
  event.actor = actor_of(entity);
  if (event.actor == nullptr || !event.actor->may_be_due_in_quiet(event.what)) {
    archive.refuse("what", "nobody waits for that");
  }
}

void EventQueue::keep_events(Archive& archive, const std::function<Actor*(std::uint16_t entity)>& actor_of) {
  // In the order in which they will be done, so that equal ones stay in it.
  std::vector<Event> events;
  if (!archive.restores()) {
    std::copy_if(heap_.begin(), heap_.end(), std::back_inserter(events),
                 [](const Event& event) { return !event.actor->is_over(event.at, event.what); });
    std::sort(events.begin(), events.end(), [](const Event& a, const Event& b) { return Later{}(b, a); });
  }
  archive.list("events", events, [&](Event& event) { keep_event(archive, event, actor_of); });
  if (!archive.good() || !archive.restores()) return;
  heap_.clear();
  sequence_ = 0;
  for (const Event& event : events) {
    heap_.push_back(event);
    heap_.back().sequence = sequence_++;
  }
  std::make_heap(heap_.begin(), heap_.end(), Later{});
}

}  // namespace hopbench
