#include "chain/outside_post.h"

#include <algorithm>
#include <utility>

#include "books/late.h"
#include "line/clock.h"
#include "line/signal.h"
#include "scenario/cells_told.h"
#include "seen/lateness.h"
#include "seen/rows.h"
#include "wires/symptom_of.h"

namespace hopbench {
namespace {

// Entries of asks told before; what still comes for them is called by them.
constexpr std::size_t most_remembered = 4096;

Assembler::Setup set_up(const Works& works, std::optional<Nanos> time_out) {
  Assembler::Setup setup{works.protocol, works.table, {}, std::vector<bool>(works.table.size(), false), time_out, true};
  for (const NodeSpec& node : works.chain.nodes) setup.addresses.push_back(node.address);
  setup.heard[works.table.home()] = true;
  return setup;
}

template <class Map>
void forget_oldest(Map& map) {
  while (map.size() > most_remembered) map.erase(map.begin());
}

}  // namespace

OutsidePost::OutsidePost(Works& works, std::optional<Nanos> time_out, bool granted)
    : works_(&works),
      period_(period_of(works.chain.controller.clock, works.protocol.line().baud, works.luck,
                        name_hash(works.chain.controller.name))),
      hash_(name_hash("outside")),
      granted_(granted),
      time_out_(time_out),
      assembler_(set_up(works, time_out), *this),
      sent_(granted ? 0 : works.chain.start.round),
      turns_(entries_of(works.chain, works.protocol).size(), 0) {
  works.traces.hand_to(*this);
  for (const EntryInfo& entry : entries_of(works.chain, works.protocol)) askings_.push_back({name_hash(entry.name)});
  // What the scenario's own controller asks under one name only has that name's luck.
  std::vector<std::uint32_t> named(askings_.size(), 0);
  for (const PlanEntry& plan : works.chain.controller.plan) {
    const auto topic = works.protocol.topic_named(plan.topic);
    if (!topic) continue;
    const std::uint32_t entry = entry_of(plan.node, *topic, plan.node == nobody);
    if (named[entry]++ == 0) askings_[entry].hash = name_hash(plan.name);
  }
  const auto infos = entries_of(works.chain, works.protocol);
  for (std::size_t i = 0; i < named.size(); ++i) {
    if (named[i] > 1) askings_[i].hash = name_hash(infos[i].name);
  }
}

void OutsidePost::connect(Link& first) {
  first_ = &first;
  intake_.emplace(works_->protocol, first.sender_period());
}

std::vector<EntryInfo> OutsidePost::entries_of(const ChainDescription& chain, const Protocol& protocol) {
  std::vector<EntryInfo> entries;
  const auto& topics = protocol.description().topics;
  for (const NodeSpec& node : chain.nodes) {
    for (std::uint32_t topic = 0; topic < topics.size(); ++topic) {
      const CellsTold told = cells_told(protocol, chain.kinds[node.kind], topic);
      const std::string& name = topics[topic].name;
      entries.push_back({"outside/" + node.name + "/" + name, node.name, name, told.first, told.cells});
    }
  }
  for (const TopicSpec& topic : topics) entries.push_back({"outside/everyone/" + topic.name, "", topic.name, 0, 0});
  entries.push_back({"outside/other", "", "", 0, 0});
  return entries;
}

// ---- what comes in ----------------------------------------------------------------------------------------------

/// `ask`: null if it is none.
FrameKey OutsidePost::key_of(const Frame* ask) {
  if (!granted_ || ask == nullptr) return {hash_, sent_ - 1, 0, false, 0};
  const bool everyone = works_->protocol.bound_for(*ask, std::nullopt) == Protocol::Bound::everyone;
  Asking& asking =
      askings_[entry_of(assembler_.node_of(*ask), works_->protocol.topic(*ask).value_or(0xffffffff), everyone)];
  if (asks_again_ && asking.turns > 0 && asking.attempt < 0xff) {
    ++asking.attempt;
  } else {
    ++asking.turns;
    asking.attempt = 0;
  }
  asks_again_ = false;
  return {asking.hash, asking.turns - 1, asking.attempt, false, 0};
}

/// A whole frame that goes on the line as one of ours would.
bool OutsidePost::sets_out_as_frame(const Frame* ask, const Intake::Piece& piece, std::size_t pieces,
                                    std::span<const std::uint8_t> bytes) const {
  if (!granted_ || ask == nullptr || pieces != 1 || piece.goes_on || !piece.over) return false;
  if (first_->free_from() > works_->queue.now()) return false;
  Content content;
  WireBytes wire;
  works_->protocol.encode(*ask, content);
  works_->protocol.wrap(content.view(), wire);
  return std::ranges::equal(wire.view(), bytes);
}

std::uint64_t OutsidePost::begin_piece(Nanos start) {
  Trace& trace = works_->traces.open(0, sent_, nobody, start);
  works_->traces.attempt(trace, start, start);
  open_row_ = 0xffffffff;
  open_slots_ = 0;
  open_bytes_.clear();
  ++sent_;
  return trace.number;
}

void OutsidePost::arrive(bool paced, std::span<const std::uint8_t> bytes, std::span<const std::uint8_t> flags) {
  const LineCoding& line = works_->protocol.line();
  const Period bit = first_->sender_period();
  const auto count = static_cast<std::uint32_t>(bytes.size());
  const Nanos now = works_->queue.now();
  const Nanos start =
      paced ? now - half_edge(0, std::uint64_t{count} * line.char_half_bits(), bit) : first_->next_byte_at();
  const Timing timing(start, bit, count, line.char_half_bits());
  std::vector<HeardChar> chars(count);
  for (std::uint32_t i = 0; i < count; ++i) {
    const std::uint8_t flag = i < flags.size() ? flags[i] : 0;
    chars[i].byte = bytes[i];
    chars[i].framing_error = (flag & 1U) != 0;
    chars[i].parity_error = (flag & 2U) != 0;
    chars[i].overrun = (flag & 4U) != 0;
    chars[i].start = timing.char_start(i);
    chars[i].end = timing.char_end(i);
  }
  std::vector<Intake::Piece> pieces;
  intake_->take(chars, pieces);
  std::vector<Intake::Found> found = std::move(intake_->found());
  // Whom each piece is for is known before it sets out, where all of it came at once: a node may have heard it before
  // the silence that ends it is over here.
  std::vector<Intake::Found> likely = intake_->if_that_is_all();
  likely.insert(likely.begin(), found.begin(), found.end());
  const auto says_of_piece = [&](std::uint64_t piece) -> const Frame* {
    for (const Intake::Found& each : likely) {
      if (each.last_piece == piece && each.finding.damage == Damage::none) return &each.finding.frame;
    }
    return nullptr;
  };
  for (const Intake::Piece& piece : pieces) {
    if (!piece.goes_on) open_trace_ = begin_piece(timing.char_start(static_cast<std::uint32_t>(piece.from)));
    trace_of_piece_[piece.number] = open_trace_;
    const Frame* ask = says_of_piece(piece.number);
    if (Trace* trace = works_->traces.find(open_trace_)) take_as_asked(*trace, ask);
    const std::size_t size = piece.to - piece.from;
    for (std::size_t i = piece.from; i < piece.to; ++i) open_bytes_.push_back(bytes[i]);
    Parcel parcel;
    parcel.passport.key = key_of(ask);
    parcel.passport.exchange = open_trace_;
    if (sets_out_as_frame(ask, piece, pieces.size(), bytes)) {
      parcel.frame = *ask;
      (void)first_->send(parcel);
      open_trace_ = no_trace;
      continue;
    }
    open_row_ =
        first_->send_bytes(bytes.subspan(piece.from, size),
                           flags.empty() ? flags : flags.subspan(piece.from, std::min(size, flags.size() - piece.from)),
                           paced, parcel, open_row_, open_slots_);
    open_slots_ += static_cast<std::uint32_t>(size) * slots_per_char(line);
    if (piece.over) open_trace_ = no_trace;
  }
  take_found(found);
  wake_for_intake();
}

/// What the intake made out goes to assembly when it was on the line, not when it was read.
void OutsidePost::take_found(std::vector<Intake::Found>& found) {
  for (Intake::Found& each : found) {
    Understood what{each.finding, {}};
    for (std::uint64_t piece = each.first_piece; piece <= each.last_piece; ++piece) {
      // Of damage and a frame in one piece the frame is what was asked.
      const bool frame_follows =
          each.finding.damage != Damage::none &&
          std::any_of(found.begin(), found.end(), [&](const Intake::Found& other) {
            return other.first_piece <= piece && piece <= other.last_piece && other.finding.damage == Damage::none;
          });
      const auto place = trace_of_piece_.find(piece);
      if (frame_follows || place == trace_of_piece_.end()) continue;
      what.traces.push_back(place->second);
      trace_of_piece_.erase(place);
    }
    const Nanos at = std::max(works_->queue.now(), each.finding.known_at);
    understood_.emplace(next_understood_, what);
    works_->queue.push(at, Rank::signal, Works::controller_entity, 0, *this,
                       (static_cast<std::uint64_t>(understood) << 60U) | next_understood_++);
  }
}

void OutsidePost::wake_for_intake() {
  const Nanos wanted = intake_->wants_wake();
  if (wanted == never || wanted == intake_wake_) return;
  intake_wake_ = std::max(wanted, works_->queue.now());
  works_->queue.push(intake_wake_, Rank::wake, Works::controller_entity, 2, *this,
                     static_cast<std::uint64_t>(intake_waits) << 60U);
}

void OutsidePost::wake_for_assembly() {
  const Nanos wanted = assembler_.wants_wake();
  if (wanted == never || wanted == assembly_wake_) return;
  assembly_wake_ = std::max(wanted, works_->queue.now());
  works_->queue.push(assembly_wake_, Rank::release, Works::controller_entity, 0, *this,
                     static_cast<std::uint64_t>(assembly_waits) << 60U);
}

bool OutsidePost::is_over(Nanos at, std::uint64_t what) const {
  const auto kind = static_cast<Kind>(what >> 60U);
  return (kind == intake_waits && at != intake_wake_) || (kind == assembly_waits && at != assembly_wake_);
}

void OutsidePost::on_event(Nanos now, std::uint64_t what) {
  if (is_over(now, what)) return;
  switch (static_cast<Kind>(what >> 60U)) {
    case understood: {
      const auto place = understood_.find(what & ((std::uint64_t{1} << 60U) - 1));
      const Understood each = std::move(place->second);
      understood_.erase(place);
      ask(each.finding, each.traces);
      break;
    }
    case intake_waits: {
      intake_wake_ = never;
      if (intake_->wait(now)) {
        std::vector<Intake::Found> found = std::move(intake_->found());
        take_found(found);
      }
      if (!intake_->half_read()) open_trace_ = no_trace;
      wake_for_intake();
      break;
    }
    case assembly_waits:
      assembly_wake_ = never;
      assembler_.wait_until(now);
      break;
    case controller_says:
      take_decision();
      break;
  }
  wake_for_assembly();
}

/// Whom it asks; `ask`: null if it is none.
void OutsidePost::take_as_asked(Trace& trace, const Frame* ask) const {
  trace.node = ask == nullptr ? nobody : assembler_.node_of(*ask);
  trace.everyone = ask != nullptr && works_->protocol.bound_for(*ask, std::nullopt) == Protocol::Bound::everyone;
}

/// It is clear what was asked. `traces`: of the pieces that it came in; none if they are those of a frame.
void OutsidePost::ask(const Finding& finding, std::vector<std::uint64_t> traces) {
  const Symptom symptom = symptom_of(finding);
  const bool good = symptom == Symptom::none;
  Content content = finding.content;
  if (content.empty()) works_->protocol.encode(finding.frame, content);
  const std::uint64_t mark = traces.empty() ? no_mark : next_ask_++;
  for (const std::uint64_t number : traces) {
    ask_of_trace_[number] = mark;
    Trace* trace = works_->traces.find(number);
    if (trace == nullptr) continue;
    take_as_asked(*trace, good ? &finding.frame : nullptr);
    trace->attempts.front().ask_end = finding.end;
  }
  if (mark != no_mark) {
    Asked& asked = asked_[mark];
    asked.open = traces.size();
    asked.damaged = !good;
    asked.question = good ? fingerprint(finding.frame.payload) : 0;
    asked.traces = traces;
  }
  assembler_.asked({works_->table.first(), finding.first_edge, finding.end, finding.chars, symptom, &finding.frame,
                    &content, mark, works_->queue.now()});
  for (const std::uint64_t number : traces) {
    if (Trace* trace = works_->traces.find(number)) works_->traces.decide(*trace, works_->queue.now(), Outcome::lost);
  }
}

// ---- what comes home --------------------------------------------------------------------------------------------

void OutsidePost::heard(Nanos now, std::uint16_t link, const Finding& finding, Symptom symptom, const Flight* flight) {
  Came came;
  came.frame = finding.frame;
  came.heard_until = finding.end;
  if (flight != nullptr) {
    came.known = true;
    came.passport = flight->parcel.passport;
    came.end = flight->heard.end();
    if (symptom == Symptom::none && !came.passport.key.answering) {
      if (TryNotes* notes = works_->traces.notes(came.passport.exchange, 0)) notes->came_round = true;
    }
  }
  Content content = finding.content;
  if (content.empty()) works_->protocol.encode(finding.frame, content);
  const std::uint64_t mark = next_mark_++;
  came_.emplace(mark, came);
  forget_oldest(came_);
  assembler_.seen({link, finding.first_edge, finding.end, finding.chars, symptom, &finding.frame, &content, mark, now});
  wake_for_assembly();
}

void OutsidePost::stray(const Sighting& sighting) {
  // It stays known: the controller may say that it took it for its answer.
  // What it belongs to is told only of exchanges that have a number: those that are told already.
  works_->tap.stray({sighting.end, sighting.link, sighting.content->view(), sighting.symptom});
}

// ---- what became of it ------------------------------------------------------------------------------------------

void OutsidePost::take_over(Asked& asked, const Trace& trace) {
  const auto first_row = static_cast<std::uint32_t>(asked.rows.size());
  asked.rows.insert(asked.rows.end(), trace.rows.begin(), trace.rows.end());
  for (RowTruth truth : trace.row_truths) {
    truth.row += first_row;
    asked.row_truths.push_back(truth);
  }
  for (RowDamage damage : trace.damage) {
    damage.row += first_row;
    asked.damage.push_back(damage);
  }
  if (!trace.replied.empty()) asked.replied = trace.replied;
  asked.strikes.insert(asked.strikes.end(), trace.strikes.begin(), trace.strikes.end());
  const TryNotes& notes = trace.notes.front();
  if (asked.notes.truth.cause == Cause::none) asked.notes.truth = notes.truth;
  asked.notes.holdups = notes.holdups;
  asked.notes.went_all_way = asked.notes.went_all_way || notes.went_all_way;
}

void OutsidePost::closed(Trace& trace, Nanos now) {
  const auto place = ask_of_trace_.find(trace.number);
  if (place == ask_of_trace_.end()) return;
  const std::uint64_t mark = place->second;
  ask_of_trace_.erase(place);
  const auto found = asked_.find(mark);
  if (found == asked_.end()) return;
  Asked& asked = found->second;
  take_over(asked, trace);
  if (--asked.open > 0) return;
  const bool everywhere = trace.everyone && asked.notes.went_all_way &&
                          !everyone_comes_round(works_->table, works_->protocol.description());
  if (everywhere) {
    Nanos last = trace.start;
    for (const HopRow& row : asked.rows) last = std::max(last, row.end);
    assembler_.everyone_has(mark, last);
  }
  assembler_.over(mark, now);
}

std::uint32_t OutsidePost::entry_of(std::uint16_t node, std::uint32_t topic, bool everyone) const {
  const auto topics = static_cast<std::uint32_t>(works_->protocol.description().topics.size());
  const auto nodes = static_cast<std::uint32_t>(works_->chain.nodes.size());
  if (topic >= topics) return (nodes + 1) * topics;
  if (node != nobody) return node * topics + topic;
  return everyone ? nodes * topics + topic : (nodes + 1) * topics;
}

/// Whether what was taken for the answer is the right one, and what the node sent; and why it came late.
void OutsidePost::judge(const AssembledExchange& exchange, std::size_t attempt, std::uint32_t entry) {
  const AssembledTry& tried = exchange.tries[attempt];
  const auto place = came_.find(tried.answered);
  if (place == came_.end() || !place->second.known) return;
  const Came& came = place->second;
  Attempt& told = attempts_[attempt];
  AttemptTruth& why = truths_[attempt];
  // A good answer came: damage to something of the try on the way did no harm, and is not the reason.
  const auto blame = [&](const Blame& reason) { why = {reason.cause, reason.station, reason.link, reason.fault}; };
  if (told.outcome == Outcome::refused || told.outcome == Outcome::garbled || told.outcome == Outcome::mismatched)
    return;
  const bool mine = std::any_of(exchange.tries.begin(), exchange.tries.end(), [&](const AssembledTry& each) {
    const auto asked = asked_.find(each.asked);
    return asked != asked_.end() &&
           std::count(asked->second.traces.begin(), asked->second.traces.end(), came.passport.exchange) > 0;
  });
  Outcome outcome = told.outcome;
  if (!mine) {
    const auto earlier = question_of_trace_.find(came.passport.exchange);
    const auto asked = asked_.find(tried.asked);
    const bool same = earlier != question_of_trace_.end() && asked != asked_.end() &&
                      earlier->second == Question{entry, asked->second.question};
    outcome = same ? Outcome::stale : Outcome::wrong;
    const bool made_up = came.passport.forged_by != no_fault;
    blame(made_up ? forged(came.passport, works_->chain.faults)
                  : Blame{Cause::earlier_answer, nobody, nobody, no_fault});
  } else if (!came.passport.key.answering) {
    if (!exchange.everyone) {
      outcome = Outcome::wrong;  // its own ask came round and passes for an answer
      blame({Cause::unclaimed, nobody, nobody, no_fault});
    }
  } else if (came.passport.fake || fingerprint(came.frame.payload) != came.passport.said) {
    outcome = Outcome::wrong;
    if (came.passport.forged_by != no_fault) {
      blame(forged(came.passport, works_->chain.faults));
    } else if (came.passport.flawed_by != nobody) {
      blame({Cause::design_flaw, came.passport.flawed_by, nobody, no_fault});
    }
  } else if (came.passport.outdated) {
    outcome = Outcome::stale;
    blame({Cause::design_flaw, came.passport.flawed_by, nobody, no_fault});
  } else if (told.outcome == Outcome::truncated) {
    blame({Cause::truncated, exchange.node, nobody, no_fault});
  }
  if (outcome != told.outcome) {
    if (outcome_ == told.outcome) outcome_ = outcome;
    told.outcome = outcome;
  }
  if (told.outcome != Outcome::late) return;
  const Nanos deadline = time_out_ ? tried.ask_end + *time_out_ : exchange.decided;
  blame(late_blame(came.passport.holdups, came.end - deadline, exchange.node, works_->chain.faults));
}

void OutsidePost::settle_try(const AssembledExchange& exchange, std::size_t attempt) {
  AttemptTruth& why = truths_[attempt];
  const AssembledTry& tried = exchange.tries[attempt];
  if (attempts_[attempt].outcome == Outcome::answered) {
    why = {};
  } else if (attempts_[attempt].outcome == Outcome::bad_ask) {
    why = {Cause::bad_ask, nobody, nobody, no_fault};
  } else if (why.cause == Cause::none && tried.came_round) {
    why = {exchange.everyone ? Cause::chain_time : Cause::no_address, nobody, nobody, no_fault};
  }
}

/// Of several tries of one exchange the assembly may take the answer to one for that to another, as its controller
/// does. The bench knows better: the round trip is that of the try which was answered, and a try that was asked again
/// before its answer came was late by what held that up.
void OutsidePost::put_answers_to_their_tries(const AssembledExchange& exchange) {
  if (exchange.tries.size() < 2) return;
  const Came* first = nullptr;  // what the controller took
  for (const AssembledTry& tried : exchange.tries) {
    const auto came = came_.find(tried.answered);
    if (came == came_.end()) continue;
    if (!came->second.known || !came->second.passport.key.answering) return;
    if (first == nullptr || came->second.heard_until < first->heard_until) first = &came->second;
  }
  if (first == nullptr) return;
  bool of_these = false;
  for (const AssembledTry& tried : exchange.tries) {
    const auto asked = asked_.find(tried.asked);
    if (asked == asked_.end() ||
        std::count(asked->second.traces.begin(), asked->second.traces.end(), first->passport.exchange) == 0) {
      continue;
    }
    of_these = true;
    if (round_trip_ >= 0) round_trip_ = first->heard_until - tried.start;
  }
  if (!of_these) return;
  for (std::size_t i = 0; i < exchange.tries.size(); ++i) {
    const Outcome seen = attempts_[i].outcome;
    const bool asked_again = i + 1 < exchange.tries.size();
    if (seen != Outcome::late && seen != Outcome::lost && !(seen == Outcome::answered && asked_again)) continue;
    const auto place = asked_.find(exchange.tries[i].asked);
    if (place == asked_.end()) continue;
    const Asked& asked = place->second;
    const auto home = std::find_if(asked.rows.begin(), asked.rows.end(), [&](const HopRow& row) {
      return row.answering && row.link == works_->table.home() && row.heard_well();
    });
    if (home == asked.rows.end()) {
      attempts_[i].outcome = Outcome::lost;
      truths_[i] = asked.notes.truth;
      continue;
    }
    const Nanos again = asked_again ? exchange.tries[i + 1].start : exchange.decided;
    const Nanos gave_up = time_out_ ? std::min(again, exchange.tries[i].ask_end + *time_out_) : again;
    if (home->end <= gave_up) continue;  // it was there in time, whatever the controller made of it
    attempts_[i].outcome = Outcome::late;
    const Blame blame = late_blame(asked.notes.holdups, home->end - gave_up, exchange.node, works_->chain.faults);
    truths_[i] = {blame.cause, blame.station, blame.link, blame.fault};
  }
}

Nanos OutsidePost::lateness_of(const AssembledExchange& exchange, Nanos until) {
  Nanos worst = 0;
  for (const Late& each : late_) {
    if (each.to >= exchange.start && each.from <= until) worst = std::max(worst, each.to - each.from);
  }
  return worst;
}

void OutsidePost::port_was_late(Nanos from, Nanos to) {
  late_.push_back({from, to});
  if (late_.size() > most_remembered) late_.pop_front();
}

/// What it went by may be clear here only after the silence that ends a frame, and what it has sent only when it is
/// out. What it sends from now on is clear later still.
void OutsidePost::decided(Decision decision) {
  const Nanos now = works_->queue.now();
  decisions_.emplace_back(now, decision);
  assembler_.expect_decisions();
  asks_again_ = decision == Decision::retried;
  works_->queue.push(first_->next_byte_at() + works_->protocol.end_silence(period_), Rank::release,
                     Works::controller_entity, 1, *this, static_cast<std::uint64_t>(controller_says) << 60U);
}

void OutsidePost::take_decision() {
  if (decisions_.empty()) return;
  const auto [at, decision] = decisions_.front();
  decisions_.pop_front();
  assembler_.decided(decision, at);
}

void OutsidePost::assembled(const AssembledExchange& exchange) {
  const std::uint32_t entry = entry_of(exchange.node, exchange.topic, exchange.everyone);
  attempts_.clear();
  truths_.clear();
  rows_.clear();
  row_truths_.clear();
  strikes_.clear();
  damage_.clear();
  replied_.clear();
  outcome_ = exchange.outcome;
  for (std::size_t i = 0; i < exchange.tries.size(); ++i) {
    const AssembledTry& tried = exchange.tries[i];
    attempts_.push_back({tried.start, tried.ask_end, tried.outcome});
    truths_.emplace_back();
    const auto place = asked_.find(tried.asked);
    if (place == asked_.end()) continue;
    const Asked& asked = place->second;
    if (!asked.damaged) truths_.back() = asked.notes.truth;
    const auto first_row = static_cast<std::uint32_t>(rows_.size());
    for (HopRow row : asked.rows) {
      row.attempt = static_cast<std::uint8_t>(i);
      row.inherited = row.inherited || (asked.damaged && !row.answering);
      rows_.push_back(row);
    }
    for (RowTruth truth : asked.row_truths) {
      truth.row += first_row;
      if (!rows_[truth.row].inherited || !asked.damaged) row_truths_.push_back(truth);
    }
    for (RowDamage damage : asked.damage) {
      damage.row += first_row;
      if (!rows_[damage.row].inherited) damage_.push_back(damage);
    }
    if (!asked.replied.empty()) replied_ = asked.replied;
    for (FaultStrike strike : asked.strikes) {
      strike.attempt = static_cast<std::uint8_t>(i);
      strikes_.push_back(strike);
    }
  }
  for (std::size_t i = 0; i < exchange.tries.size(); ++i) {
    if (exchange.tries[i].answered != no_mark) judge(exchange, i, entry);
    settle_try(exchange, i);
  }
  round_trip_ = exchange.round_trip;
  put_answers_to_their_tries(exchange);
  ExchangeObs seen;
  seen.number = exchange.number;
  seen.entry = entry;
  seen.turn = turns_[entry]++;
  seen.node = exchange.node;
  seen.start = exchange.start;
  seen.decided = exchange.decided;
  seen.closed = works_->queue.now();
  seen.round_trip = round_trip_;
  seen.since_last = exchange.since_last;
  seen.outcome = outcome_;
  seen.ambiguous = exchange.ambiguous;
  seen.attempts = attempts_;
  sort_rows(rows_, damage_, row_truths_);
  seen.rows = rows_;
  seen.asked = exchange.asked.view();
  seen.answered = exchange.everyone ? std::span<const std::uint8_t>{} : exchange.answered.view();
  if (never_came_well(seen.outcome)) seen.replied = replied_.view();
  seen.damage = damage_;
  seen.port_late = lateness_of(exchange, exchange.decided);
  seen.doubtful = lateness_may_decide(seen, time_out_);
  const ExchangeTruth truth{row_truths_, truths_, strikes_};
  works_->tap.exchange(seen, &truth);
  for (const AssembledTry& tried : exchange.tries) {
    const auto asked = asked_.find(tried.asked);
    if (asked != asked_.end()) {
      for (const std::uint64_t trace : asked->second.traces)
        question_of_trace_[trace] = {entry, asked->second.question};
      asked_.erase(asked);
    }
    came_.erase(tried.answered);
  }
  forget_oldest(question_of_trace_);
  while (!late_.empty() && late_.front().to + 60 * second < works_->queue.now()) late_.pop_front();
}

void OutsidePost::finish() {
  const Nanos now = works_->queue.now();
  if (open_trace_ != no_trace) {
    Finding half;
    half.damage = Damage::too_short;
    half.content = open_bytes_;
    half.first_edge = half.end = now;
    ask(half, {open_trace_});
  }
  for (auto& [number, each] : understood_) ask(each.finding, each.traces);
  understood_.clear();
  while (!decisions_.empty()) take_decision();
  works_->traces.close_all(now, true);
  assembler_.finish(now);
}

}  // namespace hopbench
