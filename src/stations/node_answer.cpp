// What a node does when it is asked: measures and answers, takes up a setting or an address, or refuses.
#include <algorithm>
#include <cstdlib>

#include "stations/node.h"

namespace hopbench {

void Node::act(const Frame& ask, std::optional<std::uint32_t> topic, bool answers) {
  if (!topic || !knows(*topic)) {
    if (!answers) return;
    if (flaw_.is(Flaw::answers_unknown_topic)) return answer_empty_later(ask);
    if (kind_->on_unknown_topic == OnUnknownTopic::refuse) {
      refuse_later(ask, Refusal::unknown_topic);
    } else {
      desk_->ends_here(Cause::unknown_topic);
    }
    return;
  }
  const TopicSpec& spec = protocol_->topic_spec(*topic);
  if (const auto reason = obey(ask, spec)) {
    if (answers) refuse_later(ask, *reason);
    return;
  }
  if (flaw_.is(Flaw::acts_again_after) && spec.changes && spec.name != chain_->controller.enrol.topic) {
    act_again_later(ask);
  }
  const bool uncalled = !answers && flaw_.is(Flaw::answers_broadcast);
  if (answers || uncalled) answer_later(ask, uncalled || given_address_ != address_);
}

/// Takes up what the ask sets. Returns why not, having taken up nothing.
std::optional<Refusal> Node::obey(const Frame& ask, const TopicSpec& topic) {
  if (topic.name == chain_->controller.enrol.topic && (kind_->enrols || topic.changes)) return enrol(ask);
  written_.clear();
  if (const auto reason = protocol_->apply_writes(ask, *this)) return reason;
  if (!topic.changes) return std::nullopt;
  const auto value_of = [&](Quantity quantity, std::int64_t otherwise) {
    if (const auto written = written_.find(quantity); written != written_.end()) return written->second;
    const auto set = settings_.find(quantity);
    return set == settings_.end() ? otherwise : set->second;
  };
  const auto mask = static_cast<std::uint64_t>(value_of(Quantity::bleed_mask, 0));
  if (written_.contains(Quantity::bleed_mask) && mask != 0 && (!can_bleed() || (mask & ~all_cells()) != 0)) {
    return Refusal::bad_value;
  }
  if (value_of(Quantity::low_limit_mv, lowest_limit_mv) > value_of(Quantity::high_limit_mv, highest_limit_mv)) {
    return Refusal::bad_value;
  }
  if (written_.empty()) return std::nullopt;
  const bool other_bleeds = written_.contains(Quantity::bleed_mask) &&
                            static_cast<std::int64_t>(mask) !=
                                (settings_.contains(Quantity::bleed_mask) ? settings_[Quantity::bleed_mask] : 0);
  if (other_bleeds) desk_->bleeds_changing();
  const std::uint32_t bled = bleeding();
  for (const auto& [quantity, value] : written_) settings_[quantity] = value;
  if (bleeding() != bled) {
    tell_processor();
    desk_->bleeds_changed();
  }
  return std::nullopt;
}

/// Takes the address that it is offered, unless that is nobody's to have. The one that it has already it may be offered
/// again: the answer may have been lost. One that does not enrol has an address always.
std::optional<Refusal> Node::enrol(const Frame& ask) {
  const auto offered = protocol_->value_of(ask, Protocol::Side::ask, chain_->controller.enrol.address_field);
  if (!offered) return Refusal::bad_value;
  if (given_address_) return *offered == *given_address_ ? std::nullopt : std::optional{Refusal::bad_value};
  if (!protocol_->may_be_an_address(*offered)) return Refusal::bad_value;
  desk_->changing();
  take_address(*offered);
  return std::nullopt;
}

bool Node::needs_measurement(std::uint32_t topic) const {
  if (measured_topics_.empty()) return cells_filled_ > 0;
  return std::find(measured_topics_.begin(), measured_topics_.end(), topic) != measured_topics_.end();
}

void Node::begin_measurement(Job& job) {
  const MeasurementSpec& measurement = kind_->measurement;
  const Nanos ready = desk_->now() + job.after;
  if (measurement.when == MeasureWhen::free_running) {
    job.taken_at = newest_snapshot(ready);
    return;
  }
  job.measures = true;
  job.not_before = measuring_until_;
  job.settle = settle_time() + measurement.snapshot;
  job.takes = job.settle + measurement.per_cell * std::max<Nanos>(1, cells_filled_);
  const Nanos begins = std::max(ready, measuring_until_);
  job.taken_at = begins + job.settle;
  measuring_until_ = begins + job.takes;
}

void Node::answer_empty_later(const Frame& ask) {
  Job job;
  job.work = Work::answer_empty;
  job.frame = ask;
  job.after = kind_->answer_after;
  queue_job(std::move(job));
}

void Node::act_again_later(const Frame& ask) {
  Job job;
  job.work = Work::act_again;
  job.frame = ask;
  job.after = flaw_.again_after();
  queue_job(std::move(job));
}

void Node::answer_later(const Frame& ask, bool uncalled) {
  // A first filling tells whether it can be answered, and how many cells must be converted.
  Frame answer = protocol_->answer_to(ask, address_.value_or(0), 0);
  fill_taken_at_ = fill_now_ = desk_->now();
  cells_filled_ = 0;
  if (const auto reason = protocol_->fill(answer, Protocol::Side::answer, ask.payload.view(), *this)) {
    return refuse_later(ask, *reason);
  }
  Job job;
  job.work = Work::answer;
  job.frame = ask;
  job.uncalled = uncalled;
  job.after = kind_->answer_after;
  if (const auto topic = protocol_->topic(ask); topic && needs_measurement(*topic)) begin_measurement(job);
  queue_job(std::move(job));
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
  return std::max<Nanos>(0, (ready - takes) / period * period);
}

std::optional<Frame> Node::make_answer(const Frame& ask, Nanos now, Nanos taken_at) {
  Frame answer = protocol_->answer_to(ask, address_.value_or(0), table_->steps_home(index_));
  fill_now_ = now;
  fill_taken_at_ = taken_at == never ? now : taken_at;
  off_by_uv_ = 0;
  if (protocol_->fill(answer, Protocol::Side::answer, ask.payload.view(), *this)) return std::nullopt;
  return answer;
}

void Node::refuse_later(const Frame& ask, Refusal reason) {
  desk_->ends_here(reason == Refusal::too_long && !protocol_->can_refuse() ? Cause::truncated : Cause::refused_by_node);
  Job job;
  job.work = Work::refuse;
  job.frame = ask;
  job.reason = reason;
  job.after = kind_->answer_after;
  queue_job(std::move(job));
}

void Node::do_answer(const Job& job) {
  const std::uint16_t link = table_->answers_on(index_);
  if (job.work == Work::refuse) {
    const std::uint64_t passes = table_->steps_home(index_);
    desk_->refuse(link, protocol_->refusal_of(job.frame, address_.value_or(0), passes, job.reason));
    return;
  }
  if (job.work == Work::answer_empty) {
    const Frame empty = protocol_->answer_to(job.frame, address_.value_or(0), table_->steps_home(index_));
    desk_->answer(link, empty, {job.frame, job.heard_at, never, 0, frames_heard_, Amiss::content});
    return;
  }
  cells_filled_ = 0;
  if (auto answer = make_answer(job.frame, desk_->now(), job.taken_at)) {
    AnswerNotes notes{job.frame, job.heard_at, job.taken_at, off_by_uv_, frames_heard_, Amiss::nothing};
    if (flaw_.any() || job.uncalled) notes.amiss = spoil(*answer, job);
    desk_->answer(link, *answer, notes);
  }
}

/// Makes of the answer that a sound node would give what this one gives. Returns what is wrong with it then.
Amiss Node::spoil(Frame& answer, const Job& job) {
  Amiss amiss = flaw_.misname(answer, job.frame) ? Amiss::name : Amiss::nothing;
  fills_amiss_ = true;
  const auto told = make_answer(job.frame, desk_->now(), job.taken_at);
  fills_amiss_ = false;
  if (told && told->payload != answer.payload) {
    answer.payload = told->payload;
    amiss = flaw_.is(Flaw::stale_snapshot) ? Amiss::age : Amiss::content;
  }
  if (flaw_.is(Flaw::stale_snapshot) && cells_filled_ > 0) {
    DesignFlaw::Snapshot snapshot{fill_taken_at_, {}};
    for (std::uint32_t cell = 0; cell < kind_->cells; ++cell) snapshot.cell_uv.push_back(measured_uv(cell));
    flaw_.take(std::move(snapshot));
  }
  return job.uncalled ? Amiss::uncalled : amiss;
}

/// What it measures of a cell at the instant for which an answer is being filled.
std::int64_t Node::measured_uv(std::uint32_t cell) {
  const std::int64_t uv =
      chain_->pack.battery.present ? desk_->cell_uv(cell, fill_taken_at_) : values_.microvolts(cell, fill_taken_at_);
  if (!measures_wrong()) return uv;
  const std::int64_t drop = desk_->bleed_drop_uv(cell, bleeding(), fill_taken_at_);
  off_by_uv_ = std::max(off_by_uv_, std::abs(drop));
  return std::max<std::int64_t>(0, uv - drop);
}

/// What its design mistake has it tell of a cell.
std::int64_t Node::told_amiss_uv(std::uint32_t cell) {
  if (flaw_.is(Flaw::cells_off_by_one)) return measured_uv((cell + 1) % kind_->cells);
  const DesignFlaw::Snapshot& before = flaw_.snapshot();
  return cell < before.cell_uv.size() ? before.cell_uv[cell] : measured_uv(cell);
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
      const std::int64_t uv = fills_amiss_ ? told_amiss_uv(index) : measured_uv(index);
      return *found == Quantity::cell_uv ? uv : (uv + 500) / 1000;
    }
    case Quantity::cell_count:
      return kind_->cells + (fills_amiss_ && flaw_.is(Flaw::counts_one_more) ? 1 : 0);
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
      return setting(lowest_limit_mv);
    case Quantity::high_limit_mv:
      return setting(highest_limit_mv);
    case Quantity::address:
      return static_cast<std::int64_t>(address_.value_or(0));
    case Quantity::kind_code:
      return kind_->cells > 1 ? 2 : 1;
    case Quantity::string_current_ma:
      return board_.string_ma;
  }
  return std::nullopt;
}

std::optional<std::uint64_t> Node::argument(std::string_view /*field*/) { return std::nullopt; }

void Node::write(std::string_view quantity, std::uint32_t /*index*/, std::int64_t value) {
  const auto found = quantity_named(quantity);
  if (found && quantities()[static_cast<std::size_t>(*found)].writable) written_[*found] = value;
}

}  // namespace hopbench
