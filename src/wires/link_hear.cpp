// A link's far end: what the line does to a frame, what the ear makes of it, and why.
#include "wires/link.h"

#include <algorithm>

#include "stations/processor.h"
#include "wires/symptom_of.h"

namespace hopbench {

namespace {

// Times that a frame whose end is not clear is waited for: on a busy line something is always half heard.
constexpr std::uint8_t most_waits = 3;

}  // namespace

/// The ear goes by the listening station's clock as it is now.
void Link::keep_pace() {
  if (ear_.period() == receiver_) return;
  ear_.set_period(receiver_);
  end_silence_ = works_->protocol.end_silence(receiver_);
}

bool Link::surely_in_step(Period sent, Nanos stretch) {
  keep_pace();
  return ear_.surely_in_step(sent, stretch);
}

Nanos Link::end_silence() {
  keep_pace();
  return end_silence_;
}

Nanos Link::over_at(const Timing& heard, Nanos stretch) {
  // A receiver that is much slower has its last vote only after the frame has ended.
  const Nanos votes_until = surely_in_step(heard.period(), stretch) ? 0 : half_edge(0, 2, receiver_);
  return heard.end() + end_silence_ + votes_until;
}

Nanos Link::decided_at(const Timing& heard, Nanos stretch) {
  if (surely_in_step(heard.period(), stretch)) return heard.end();
  // Who passes characters on, or fetches them one by one, goes by the end of each.
  const bool whole_chars = passing() != nullptr || processor_ != nullptr || outlet_ || end_silence_ > 0 || stretch != 0;
  return ear_.decided_at(heard, stretch, whole_chars);
}

void Link::on_signal(Nanos /*now*/, Flight& flight) {
  const Parcel& parcel = flight.parcel;
  if (flight.row == 0xffffffff) {
    flight.row = works_->traces.add_row(
        parcel.passport.exchange,
        {flight.sent.start(), flight.heard.end(), index_, static_cast<std::uint16_t>(flight.sent.chars()),
         parcel.passport.key.attempt, parcel.passport.key.answering, parcel.passport.key.copy, Symptom::none,
         parcel.passport.inherited});
  }
  const Nanos stretch = flight.stretch + conditions_.spec().pulse_stretch;
  works_->queue.push(over_at(flight.heard, stretch), Rank::release, index_, 0, *this, word(release, flight.tag));

  if (from_->off_in(flight.sent.start(), flight.sent.end())) {
    flight.cut_off = true;
    flight.cut_because = from_->off_because(flight.sent.start(), flight.sent.end(), Cause::injected_reset);
    if (flight.cut_because == Cause::brown_out && from_->holds_line()) flight.cut_because = Cause::line_held;
  }
  if (to_->off_in(flight.heard.start(), flight.heard.end())) {
    flight.deaf = true;
    flight.deaf_because = to_->off_because(flight.heard.start(), flight.heard.end(), Cause::node_off);
  }
  if (flight.lost || flight.merged) {
    resolve(flight, Symptom::nothing);
    explain(flight, false);
    return;
  }

  if (to_->ever_sleeps()) {
    flight.asleep = to_->sleeps_at(flight.heard.start());
    to_->heard_edges(flight.heard.end());
  }

  const ForwardingSpec* passes = passing();
  const bool by_character = passes != nullptr && passes->kind == Forwarding::by_character;
  bool clean = works_->way != Way::every_byte && !parcel.raw && !flight.has_wire && !flight.has_levels &&
               flight.inverted.empty() && !flight.cut_off && !flight.deaf && !flight.asleep &&
               ear_.idle_at(flight.heard.start()) && fetched_in_time(flight.heard) && reads_as_said(parcel.frame) &&
               conditions_.surely_clean(parcel.passport.key, flight.heard, flight.sent.chars() * slots_per_char_);
  const Nanos decided = clean ? decided_at(flight.heard, stretch) : never;
  clean = decided != never;
  // A character that ends as the node goes off is heard, but not passed on any more.
  if (clean && by_character && to_->off_at(flight.heard.end())) clean = false;
  if (clean && by_character) {
    times_.clear();
    for (std::uint32_t i = 0; i < flight.heard.chars(); ++i) times_.push_back(flight.heard.char_end(i));
    plan_relay(flight, times_);
    clean = !flight.relay.overrun;
  }
  if (!clean) {
    hear_bytes(flight);
    return;
  }
  flight.clean = true;
  if (!surely_in_step(flight.heard.period(), stretch)) ++works_->phase_hearings;
  fresh_.clear();
  ear_.hear_clean(parcel.frame, flight.heard, decided, flight.tag, fresh_);
  works_->traces.row_heard_something(parcel.passport.exchange, flight.row);
  schedule(fresh_);
  arm();
  if (outlet_) {
    wire_of(flight, wire_);
    times_.clear();
    for (std::uint32_t i = 0; i < flight.heard.chars(); ++i) times_.push_back(flight.heard.char_end(i));
    give_out(flight, times_, wire_.view(), {});
  }
  if (passes != nullptr && !by_character) pass_electrically(flight, nullptr, false);
}

void Link::hear_bytes(Flight& flight) {
  ++works_->byte_hearings;
  const LineCoding& line = works_->protocol.line();
  wire_of(flight, wire_);
  if (flight.has_levels) {
    levels_ = flight.levels;
    levels_.shift(conditions_.spec().isolator_delay);
  } else {
    to_levels(wire_.view(), line, flight.heard, levels_);
    levels_.stretch_lows(flight.stretch);
  }
  const std::uint32_t slots = flight.heard.chars() * slots_per_char_;
  conditions_.noise(flight.parcel.passport.key, flight.heard, slots, flight.slot_offset, noise_, flight.strikes);
  for (const std::uint32_t slot : noise_) invert_slot(line, flight.heard, slot, levels_);
  for (const std::uint32_t slot : flight.inverted) {
    if (slot < slots) invert_slot(line, flight.heard, slot, levels_);
  }
  conditions_.cuts(flight.heard, levels_, flight.strikes);
  levels_.stretch_lows(conditions_.spec().pulse_stretch);
  if (flight.cut_off) {  // the sender fell silent in the middle
    const Nanos from = from_->first_off_in(flight.sent.start(), flight.sent.end()) + conditions_.spec().isolator_delay;
    levels_.force(from, flight.heard.end(), !from_->holds_line());
  }

  chars_.clear();
  ear_.sample(levels_, flight.heard, flight.tag, chars_);
  lose(flight);

  note_damage(flight);

  const ForwardingSpec* passes = passing();
  if (passes != nullptr && passes->kind == Forwarding::by_character) relay_bytes(flight);

  fresh_.clear();
  if (flight.deaf) {
    // Heard up to the moment the node went off, and again from the moment it is back.
    kept_.clear();
    for (const HeardChar& each : chars_) {
      if (!to_->off_in(each.start, each.end)) {
        kept_.push_back(each);
        continue;
      }
      ear_.hear(kept_, fresh_);
      kept_.clear();
      ear_.reset();
    }
    ear_.hear(kept_, fresh_);
  } else {
    ear_.hear(chars_, fresh_);
  }
  if (!chars_.empty()) {
    works_->traces.row_heard_something(flight.parcel.passport.exchange, flight.row);
  } else if (ear_.idle_at(flight.heard.start())) {
    resolve(flight, Symptom::nothing);
    explain(flight, false);
  }
  schedule(fresh_);
  arm();
  if (outlet_) {
    one_by_one(flight);
    WireBytes out;
    times_.clear();
    flags_.clear();
    for (const HeardChar& each : one_by_one_) {
      if (!out.push_back(each.byte)) break;
      times_.push_back(each.end);
      flags_.push_back(static_cast<std::uint8_t>((each.framing_error ? 1U : 0U) | (each.parity_error ? 2U : 0U) |
                                                 (each.overrun ? 4U : 0U)));
    }
    give_out(flight, times_, out.view(), flags_);
  }
  if (passes != nullptr && passes->kind == Forwarding::electrical) {
    bool same = chars_.size() == wire_.size();
    for (std::size_t i = 0; same && i < chars_.size(); ++i) {
      same = chars_[i].byte == wire_[i] && !chars_[i].framing_error && !chars_[i].parity_error;
    }
    const bool struck = flight.strikes.any() || !flight.inverted.empty() || flight.cut_off;
    pass_electrically(flight, &levels_, struck && !same);
  }
}

/// Where chars_ first differ from what was put on the link.
void Link::note_damage(const Flight& flight) {
  if (flight.foreign) return;
  std::uint32_t place = 0;
  for (const HeardChar& each : chars_) {
    if (each.start < flight.heard.start()) continue;
    const bool more = place >= wire_.size();
    const auto bits = more ? std::uint8_t{0} : static_cast<std::uint8_t>(each.byte ^ wire_[place]);
    ++place;
    if (!more && bits == 0 && !each.framing_error && !each.parity_error && !each.overrun) continue;
    works_->traces.row_damaged(flight.parcel.passport.exchange,
                               {flight.row, static_cast<std::uint16_t>(std::min(place, 0xffffU)), bits});
    return;
  }
  if (place == 0 || place >= wire_.size()) return;
  works_->traces.row_damaged(flight.parcel.passport.exchange,
                             {flight.row, static_cast<std::uint16_t>(std::min(place + 1, 0xffffU)), 0});
}

/// One by one: chars_ as whoever takes each character as it comes gets them. Those that began in the frame before were
/// given then. The receiver may have its last vote after the frame has ended, if its clock is slower than the sender's:
/// what it holds then comes as it would on an idle line.
void Link::one_by_one(const Flight& flight) {
  one_by_one_.clear();
  for (const HeardChar& each : chars_) {
    if (each.start >= flight.heard.start()) one_by_one_.push_back(each);
  }
  decided_ = one_by_one_.size();
  if (decided_ < flight.heard.chars()) ear_.half_heard(one_by_one_);
}

/// What of chars_ goes out again, and when. What finds the FIFO full is taken from chars_, too.
void Link::relay_bytes(Flight& flight) {
  one_by_one(flight);
  const auto off = [&](const HeardChar& each) { return to_->off_at(each.end); };
  const auto undecided = one_by_one_.begin() + static_cast<std::ptrdiff_t>(decided_);
  decided_ -= static_cast<std::size_t>(std::count_if(one_by_one_.begin(), undecided, off));
  std::erase_if(one_by_one_, off);
  times_.clear();
  for (const HeardChar& each : one_by_one_) times_.push_back(each.end);
  plan_relay(flight, times_);
  flight.relay_bytes.clear();
  flight.relay_damaged = flight.relay_damaged || flight.asleep || flight.not_fetched;
  for (const std::uint32_t i : flight.relay.passed) {
    flight.relay_bytes.push_back(one_by_one_[i].byte);
    flight.relay_damaged = flight.relay_damaged || one_by_one_[i].framing_error || one_by_one_[i].parity_error;
  }
  if (!flight.relay.overrun) return;
  flight.overrun = true;
  flight.relay_damaged = true;
  std::erase_if(chars_, [&](const HeardChar& each) { return each.start >= flight.heard.start(); });
  std::uint32_t expected = 0;
  for (const std::uint32_t i : flight.relay.passed) {
    if (i < decided_) {
      chars_.push_back(one_by_one_[i]);
      chars_.back().overrun = chars_.back().overrun || i != expected;
    }
    expected = i + 1;
  }
  if (decided_ < one_by_one_.size() && expected <= decided_) ear_.miss_half_heard();
}

/// Before its receiver is full.
bool Link::fetched_in_time(const Timing& heard) {
  if (processor_ == nullptr) return true;
  times_.clear();
  for (std::uint32_t i = 0; i < heard.chars(); ++i) times_.push_back(heard.char_end(i));
  unfetched_.clear();
  processor_->unfetched(times_, unfetched_);
  return unfetched_.empty();
}

/// Takes away what a station that wakes up, or that has something else to do, does not get of chars_.
void Link::lose(Flight& flight) {
  if (flight.asleep) {
    const Nanos awake = flight.heard.start() + to_->wake_up();
    const std::size_t before = chars_.size();
    std::erase_if(chars_, [&](const HeardChar& each) { return each.start < awake; });
    if (chars_.size() == before) flight.asleep = false;
  }
  if (processor_ == nullptr) return;
  times_.clear();
  for (const HeardChar& each : chars_) times_.push_back(each.end);
  unfetched_.clear();
  processor_->unfetched(times_, unfetched_);
  if (unfetched_.empty()) return;
  flight.not_fetched = true;
  kept_.clear();
  bool gone = false;
  for (std::uint32_t i = 0, next = 0; i < chars_.size(); ++i) {
    if (next < unfetched_.size() && unfetched_[next] == i) {
      ++next;
      gone = true;
      continue;
    }
    kept_.push_back(chars_[i]);
    kept_.back().overrun = kept_.back().overrun || gone;
    gone = false;
  }
  chars_ = kept_;
}

void Link::give_out(const Flight& flight, std::span<const Nanos> ends, std::span<const std::uint8_t> bytes,
                    std::span<const std::uint8_t> flags) {
  if (!bytes.empty()) outlet_(ends, bytes, flags, !flight.heard.back_to_back());
}

/// Whether a receiver that hears every character as sent reads this frame and nothing else.
bool Link::reads_as_said(const Frame& frame) {
  if (any_frame_reads_) return true;
  Content content;
  works_->protocol.encode(frame, content);
  works_->protocol.wrap(content.view(), reading_);
  const std::uint32_t beyond = 1U << works_->protocol.line().data_bits;
  reader_.reset();
  told_.clear();
  HeardChar character;
  for (const std::uint8_t byte : reading_.view()) {
    if (byte >= beyond) return false;
    character.byte = byte;
    reader_.push(character, told_);
  }
  if (!reader_.idle() && end_silence_ > 0) reader_.silent_until(end_silence_, told_);
  const bool well = told_.size() == 1 && told_.front().damage == Damage::none && told_.front().frame == frame;
  told_.clear();
  return well && reader_.idle();
}

void Link::on_release(Nanos now, Flight& flight) {
  // Its last characters are still being puzzled over: what becomes of it is known when that is over.
  const Nanos known_at = ear_.wants_wake();
  if (!flight.resolved && flight.waited < most_waits && known_at != never && known_at >= now) {
    ++flight.waited;
    works_->queue.push(known_at, Rank::release, index_, 0, *this, word(release, flight.tag));
    return;
  }
  if (!flight.resolved && !flight.explained && !flight.foreign) explain(flight, false);
  const std::uint64_t exchange = flight.parcel.passport.exchange;
  works_->traces.row_over(exchange, flight.row);
  works_->flights.land(flight);
  works_->traces.release(exchange, now);
}

void Link::schedule(std::vector<Finding>& findings) {
  for (Finding& finding : findings) {
    std::uint32_t place = 0;
    if (free_findings_.empty()) {
      place = static_cast<std::uint32_t>(findings_.size());
      findings_.push_back(std::make_unique<Finding>());
    } else {
      place = free_findings_.back();
      free_findings_.pop_back();
    }
    *findings_[place] = finding;
    Nanos at = std::max(works_->queue.now(), finding.known_at);
    if (!into_node_ && processor_ != nullptr) at = processor_->free_at(at);
    works_->queue.push(at, Rank::arrival, index_, 1, *this, word(found, place));
  }
  findings.clear();
}

void Link::arm() {
  const Nanos wanted = ear_.wants_wake();
  if (wanted == armed_for_) return;
  armed_for_ = wanted;
  if (wanted != never) {
    armed_for_ = std::max(wanted, works_->queue.now());
    works_->queue.push(armed_for_, Rank::wake, index_, 0, *this, word(wake, 0));
  }
}

void Link::dispatch(Nanos now, Finding& finding) {
  Flight* first = works_->flights.find(finding.first_tag);
  Flight* last = works_->flights.find(finding.last_tag);
  const Symptom symptom = symptom_of(finding);
  if (symptom == Symptom::none) {
    if (last != nullptr && !last->resolved) {
      resolve(*last, Symptom::none);
      if (last->parcel.passport.key.answering && !last->foreign) note_answer(*last, finding);
      if (!last->foreign && finding.frame != last->parcel.frame) explain(*last, true);
    }
  } else {
    for (Flight* each : {first, last}) {
      if (each == nullptr || each->resolved) continue;
      resolve(*each, symptom);
      explain(*each, false);
    }
  }
  if (to_->off_at(now)) {
    if (last != nullptr) {
      const Passport& passport = last->parcel.passport;
      works_->traces.blame(passport, {to_->off_because(now, now + 1, Cause::node_off), to_->node(), index_, no_fault});
    }
    return;
  }
  to_->heard(now, index_, finding, symptom, last);
}

void Link::note_answer(const Flight& flight, const Finding& finding) {
  if (!finding.content.empty()) {
    works_->traces.answer_heard(flight.parcel.passport.exchange, flight.row, finding.content);
    return;
  }
  Content content;
  works_->protocol.encode(finding.frame, content);
  works_->traces.answer_heard(flight.parcel.passport.exchange, flight.row, content);
}

void Link::resolve(Flight& flight, Symptom symptom) {
  flight.resolved = true;
  works_->traces.resolve_row(flight.parcel.passport.exchange, flight.row, symptom);
}

void Link::explain(Flight& flight, bool undetected) {
  if (flight.explained) return;
  flight.explained = true;
  const Parcel& parcel = flight.parcel;
  bool any = false;
  const auto because = [&](bool true_here, Cause cause, std::uint32_t fault, std::uint32_t bit) {
    if (!true_here) return;
    any = true;
    works_->traces.add_truth(parcel.passport.exchange, {flight.row, cause, fault, bit, undetected});
    const Blame blame{cause, nobody, index_, fault};
    if (cause == Cause::inherited) {  // where that was is known later, if it was passed on while it came in
      works_->traces.suspect(parcel.passport, blame);
    } else {
      works_->traces.blame(parcel.passport, blame);
    }
  };
  const bool struck = flight.injected.cause == Cause::injected_corruption ||
                      flight.injected.cause == Cause::injected_loss || flight.lost || !flight.inverted.empty();
  because(struck, flight.injected.cause, flight.injected.fault,
          flight.inverted.empty() ? 0xffffffffU : flight.inverted.front());
  because(flight.cut_off, flight.cut_because, no_fault, 0xffffffffU);
  because(flight.strikes.open, Cause::cable_open, no_fault, 0xffffffffU);
  because(flight.strikes.contact, Cause::contact, no_fault, 0xffffffffU);
  because(flight.strikes.burst, Cause::burst, no_fault, flight.strikes.first_slot);
  because(flight.strikes.noise, Cause::bit_noise, no_fault, flight.strikes.first_slot);
  because(flight.strikes.charger, Cause::charger, no_fault, flight.strikes.first_slot);
  because(flight.strikes.bleed_edge, Cause::bleed_edge, no_fault, flight.strikes.first_slot);
  because(flight.deaf, flight.deaf_because, no_fault, 0xffffffffU);
  because(flight.asleep, Cause::asleep, no_fault, 0xffffffffU);
  because(flight.not_fetched, !into_node_ ? Cause::controller_busy : Cause::not_fetched, no_fault, 0xffffffffU);
  because(flight.overrun, Cause::fifo_overrun, no_fault, 0xffffffffU);
  because(flight.merged, Cause::merged, no_fault, 0xffffffffU);
  because(parcel.passport.inherited, Cause::inherited, no_fault, 0xffffffffU);
  if (any) return;
  const Nanos stretch = flight.stretch + conditions_.spec().pulse_stretch;
  const Period sent = flight.sent.period();
  because(true,
          ear_.surely_in_step(sent, stretch) ? Cause::merged
          : ear_.surely_in_step(sent, 0)     ? Cause::pulse_width
                                             : Cause::clock,
          no_fault, 0xffffffffU);
}

}  // namespace hopbench
