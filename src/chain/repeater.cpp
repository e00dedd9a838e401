#include "chain/repeater.h"

#include <algorithm>

namespace hopbench {
namespace {

// More than a few queued events is no quiet chain; looking through them would cost more than it could save.
constexpr std::size_t nearly_empty = 64;

}  // namespace

Repeater::Repeater(Works& works, const Links& links, const Posts& posts, ControllerPost& controller)
    : works_(&works),
      links_(&links),
      posts_(&posts),
      post_(&controller),
      controller_(&controller.station()),
      models_(Controller::entries_of(works.chain).size()),
      model_seen_(models_.size()),
      heard_before_(posts.size()) {
  const auto has_duties = [](const auto& post) { return !post->station().processor().idle(); };
  const auto sleeps = [](const auto& post) { return post->ever_sleeps(); };
  duties_ = !controller_->processor().idle() || works.chain.controller.wrap.bits != 0 ||
            std::any_of(posts.begin(), posts.end(), has_duties);
  sleepers_ = std::any_of(posts.begin(), posts.end(), sleeps);
  if (controller_->balances()) works.settle_readings = [this] { settle(); };
}

void Repeater::settle() {
  for (Model& model : models_) {
    if (model.unread == never) continue;
    const Nanos at = model.unread;
    model.unread = never;
    const auto entry = static_cast<std::size_t>(&model - models_.data());
    auto answer =
        node(model.answer.node).make_answer(model.answer.ask, at + model.answer.filled_at, taken_at(model, at));
    if (!answer) continue;
    answer = works_->protocol.as_read(*answer).value_or(*answer);
    answer->role = Role::answer;
    const Nanos heard = at + (model_seen_[entry].decided - model_seen_[entry].start);
    // For the node that was asked: another one may have taken its address.
    controller_->learn(model_seen_[entry].node, *answer, model.asked.payload.view(), heard);
  }
}

Nanos Repeater::calm_from(Nanos now) const {
  Nanos until = controller_->calm_until(now);
  for (const auto& post : *posts_) until = std::min(until, post->station().processor().calm_until(now));
  return until;
}

bool Repeater::undisturbed(const Model& model, Nanos at) {
  if (duties_) {
    if (at >= calm_until_) calm_until_ = calm_from(at);
    if (at + model.span > calm_until_) return false;
  }
  if (!sleepers_) return true;
  return std::all_of(model.rows.begin(), model.rows.end(), [&](const HopRow& row) {
    return !(*links_)[row.link]->into().sleeps_at(at + (row.end - model.began));
  });
}

void Repeater::keep_awake(const Model& model, Nanos at) {
  for (const HopRow& row : model.rows) {
    (*links_)[row.link]->into().heard_edges(at + (row.end - model.began));
  }
}

void Repeater::forget() {
  settle();
  works_->tap.flush();
  for (Model& model : models_) model.usable = false;
}

bool Repeater::quiet(Nanos now) {
  Works& world = *works_;
  if (world.traces.any_open() || world.flights.in_the_air() != 0 || world.jobs != 0) return false;
  return std::all_of(links_->begin(), links_->end(), [&](const auto& link) { return link->quiet_at(now); }) &&
         std::none_of(posts_->begin(), posts_->end(), [&](const auto& post) { return post->off_at(now); });
}

bool Repeater::go(Nanos until) {
  Works& world = *works_;
  if (world.queue.size() > nearly_empty) {
    if (recording_) end_recording(world.queue.next_at(), false);
    return false;
  }
  // What is only put away at this instant may as well be put away before the next exchange begins.
  while (world.queue.step_of_rank(Rank::release)) {
  }
  const Nanos now = world.queue.next_at();
  const bool is_quiet = quiet(now);
  if (recording_) end_recording(now, is_quiet);
  if (!is_quiet || !post_->between() || !controller_->follows_plan() || world.injector.needs_previous(now)) return false;
  if (version_ != world.version) {
    forget();
    version_ = world.version;
    calm_until_ = 0;
  }
  const Nanos after = world.queue.after_next();
  const Nanos horizon = after == never ? until : std::min(until, after - 1);
  const std::uint64_t most = post_->most();
  std::uint64_t whole_from = world.tap.whole_from();

  Nanos at = now;
  Nanos closed = now;
  bool any = false;
  for (;;) {
    if (at > horizon || world.traces.opened() >= most) break;
    const Controller::PlanPlace place = controller_->place();
    const std::uint32_t entry = controller_->pick();
    Model& model = models_[entry];
    if (!model.usable || model.span > horizon - at || !can_go(model, entry, at)) {
      controller_->go_back_to(place);
      if (!model.usable && !any && controller_->turn_of(entry) >= model.record_at_turn) start_recording(entry, now);
      break;
    }
    any = true;
    if (sleepers_) keep_awake(model, at);
    if (controller_->balances() && model.answer.answers != 0) model.unread = at;
    const std::uint64_t number = world.traces.pass_over();
    if (number < whole_from) {
      const Nanos edge = controller_->last_edge();
      world.tap.add(model_seen_, {entry, number, controller_->turn_of(entry), at, edge < 0 ? -1 : at - edge});
      controller_->asked_and_answered(entry, at, at + model.last_edge, true);
      ++model.owed;
      owing_ = true;
    } else {
      tell_whole(entry, model, number, at);
      whole_from = world.tap.whole_from();
    }
    closed = at + (model_seen_[entry].closed - model_seen_[entry].start);
    at += model.span;
  }
  if (!any) return false;
  pay_all();
  world.queue.drop_next();
  world.queue.advance(closed);
  controller_->ask_next_at(at);
  return true;
}

bool Repeater::can_go(Model& model, std::uint32_t entry, Nanos at) {
  if ((duties_ || sleepers_) && !undisturbed(model, at)) return false;
  if (model.answer.answers != 0 && works_->chain.controller.exact_within_uv > 0 &&
      node(model.answer.node).measures_wrong()) {
    return false;
  }
  const std::uint64_t turn = controller_->turn_of(entry);
  if (turn >= model.next_touch) {
    FrameKey key{controller_->hash_of(entry), turn, 0, false, 0};
    model.next_touch = ~std::uint64_t{0};
    for (RowHits& row : model.hits) {
      if (row.clear_until <= turn) {
        key.answering = row.answering;
        row.clear_until = (*links_)[row.link]->conditions().clear_until(key, row.slots);
      }
      model.next_touch = std::min(model.next_touch, row.clear_until);
    }
    if (turn >= model.next_touch) return false;
  }
  if (at + model.span > model.calm_until) {
    model.calm_until = never;
    for (const RowHits& row : model.hits) {
      model.calm_until = std::min(model.calm_until, (*links_)[row.link]->conditions().calm_until(at));
    }
    if (at + model.span > model.calm_until) return false;
  }
  return (model.passages.empty() || spared(model, turn, at)) &&
         (works_->chain.controller.fresh_within <= 0 || fresh(model, at));
}

bool Repeater::spared(const Model& model, std::uint64_t turn, Nanos at) {
  return std::all_of(model.passages.begin(), model.passages.end(), [&](Injector::Passage passage) {
    passage.key.turn = turn;
    passage.from += at;
    passage.to += at;
    return works_->injector.spares(passage);
  });
}

Nanos Repeater::taken_at(const Model& model, Nanos at) const {
  if (model.answer.answers == 0 || model.answer.taken_at == never) return never;
  const Node& answers = node(model.answer.node);
  if (answers.kind().measurement.when == MeasureWhen::on_ask) return at + model.answer.taken_at;
  return answers.newest_snapshot(at + model.answer.asked_at + answers.kind().answer_after);
}

bool Repeater::fresh(const Model& model, Nanos at) const {
  const Nanos within = works_->chain.controller.fresh_within;
  const Nanos taken = taken_at(model, at);
  const auto entry = static_cast<std::size_t>(&model - models_.data());
  const Nanos accepted = at + (model_seen_[entry].decided - model_seen_[entry].start);
  return taken == never || accepted - taken <= within;
}

void Repeater::pay(Model& model) {
  if (model.owed == 0) return;
  for (const NodeCount& each : model.heard) node(each.node).count_heard(each.frames * model.owed);
  model.owed = 0;
}

void Repeater::pay_all() {
  if (!owing_) return;
  for (Model& model : models_) pay(model);
  owing_ = false;
}

void Repeater::tell_whole(std::uint32_t entry, Model& model, std::uint64_t number, Nanos at) {
  Works& world = *works_;
  pay_all();
  const Protocol& protocol = world.protocol;
  ExchangeObs seen = model_seen_[entry];
  const Nanos later = at - seen.start;
  seen.number = number;
  seen.turn = controller_->turn_of(entry);
  seen.start += later;
  seen.decided += later;
  seen.closed += later;
  seen.since_last = controller_->last_edge() < 0 ? -1 : at - controller_->last_edge();
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
  const Frame& asked = controller_->make_ask(entry);
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
    const auto answer = answers.make_answer(on_its_way(asked, model.asked, model.answer.ask),
                                            at + model.answer.filled_at, taken_at(model, at));
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
  controller_->asked_and_answered(entry, at, at + model.last_edge, false);
  model.owed = 1;
  pay(model);
  world.tap.exchange(seen, &truth);
}

void Repeater::start_recording(std::uint32_t entry, Nanos now) {
  Works& world = *works_;
  const std::uint32_t topic = controller_->topic_of(entry);
  Model& model = models_[entry];
  if (world.protocol.topic_spec(topic).changes || !world.protocol.length_is_steady(topic)) {
    model.record_at_turn = ~std::uint64_t{0};
    return;
  }
  recording_ = true;
  entry_ = entry;
  began_ = now;
  byte_hearings_ = world.byte_hearings;
  struck_ = world.injector.struck();
  closed_early_ = world.traces.closed_early();
  recording_calm_until_ = duties_ ? calm_from(now) : never;
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
  Model& model = models_[entry_];
  const bool answer_fits = copy.answered.empty() ? answer_.answers == 0 : answer_.answers == 1;
  // What comes back while a retry is being put off may come after the retry another time: the pause is drawn.
  if (!was_quiet || !controller_->at_first_try() || copy.exchanges != 1 || copy.others != 0 || !copy.healthy ||
      copy.seen.entry != entry_ || copy.seen.start != began_ || !answer_fits || world.byte_hearings != byte_hearings_ ||
      world.injector.struck() != struck_ || world.traces.closed_early() != closed_early_ || world.version != version_ ||
      recording_calm_until_ < now) {
    model.record_at_turn = controller_->turn_of(entry_) + model.put_off;
    model.put_off = std::min<std::uint64_t>(2 * model.put_off, 1U << 16U);
    return;
  }
  model.usable = true;
  model.put_off = 1;
  model.span = now - began_;
  model.began = began_;
  model.last_edge = controller_->last_edge() - began_;
  model.next_touch = 0;
  model.calm_until = 0;
  model.attempts = copy.attempts;
  model.rows = copy.rows;
  ExchangeObs& seen = model_seen_[entry_];
  seen = copy.seen;
  seen.attempts = model.attempts;
  seen.rows = model.rows;
  seen.asked = {};
  seen.answered = {};

  model.hits.clear();
  model.passages.clear();
  for (const HopRow& row : model.rows) {
    Link& link = *(*links_)[row.link];
    model.hits.push_back({row.link, link.slots_of(row.chars), row.answering, 0});
    if (world.injector.empty() && world.injector.empty_memory()) continue;
    Injector::Passage passage;
    passage.link = row.link;
    passage.link_hash = link.hash();
    passage.forwarder = link.from().node();
    passage.from = 0;
    passage.to = model.span;
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
}

}  // namespace hopbench
