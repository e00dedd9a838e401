// What a node measures and answers, and what an ask can set in it.
#include <algorithm>

#include "chain/link.h"
#include "chain/node.h"

namespace hopbench {

void Node::write_fields(const Frame& ask) {
  const auto topic = world_->protocol.topic(ask);
  if (!topic || !world_->protocol.read(ask, Protocol::Side::ask, read_)) return;
  const Layout& layout = world_->protocol.topic_spec(*topic).ask;
  for (const PayloadValue& value : read_) {
    const LayoutItem& item = layout[value.item];
    if (item.field && !item.field->quantity.empty()) write(item.field->quantity, 0, value.value);
  }
}

void Node::answer_later(Nanos now, const Parcel& ask) {
  // A first filling tells whether it can be answered, and how many cells must be converted.
  Frame answer = world_->protocol.answer_to(ask.frame, address_.value_or(0), 0);
  fill_taken_at_ = now;
  fill_now_ = now;
  cells_filled_ = 0;
  if (const auto reason = world_->protocol.fill(answer, Protocol::Side::answer, ask.frame.payload.view(), *this)) {
    refuse_later(now, ask, *reason);
    return;
  }
  Job job;
  job.work = Work::answer;
  job.parcel = ask;
  job.asked_at = now;
  const MeasurementSpec& measurement = kind_->measurement;
  const Nanos ready = now + kind_->answer_after;
  Nanos due = ready;
  const auto topic = world_->protocol.topic(ask.frame);
  const bool measured = measured_topics_.empty() ? cells_filled_ > 0
                                                 : topic && std::find(measured_topics_.begin(), measured_topics_.end(),
                                                                      *topic) != measured_topics_.end();
  if (measured) {
    const Nanos conversion = measurement.per_cell * std::max<Nanos>(1, cells_filled_);
    if (measurement.when == MeasureWhen::on_ask) {
      job.taken_at = std::max(ready, measuring_until_) + settle_time() + measurement.snapshot;
      due = job.taken_at + conversion;
      measuring_until_ = due;
      job.held = due - ready;
    } else {
      job.taken_at = newest_snapshot(ready);
    }
  }
  queue_job(due, std::move(job));
}

Nanos Node::settle_time() const {
  switch (kind_->measurement.bleed) {
    case BleedWhile::paused:
      return kind_->measurement.settle;
    case BleedWhile::paused_if_on:
      return bleeding() == 0 ? 0 : kind_->measurement.settle;
    case BleedWhile::kept_on:
      return 0;
  }
  return 0;
}

Nanos Node::newest_snapshot(Nanos ready) const {
  const MeasurementSpec& measurement = kind_->measurement;
  const Nanos takes = settle_time() + measurement.snapshot + measurement.per_cell * kind_->cells;
  const Nanos period = std::max<Nanos>(1, measurement.period);
  return std::max<Nanos>(0, (ready - takes + measurement.since) / period * period) - measurement.since;
}

bool Node::make_answer(const Frame& ask, Nanos now, Nanos taken_at, Frame& answer) {
  const Protocol& protocol = world_->protocol;
  answer = protocol.answer_to(ask, address_.value_or(0), world_->steps_home(index_));
  fill_now_ = now;
  fill_taken_at_ = taken_at == never ? now : taken_at;
  off_by_uv_ = 0;
  return !protocol.fill(answer, Protocol::Side::answer, ask.payload.view(), *this);
}

void Node::refuse_later(Nanos now, const Parcel& ask, Refusal reason) {
  Job job;
  job.work = Work::refuse;
  job.parcel = ask;
  job.reason = reason;
  world_->traces.blame(ask.exchange, ask.key.attempt, blame_here(Cause::refused_by_node));
  queue_job(now + kind_->answer_after, std::move(job));
}

void Node::do_answer(const Job& job) {
  const Protocol& protocol = world_->protocol;
  const Parcel& ask = job.parcel;
  Parcel out;
  out.key = ask.key;
  out.key.answering = true;
  out.exchange = ask.exchange;
  out.fake = false;
  out.taken_at = job.taken_at;
  out.held = job.held;
  out.delayed_by(job.busy, static_cast<std::uint16_t>(index_));
  if (job.work == Work::refuse) {
    out.frame = protocol.refusal_of(ask.frame, address_.value_or(0), world_->steps_home(index_), job.reason);
  } else {
    if (!make_answer(ask.frame, world_->queue.now(), job.taken_at, out.frame)) return;
    out.off_by_uv = off_by_uv_;
    Trace* trace = world_->traces.find(ask.exchange);
    if (trace != nullptr && ask.key.attempt < trace->sent_payloads.size() && !ask.fake) {
      trace->sent_payloads[ask.key.attempt] = out.frame.payload;
    }
  }
  out.frame = as_heard(protocol, out.frame);
  out.fake = ask.fake;
  if (AnswerRecord* record = world_->answer_record) {
    ++record->answers;
    record->node = static_cast<std::uint16_t>(index_);
    record->ask = ask.frame;
    record->sent = out.frame;
    record->asked_at = job.asked_at;
    record->filled_at = world_->queue.now();
    record->taken_at = job.taken_at;
    record->frames_heard = frames_heard_;
  }
  world_->links[world_->answer_link(index_)]->send(out);
}

std::optional<std::int64_t> Node::quantity(std::string_view name, std::uint32_t index) {
  const auto found = quantity_named(name);
  if (!found) return std::nullopt;
  const auto setting = [&](std::int64_t otherwise) {
    const auto place = settings_.find(*found);
    return place == settings_.end() ? otherwise : place->second;
  };
  switch (*found) {
    case Quantity::cell_mv:
    case Quantity::cell_uv: {
      if (index >= kind_->cells) return std::nullopt;
      ++cells_filled_;
      std::int64_t uv = world_->chain.pack.battery.present ? pack().cell_uv(index_, index, fill_taken_at_)
                                                           : values_.microvolts(index, fill_taken_at_);
      if (measures_wrong() && (bleeding() >> index & 1U) != 0) {
        const std::int64_t drop = pack().bleed_drop_uv(index_, index, fill_taken_at_);
        off_by_uv_ = std::max(off_by_uv_, drop);
        uv = std::max<std::int64_t>(0, uv - drop);
      }
      return *found == Quantity::cell_uv ? uv : (uv + 500) / 1000;
    }
    case Quantity::cell_count:
      return kind_->cells;
    case Quantity::board_temp_mc:
      return board_.board_mc;
    case Quantity::supply_mv:
      return board_.supply_uv / 1000;
    case Quantity::snapshot_age_ms:
      return (fill_now_ - fill_taken_at_) / millisecond;
    case Quantity::serial_number:
      return static_cast<std::int64_t>(serial_number_);
    case Quantity::uptime_s:
      return std::max<Nanos>(0, fill_now_ - started_) / second;
    case Quantity::frames_heard:
      return static_cast<std::int64_t>(frames_heard_);
    case Quantity::check_failures:
      return static_cast<std::int64_t>(check_failures_);
    case Quantity::bleed_mask:
      return setting(0);
    case Quantity::low_limit_mv:
      return setting(2'500);
    case Quantity::high_limit_mv:
      return setting(3'650);
    case Quantity::address:
      return static_cast<std::int64_t>(address_.value_or(0));
    case Quantity::kind_code:
      return kind_->cells > 1 ? 2 : 1;
  }
  return std::nullopt;
}

std::optional<std::uint64_t> Node::argument(std::string_view /*field*/) { return std::nullopt; }

void Node::write(std::string_view quantity, std::uint32_t /*index*/, std::int64_t value) {
  const auto found = quantity_named(quantity);
  if (!found || !quantities()[static_cast<std::size_t>(*found)].writable) return;
  if (*found != Quantity::bleed_mask) {
    settings_[*found] = value;
    return;
  }
  const auto before = settings_.find(Quantity::bleed_mask);
  if (before != settings_.end() ? before->second == value : value == 0) {
    settings_[*found] = value;
    return;
  }
  world_->changing();
  const std::uint32_t bled = bleeding();
  settings_[*found] = value;
  if (bleeding() == bled) return;
  tell_processor();
  world_->surroundings->bleeds_changed();
}

}  // namespace hopbench
