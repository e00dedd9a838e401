#include "chain/node_post.h"

#include <array>

namespace hopbench {

NodePost::NodePost(Works& works, std::size_t index)
    : works_(&works), node_({works.protocol, works.chain, works.table, index}, works.luck, *this) {}

void NodePost::connect(const std::vector<std::unique_ptr<Link>>& links, Surroundings& surroundings) {
  links_ = &links;
  surroundings_ = &surroundings;
}

void NodePost::heard(Nanos now, std::uint16_t link, const Finding& finding, Symptom symptom, const Flight* flight) {
  if (listener_ != nullptr) {
    Content content;
    listener_->heard(sighting_of(works_->protocol, now, link, finding, symptom, content));
  }
  heard_ = flight == nullptr ? nobodys_ : flight->parcel.passport;
  heard_.inherited = symptom != Symptom::none;
  in_hand_ = &heard_;
  finding_ = &finding;
  flight_ = flight;
  heard_on_ = link;
  heard_row_ = flight == nullptr ? 0xffffffff : flight->row;
  if (symptom == Symptom::none && !heard_.key.answering && node() == works_->table.last_node()) {
    if (TryNotes* notes = works_->traces.notes(heard_.exchange, heard_.key.attempt)) notes->went_all_way = true;
  }
  node_.on_hearing(now, {link, finding.first_edge, finding.end, symptom, &finding.frame, &finding.content});
  in_hand_ = &nobodys_;
}

Parcel NodePost::parcel_of(const Frame& frame, const Passport& passport) const {
  Parcel parcel;
  parcel.passport = passport;
  if (const auto read = works_->protocol.as_read(frame)) {
    parcel.frame = *read;
  } else {
    parcel.frame = frame;
    parcel.raw = true;
    works_->protocol.encode(frame, parcel.content);
  }
  return parcel;
}

void NodePost::send(std::uint16_t link, const Parcel& parcel) { (*links_)[link]->send(parcel); }

void NodePost::answer(std::uint16_t link, const Frame& frame, const AnswerNotes& notes) {
  Passport passport = *in_hand_;
  passport.key.answering = true;
  passport.taken_at = notes.taken_at;
  passport.off_by_uv = notes.off_by_uv;
  Parcel parcel = parcel_of(frame, passport);
  parcel.passport.said = fingerprint(parcel.frame.payload);
  if (notes.amiss != Amiss::nothing) {
    parcel.passport.flawed_by = node();
    parcel.passport.unfit = notes.amiss == Amiss::name || notes.amiss == Amiss::uncalled;
    parcel.passport.outdated = notes.amiss == Amiss::age;
    if (notes.amiss == Amiss::content || notes.amiss == Amiss::uncalled) parcel.passport.said = ~parcel.passport.said;
    works_->traces.suspect(passport.exchange, passport.key.attempt, {Cause::design_flaw, node(), nobody, no_fault});
  }
  if (TryNotes* of_try = works_->traces.notes(passport.exchange, passport.key.attempt)) of_try->answered = true;
  if (record_ != nullptr) {
    ++record_->answers;
    record_->node = node();
    record_->ask = notes.ask;
    record_->sent = parcel.frame;
    record_->asked_at = notes.asked_at;
    record_->filled_at = now();
    record_->taken_at = notes.taken_at;
    record_->frames_heard = notes.frames_heard;
  }
  send(link, parcel);
}

void NodePost::refuse(std::uint16_t link, const Frame& frame) {
  Passport passport = *in_hand_;
  passport.key.answering = true;
  passport.inherited = false;
  if (record_ != nullptr) ++record_->answers;
  send(link, parcel_of(frame, passport));
}

void NodePost::send_on(std::uint16_t link, Parcel& parcel) {
  Blame blame;
  if (!works_->injector.empty_memory() && works_->injector.damage_in_memory(node(), now(), parcel, blame)) {
    const Passport& passport = parcel.passport;
    works_->traces.struck(passport.exchange,
                          {blame.fault, nobody, passport.key.attempt, passport.key.answering, passport.key.copy});
    works_->traces.blame(passport, blame);
  }
  send(link, parcel);
}

void NodePost::pass_on(std::uint16_t link, const Frame& frame) {
  if (in_hand_->flawed_by == node()) {
    Parcel parcel = parcel_of(frame, *in_hand_);
    return send_on(link, parcel);
  }
  if (works_->injector.empty_memory()) {
    (*links_)[link]->send(frame, *in_hand_);
    return;
  }
  Parcel parcel;
  parcel.passport = *in_hand_;
  parcel.frame = frame;
  send_on(link, parcel);
}

void NodePost::pass_on(std::uint16_t link, const Content& content) {
  Parcel parcel;
  parcel.passport = *in_hand_;
  parcel.raw = true;
  parcel.content = content;
  if (works_->protocol.parse(content.view(), parcel.frame) != Damage::none) parcel.passport.inherited = true;
  send_on(link, parcel);
}

/// Had something not held up what is in hand, when would its job have been due?
void NodePost::count_waiting(std::uint32_t job, Nanos at, Passport& passport) {
  constexpr std::array<Node::Skip, holdup_count> skips{Node::Skip::busyness, Node::Skip::measurement,
                                                       Node::Skip::nothing, Node::Skip::nothing};
  Holdups& holdups = passport.holdups;
  const Nanos busy_before = holdups[Holdup::busy_node];
  for (std::size_t i = 0; i < holdup_count; ++i) {
    holdups.without[i] = at - node_.due(job, now() - holdups.without[i], skips[i]);
  }
  const Nanos busy_here = holdups[Holdup::busy_node] - busy_before;
  if (busy_here > holdups.busy_there) {
    holdups.busy_there = busy_here;
    holdups.busy_station = node();
  }
  if (TryNotes* notes = works_->traces.notes(passport.exchange, passport.key.attempt)) notes->holdups = holdups;
}

void NodePost::later(Nanos at, std::uint32_t job) {
  if (job >= errands_.size()) errands_.resize(job + std::size_t{1});
  Errand& errand = errands_[job];
  errand.open = true;
  errand.passport = *in_hand_;
  if (node_.may_wait(job)) count_waiting(job, at, errand.passport);
  works_->traces.hold(in_hand_->exchange);
  ++works_->jobs;
  const std::uint64_t word = (static_cast<std::uint64_t>(generation_) << 32U) | job;
  works_->queue.push(at, Rank::wake, Works::node_entity(node_.index()), 0, *this, word);
}

void NodePost::drop_jobs(Cause why) {
  for (Errand& errand : errands_) {
    if (!errand.open) continue;
    errand.open = false;
    --works_->jobs;
    const Passport& passport = errand.passport;
    works_->traces.blame(passport, {why, node(), nobody, no_fault});
    works_->traces.release(passport.exchange, now());
  }
  ++generation_;
}

void NodePost::wake(Nanos at, std::uint32_t what) {
  works_->queue.push(at, Rank::signal, Works::node_entity(node_.index()), 0, *this, wakes + what);
}

void NodePost::on_event(Nanos now, std::uint64_t what) {
  if (what >= wakes) {
    node_.on_wake(static_cast<std::uint32_t>(what - wakes));
    return;
  }
  if ((what >> 32U) != generation_) return;  // from before a reset
  const auto job = static_cast<std::uint32_t>(what);
  Errand& errand = errands_[job];
  in_hand_ = &errand.passport;
  node_.on_job(job);
  in_hand_ = &nobodys_;
  errand.open = false;
  --works_->jobs;
  works_->traces.release(errand.passport.exchange, now);
}

std::int64_t NodePost::cell_uv(std::uint32_t cell, Nanos at) const {
  return surroundings_->pack().seen_uv(node_.index(), cell, at);
}

std::int64_t NodePost::bleed_drop_uv(std::uint32_t cell, std::uint32_t bled, Nanos at) const {
  return surroundings_->pack().bleed_drop_uv(node_.index(), cell, bled, at);
}

void NodePost::ends_here(Cause why) { works_->traces.blame(*in_hand_, {why, node(), nobody, no_fault}); }

void NodePost::takes() {
  const Trace* trace = works_->traces.find(in_hand_->exchange);
  if (trace == nullptr || trace->node != node()) return;
  TryNotes* notes = works_->traces.notes(in_hand_->exchange, in_hand_->key.attempt);
  if (notes == nullptr) return;
  notes->taken = true;
  // A node behind it whose clock is faster may have known the end of the frame sooner.
  const auto behind = [&](std::uint16_t place) { return place != nobody && place > node(); };
  if (behind(notes->truth.station) || behind(notes->truth.link)) notes->truth = {};
}

void NodePost::mistakes() {
  heard_.flawed_by = node();
  works_->traces.suspect(heard_, {Cause::design_flaw, node(), nobody, no_fault});
}

void NodePost::takes_for_good() {
  mistakes();
  heard_.inherited = false;
  // Nothing is wrong with what it says if only the check was hit.
  if (flight_ == nullptr || finding_->frame != flight_->parcel.frame) heard_.fake = true;
}

void NodePost::no_room() {
  if (heard_row_ == 0xffffffff) return;
  works_->traces.resolve_row(in_hand_->exchange, heard_row_, Symptom::no_room);
  works_->traces.add_truth(in_hand_->exchange, {heard_row_, Cause::short_buffer, no_fault, 0xffffffffU, false});
  // What is for everyone has gone on to the next by now, if this node passes on what comes as it comes.
  const Trace* trace = works_->traces.find(in_hand_->exchange);
  if (trace != nullptr && trace->everyone && node_.kind().forwarding.kind != Forwarding::whole) return;
  works_->traces.blame(*in_hand_, {Cause::short_buffer, node(), heard_on_, no_fault});
}

}  // namespace hopbench
