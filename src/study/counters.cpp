#include "study/counters.h"

namespace hopbench {

CounterFold::Fields CounterFold::fields_of(std::uint32_t topic) const {
  Fields fields;
  const auto& layout = protocol_->topic_spec(topic).answer;
  for (std::size_t i = 0; i < layout.size(); ++i) {
    if (!layout[i].field) continue;
    const auto& quantity = layout[i].field->quantity;
    if (quantity == "frames_heard") fields.heard = static_cast<int>(i);
    if (quantity == "check_failures") fields.damaged = static_cast<int>(i);
    if (quantity == "uptime_s") fields.up = static_cast<int>(i);
  }
  return fields;
}

void CounterFold::begin(const RunInfo& run) {
  counters_.assign(run.nodes.size(), {});
  last_.assign(run.nodes.size(), {});
  tells_.assign(run.entries.size(), 0);
  for (std::size_t i = 0; i < run.entries.size(); ++i) {
    const auto topic = protocol_->topic_named(run.entries[i].topic);
    if (!topic) continue;
    const auto fields = fields_of(*topic);
    tells_[i] = fields.heard >= 0 && fields.damaged >= 0 ? 1 : 0;
  }
}

void CounterFold::exchange(const ExchangeObs& obs) {
  if (obs.entry >= tells_.size() || tells_[obs.entry] == 0 || obs.node >= counters_.size()) return;
  if (obs.outcome != Outcome::answered) return;
  if (protocol_->parse(obs.answered, frame_) != Damage::none) return;
  const auto topic = protocol_->topic(frame_);
  if (!topic) return;
  const auto fields = fields_of(*topic);
  values_.clear();
  if (fields.heard < 0 || fields.damaged < 0 || !protocol_->read(frame_, Protocol::Side::answer, values_)) return;
  Last now;
  for (const auto& value : values_) {
    if (value.repetition != 0) continue;
    const auto item = static_cast<int>(value.item);
    if (item == fields.heard) now.heard = value.raw;
    if (item == fields.damaged) now.damaged = value.raw;
    if (item == fields.up) now.up = value.raw;
  }
  now.known = true;
  auto& last = last_[obs.node];
  auto& counters = counters_[obs.node];
  ++counters.told;
  if (last.known) {
    const bool anew = now.heard < last.heard || now.damaged < last.damaged || now.up < last.up;
    if (anew) ++counters.restarts;
    counters.heard += anew ? now.heard : now.heard - last.heard;
    counters.damaged += anew ? now.damaged : now.damaged - last.damaged;
  }
  last = now;
}

}  // namespace hopbench
