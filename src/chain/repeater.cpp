#include "chain/repeater.h"

#include <algorithm>

#include "chain/quiet.h"

namespace hopbench {
namespace {

/// `never` stays what it is.
Nanos so_long_after(Nanos at, Nanos span) { return span == never ? never : at + span; }

// More than a few queued events is no quiet chain; looking through them would cost more than it could save.
constexpr std::size_t nearly_empty = 64;

}  // namespace

Repeater::Repeater(Works& works, const Links& links, const Posts& posts, ControllerPost& controller)
    : works_(&works),
      links_(&links),
      posts_(&posts),
      post_(&controller),
      controller_(&controller.station()),
      retimer_(works, links, posts, controller),
      models_(Controller::entries_of(works.chain).size()),
      model_seen_(models_.size()),
      heard_before_(posts.size()) {
  for (std::size_t i = 0; i < models_.size(); ++i) models_[i].seen = &model_seen_[i];
  const auto has_duties = [](const auto& post) { return !post->station().processor().idle(); };
  const auto sleeps = [](const auto& post) { return post->ever_sleeps(); };
  duties_ = std::any_of(posts.begin(), posts.end(), has_duties);
  controller_duties_ = !controller_->processor().idle() || works.chain.controller.wrap.bits != 0;
  sleepers_ = std::any_of(posts.begin(), posts.end(), sleeps);
  const auto misled = [](const NodeSpec& node) { return node.goes_by.has_value(); };
  spoilers_ = std::any_of(posts.begin(), posts.end(),
                          [](const auto& post) { return spoils_answers(post->station().kind().flaw.mistake); }) ||
              std::any_of(works.chain.nodes.begin(), works.chain.nodes.end(), misled);
  periods_.resize(links.size());
  settle_times_.resize(posts.size());
  take_up_surroundings();
  if (controller_->balances()) works.settle_readings = [this] { settle(); };
}

void Repeater::settle() {
  for (Recording& model : models_) {
    if (model.unread.asked_at == never) continue;
    const Recording::Unread unread = model.unread;
    model.unread.asked_at = never;
    auto answer =
        node(model.answer.node)
            .make_answer(model.answer.ask, unread.filled_at, taken_at(model, unread.asked_at, unread.taken_at));
    if (!answer) continue;
    Frame heard = model.answered;  // on its way nothing of what it tells is lost
    heard.role = Role::answer;
    heard.payload = answer->payload;
    // For the node that was asked: another one may have taken its address.
    controller_->learn(model.seen->node, heard, model.asked.payload.view(), unread.heard_at);
  }
}

Nanos Repeater::calm_from(Nanos now) const {
  Nanos until = controller_->calm_until(now);
  for (const auto& post : *posts_) until = std::min(until, post->station().processor().calm_until(now));
  return until;
}

/// What goes on around the frames is otherwise than before.
void Repeater::take_up_surroundings() {
  bool clocks = false;
  for (std::size_t i = 0; i < periods_.size(); ++i) {
    const std::array<Period, 2> now{(*links_)[i]->sender_period(), (*links_)[i]->receiver_period()};
    if (now == periods_[i]) continue;
    periods_[i] = now;
    retimer_.clock_moved(i);
    clocks = true;
  }
  if (clocks) ++clocks_;
  for (Recording& model : models_) {
    if (!model.timed) drop(model);
    for (const std::uint16_t row : model.coupled) model.next_touch = model.hits[row].clear_until = 0;
  }
  for (std::size_t i = 0; i < settle_times_.size(); ++i) {
    const Nanos now = node(i).settle_time();
    if (now == settle_times_[i]) continue;
    settle_times_[i] = now;
    for (Recording& model : models_) {
      if (model.answer.answers != 0 && model.answer.node == i && !model.answers_after(now)) drop(model);
    }
  }
  retimer_.look_anew();
  calm_until_ = controller_calm_until_ = 0;
}

bool Repeater::undisturbed(const Recording& model, Nanos at) {
  if (controller_duties_) {
    if (at >= controller_calm_until_) controller_calm_until_ = controller_->calm_until(at);
    if (at + model.span > controller_calm_until_) return by_events(ByEvents::duty);
  }
  if (duties_ && !model.timed) {
    if (at >= calm_until_) calm_until_ = calm_from(at);
    if (at + model.span > calm_until_) return by_events(ByEvents::duty);
  }
  return !sleepers_ || awake(model, at) || by_events(ByEvents::asleep);
}

bool Repeater::awake(const Recording& model, Nanos at) const {
  return std::all_of(model.rows.begin(), model.rows.end(), [&](const HopRow& row) {
    return !(*links_)[row.link]->into().sleeps_at(at + (row.end - model.seen->start));
  });
}

void Repeater::keep_awake(const Recording& model, Nanos at) {
  for (const HopRow& row : model.rows) {
    (*links_)[row.link]->into().heard_edges(at + (row.end - model.seen->start));
  }
}

void Repeater::forget() {
  settle();
  works_->tap.flush();
  for (Recording& model : models_) {
    drop(model);
    model.manners.clear();
  }
}

bool Repeater::quiet(Nanos now) {
  return nothing_on_its_way(*works_) &&
         std::all_of(links_->begin(), links_->end(), [&](const auto& link) { return link->quiet_at(now); }) &&
         std::none_of(posts_->begin(), posts_->end(), [&](const auto& post) { return post->off_at(now); });
}

bool Repeater::go(Nanos until) {
  Works& world = *works_;
  const auto events = [&](ByEvents why) {
    ++counts_.by_events[static_cast<std::size_t>(why)];
    return false;
  };
  // What a frame says may end it early; what was recorded said something else.
  if (!links_->front()->any_frame_reads()) return events(ByEvents::unquiet);
  if (world.queue.size() > nearly_empty) {
    if (recording_) end_recording(world.queue.next_at(), false);
    return events(ByEvents::unquiet);
  }
  const bool nothing_half_heard = put_away(world, *links_);
  const Nanos now = world.queue.next_at();
  const bool is_quiet = nothing_half_heard && quiet(now);
  if (recording_) end_recording(now, is_quiet);
  if (!is_quiet || !post_->between()) return events(ByEvents::unquiet);
  if (!controller_->follows_plan()) return events(ByEvents::off_plan);
  if (world.injector.needs_previous(now)) return events(ByEvents::fault);
  if (version_ != world.version || surroundings_ != world.surroundings) {
    if (version_ != world.version) forget();
    world.tap.flush();
    version_ = world.version;
    surroundings_ = world.surroundings;
    take_up_surroundings();
  }
  const Nanos after = world.queue.after_next();
  const Nanos horizon = after == never ? until : std::min(until, after - 1);
  const std::uint64_t most = post_->most();
  whole_from_ = world.tap.whole_from();
  whole_before_ = world.tap.whole_before();

  Nanos at = now;
  Nanos closed = now;
  bool any = false;
  why_ = ByEvents::due;
  while (at <= horizon && world.traces.opened() < most) {
    const Controller::PlanPlace place = controller_->place();
    const std::uint32_t entry = controller_->pick();
    Recording& model = models_[entry];
    const bool goes = model.usable && can_go(model, entry, at);
    if (!goes || model.over > horizon - at) {
      controller_->go_back_to(place);
      if (goes) why_ = ByEvents::due;
      if (!model.usable && !any && controller_->turn_of(entry) >= model.record_at_turn) start_recording(entry, now);
      if (!model.usable) why_ = model.record_at_turn == ~std::uint64_t{0} ? ByEvents::off_plan : ByEvents::unrecorded;
      break;
    }
    any = true;
    tell(entry, model, at);
    closed = at + model.over;
    at += model.span;
  }
  if (!any) return events(why_);
  hand_on_waiting(waiting_.size());
  pay_all();
  world.queue.drop_next();
  world.queue.advance(closed);
  controller_->ask_next_at(at);
  return true;
}

void Repeater::tell(std::uint32_t entry, Recording& model, Nanos at) {
  Works& world = *works_;
  ++counts_.repeated;
  if (sleepers_) keep_awake(model, at);
  if (controller_->balances() && model.answer.answers != 0) {
    const AnswerRecord& answer = model.answer;
    model.unread = {at + answer.asked_at, at + answer.filled_at,
                    answer.taken_at == never ? never : at + answer.taken_at,
                    at + (model.seen->decided - model.seen->start)};
  }
  const Nanos edge = controller_->last_edge();
  const Repeat repeat{entry, world.traces.pass_over(), controller_->turn_of(entry), at, edge < 0 ? -1 : at - edge};
  const std::uint64_t ticket = controller_->asked_and_answered(entry, at, at + model.last_edge);
  if (whole_before_ == 0 && !model.renamed && repeat.number < whole_from_) {  // as most of them
    ++model.owed;
    owing_ = true;
    return world.tap.add(model_seen_, repeat);
  }
  if (whole_before_ == 0) return hand_on({repeat, ticket}, false);
  waiting_.push_back({repeat, ticket});
  if (waiting_.size() - handed_on_ <= whole_before_) return;
  hand_on(waiting_[handed_on_++], false);
  if (handed_on_ <= whole_before_) return;
  waiting_.erase(waiting_.begin(), waiting_.begin() + static_cast<std::ptrdiff_t>(handed_on_));
  handed_on_ = 0;
}

void Repeater::hand_on(const Told& told, bool whole) {
  Works& world = *works_;
  Recording& model = models_[told.repeat.model];
  if (model.renamed) {
    ++counts_.retimed;
    world.tap.flush();
    model.seen->number = told.repeat.number;
    model.renamed = false;
  }
  if (whole || told.repeat.number >= whole_from_) {
    tell_whole(told);
    whole_from_ = world.tap.whole_from();
    return;
  }
  world.tap.add(model_seen_, told.repeat);
  ++model.owed;
  owing_ = true;
}

/// The first `count` of those that wait are told whole.
void Repeater::hand_on_waiting(std::size_t count) {
  while (handed_on_ < count) hand_on(waiting_[handed_on_++], true);
  if (handed_on_ < waiting_.size()) return;
  waiting_.clear();
  handed_on_ = 0;
}

/// The recording is about to change: what waits and goes as it does is told before.
void Repeater::hand_on_waiting_of(std::uint32_t entry) {
  std::size_t count = waiting_.size();
  while (count > handed_on_ && waiting_[count - 1].repeat.model != entry) --count;
  hand_on_waiting(count);
}

bool Repeater::can_go(Recording& model, std::uint32_t entry, Nanos at) {
  const bool as_told = model.clocks == clocks_ && model.watched.empty();
  if (!as_told && !in_time(model, entry, at)) return false;
  const bool busy = controller_duties_ || duties_ || sleepers_;
  if (busy && !undisturbed(model, at)) return false;
  const bool calm = controller_->turn_of(entry) < model.next_touch && at + model.over <= model.calm_until;
  if (!(calm && model.passages.empty()) && !untouched(model, entry, at)) return false;
  if (model.answer.answers != 0 && works_->chain.controller.exact_within_uv > 0 &&
      node(model.answer.node).measures_wrong()) {
    return by_events(ByEvents::wrong);
  }
  return works_->chain.controller.fresh_within <= 0 || fresh(model, at) || by_events(ByEvents::late);
}

/// The recording has the instants of an exchange that begins at `at`.
bool Repeater::in_time(Recording& model, std::uint32_t entry, Nanos at) {
  if (!model.timed) {
    if (model.clocks == clocks_) return true;
    drop(model);
    return by_events(ByEvents::unrecorded);
  }
  if (model.clocks == clocks_ && (model.watched.empty() || retimer_.holds(model, at))) return true;
  hand_on_waiting_of(entry);
  works_->tap.flush();
  if (!retimer_.retime(model, at, model.clocks != clocks_, why_)) return false;
  model.clocks = clocks_;
  return true;
}

bool Repeater::untouched(Recording& model, std::uint32_t entry, Nanos at) {
  const std::uint64_t turn = controller_->turn_of(entry);
  if (turn >= model.next_touch) {
    FrameKey key{controller_->hash_of(entry), turn, 0, false, 0};
    model.next_touch = ~std::uint64_t{0};
    bool clean = true;
    for (std::size_t i = 0; i < model.hits.size() && clean; ++i) {
      Recording::RowHits& row = model.hits[i];
      Link& link = *(*links_)[row.link];
      key.answering = row.answering;
      if (row.clear_until <= turn) row.clear_until = link.conditions().clear_until(key, row.slots);
      model.next_touch = std::min(model.next_touch, row.clear_until);
      if (row.clear_until > turn) continue;
      // Some point of noise lies on it; whether that strikes may hang on when it comes.
      const HopRow& seen = model.rows[i];
      clean = model.timed && link.conditions().surely_clean(
                                 key, link.arrival(at + (seen.start - model.seen->start), seen.chars), row.slots);
    }
    if (!clean) {
      model.next_touch = turn;
      return by_events(ByEvents::noise);
    }
  }
  if (at + model.over > model.calm_until) {
    model.calm_until = never;
    for (const Recording::RowHits& row : model.hits) {
      model.calm_until = std::min(model.calm_until, (*links_)[row.link]->conditions().calm_until(at));
    }
    if (at + model.over > model.calm_until) return by_events(ByEvents::burst);
  }
  return model.passages.empty() || spared(model, turn, at) || by_events(ByEvents::fault);
}

bool Repeater::spared(const Recording& model, std::uint64_t turn, Nanos at) {
  return std::all_of(model.passages.begin(), model.passages.end(), [&](Injector::Passage passage) {
    passage.key.turn = turn;
    passage.from += at;
    passage.to += at;
    return works_->injector.spares(passage);
  });
}

/// When the values of an answer were taken: `taken_at` if it was measured for it.
Nanos Repeater::taken_at(const Recording& model, Nanos asked_at, Nanos taken_at) const {
  if (model.answer.answers == 0 || model.answer.taken_at == never) return never;
  const Node& answers = node(model.answer.node);
  if (answers.kind().measurement.when == MeasureWhen::on_ask) return taken_at;
  return answers.newest_snapshot(asked_at + answers.kind().answer_after);
}

bool Repeater::fresh(const Recording& model, Nanos at) const {
  const Nanos within = works_->chain.controller.fresh_within;
  const Nanos taken = taken_at(model, at + model.answer.asked_at, so_long_after(at, model.answer.taken_at));
  const Nanos accepted = at + (model.seen->decided - model.seen->start);
  return taken == never || accepted - taken <= within;
}

void Repeater::pay(Recording& model) {
  if (model.owed == 0) return;
  for (const Recording::NodeCount& each : model.heard) node(each.node).count_heard(each.frames * model.owed);
  model.owed = 0;
}

void Repeater::pay_all() {
  if (!owing_) return;
  for (Recording& model : models_) pay(model);
  owing_ = false;
}

void Repeater::tell_whole(const Told& told) {
  Works& world = *works_;
  pay_all();
  const std::uint32_t entry = told.repeat.model;
  const Nanos at = told.repeat.start;
  Recording& model = models_[entry];
  const Protocol& protocol = world.protocol;
  ExchangeObs seen = *model.seen;
  const Nanos later = at - seen.start;
  seen.number = told.repeat.number;
  seen.turn = told.repeat.turn;
  seen.start += later;
  seen.decided += later;
  seen.closed += later;
  seen.since_last = told.repeat.since_last;
  attempts_ = model.attempts;
  for (Attempt& attempt : attempts_) {
    attempt.start += later;
    attempt.ask_end += later;
  }
  rows_ = model.rows;
  for (HopRow& row : rows_) {
    row.start += later;
    row.end += later;
  }
  const Frame& asked = controller_->make_ask(entry, told.ticket);
  protocol.encode(asked, asked_bytes_);
  answered_bytes_.clear();
  if (model.answer.answers != 0) {
    // On its way a frame keeps its fields but for those that forwarding changes, and these change alike each time.
    const auto on_its_way = [](const Frame& now, const Frame& then, const Frame& then_heard) {
      Frame heard = now;
      heard.role = then_heard.role;
      for (std::size_t i = 0; i < heard.field.size(); ++i) {
        if (then.field[i] != then_heard.field[i]) heard.field[i] = then_heard.field[i];
      }
      return heard;
    };
    Node& answers = node(model.answer.node);
    answers.count_heard(model.answer.frames_heard);
    const auto answer =
        answers.make_answer(on_its_way(asked, model.asked, model.answer.ask), at + model.answer.filled_at,
                            taken_at(model, at + model.answer.asked_at, so_long_after(at, model.answer.taken_at)));
    answers.count_heard(std::uint64_t{0} - model.answer.frames_heard);
    const Frame sent = answer ? protocol.as_read(*answer).value_or(*answer) : Frame{};
    protocol.encode(on_its_way(sent, model.answer.sent, model.answered), answered_bytes_);
  }
  seen.attempts = attempts_;
  seen.rows = rows_;
  seen.asked = asked_bytes_.view();
  seen.answered = answered_bytes_.view();
  attempt_truths_.assign(attempts_.size(), {});
  const ExchangeTruth truth{{}, attempt_truths_, {}};
  model.owed = 1;
  pay(model);
  world.tap.exchange(seen, &truth);
}

void Repeater::start_recording(std::uint32_t entry, Nanos now) {
  Works& world = *works_;
  const std::uint32_t topic = controller_->topic_of(entry);
  Recording& model = models_[entry];
  if (spoilers_ || world.protocol.topic_spec(topic).changes || !world.protocol.length_is_steady(topic)) {
    model.record_at_turn = ~std::uint64_t{0};
    return;
  }
  recording_ = true;
  entry_ = entry;
  began_ = now;
  byte_hearings_ = world.byte_hearings;
  struck_ = world.injector.struck();
  closed_early_ = world.traces.closed_early();
  phase_hearings_ = world.phase_hearings;
  for (std::size_t i = 0; i < heard_before_.size(); ++i) heard_before_[i] = node(i).frames_heard();
  answer_.answers = 0;
  for (const auto& post : *posts_) post->record_answers(&answer_);
  post_->record_answer(&answered_);
  world.tap.start_copying();
}

void Repeater::end_recording(Nanos now, bool was_quiet) {
  Works& world = *works_;
  recording_ = false;
  for (const auto& post : *posts_) post->record_answers(nullptr);
  post_->record_answer(nullptr);
  world.tap.stop_copying();
  world.tap.flush();
  const Tap::Copy& copy = world.tap.copy();
  Recording& model = models_[entry_];
  const bool answer_fits = copy.answered.empty() ? answer_.answers == 0 : answer_.answers == 1;
  // What comes back while a retry is being put off may come after the retry another time: the pause is drawn.
  const bool well =
      was_quiet && controller_->at_first_try() && copy.exchanges == 1 && copy.others == 0 && copy.healthy &&
      copy.seen.entry == entry_ && copy.seen.start == began_ && answer_fits && world.byte_hearings == byte_hearings_ &&
      world.injector.struck() == struck_ && world.traces.closed_early() == closed_early_ && world.version == version_ &&
      world.surroundings == surroundings_ && (!controller_duties_ || controller_->calm_until(began_) >= now);
  if (well) keep(model, copy, now);
  if (well && model.usable) {
    model.put_off = 1;
    return;
  }
  model.record_at_turn = controller_->turn_of(entry_) + model.put_off;
  model.put_off = std::min<std::uint64_t>(2 * model.put_off, 1U << 16U);
}

/// Makes a recording of what was copied.
void Repeater::keep(Recording& model, const Tap::Copy& copy, Nanos now) {
  Works& world = *works_;
  model.span = now - began_;
  model.over = copy.seen.closed - began_;
  model.last_edge = controller_->last_edge() - began_;
  model.next_touch = 0;
  model.calm_until = 0;
  model.clocks = clocks_;
  model.renamed = false;
  model.attempts = copy.attempts;
  model.rows = copy.rows;
  ExchangeObs& seen = model_seen_[entry_];
  seen = copy.seen;
  seen.attempts = model.attempts;
  seen.rows = model.rows;
  seen.asked = {};
  seen.answered = {};

  model.hits.clear();
  model.coupled.clear();
  model.passages.clear();
  for (const HopRow& row : model.rows) {
    Link& link = *(*links_)[row.link];
    if (link.conditions().has_couplings()) model.coupled.push_back(static_cast<std::uint16_t>(model.hits.size()));
    model.hits.push_back({row.link, link.slots_of(row.chars), row.answering, 0});
    if (world.injector.empty() && world.injector.empty_memory()) continue;
    Injector::Passage passage;
    passage.link = row.link;
    passage.link_hash = link.hash();
    passage.forwarder = link.from().node();
    passage.from = 0;
    passage.to = model.over;
    passage.node = seen.node;
    passage.topic = controller_->topic_of(entry_);
    passage.key = {controller_->hash_of(entry_), 0, 0, row.answering, 0};
    model.passages.push_back(passage);
  }
  model.heard.clear();
  for (std::size_t i = 0; i < heard_before_.size(); ++i) {
    const std::uint64_t frames = node(i).frames_heard() - heard_before_[i];
    if (frames > 0) model.heard.push_back({static_cast<std::uint16_t>(i), frames});
  }
  (void)world.protocol.parse(copy.asked, model.asked);
  model.answer = answer_;
  model.answered = answered_;
  if (answer_.answers != 0) {
    model.answer.asked_at -= began_;
    model.answer.filled_at -= began_;
    if (answer_.taken_at != never) model.answer.taken_at -= began_;
    model.answer.frames_heard -= heard_before_[answer_.node];
  }
  retimer_.learn(model);
  if (model.timed && answer_.answers != 0) model.keep_manner(settle_times_[answer_.node]);
  // Without knowing how its instants follow from each other: only if nothing made them what they were.
  model.usable = model.timed || (world.phase_hearings == phase_hearings_ && (!duties_ || calm_from(began_) >= now));
}

}  // namespace hopbench
