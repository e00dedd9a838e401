#include "support/reference/one_exchange.h"

#include <algorithm>
#include <cmath>

namespace hopbench::reference {
namespace {

void put16(Bytes& bytes, std::uint16_t value) {
  bytes.push_back(static_cast<std::uint8_t>(value >> 8U));
  bytes.push_back(static_cast<std::uint8_t>(value));
}

/// To the nearest, halves away from zero; nothing here is negative.
std::uint16_t rounded(std::int64_t num, std::int64_t den) {
  return static_cast<std::uint16_t>((2 * num + den) / (2 * den));
}

Bytes ask_payload(const PlainAsk& ask) {
  Bytes made;
  if (ask.topic == PlainTopic::cells) made = {ask.first, ask.count};
  if (ask.topic == PlainTopic::set_low || ask.topic == PlainTopic::echo) put16(made, ask.value);
  return made;
}

}  // namespace

OneExchange::OneExchange(const PlainBus& bus, const ChainDescription& chain)
    : bus_(bus),
      chain_(chain),
      values_(chain.nodes.size()),
      free_from_(chain.links.size(), 0),
      measuring_until_(chain.nodes.size(), 0) {}

// Actual baud = nominal * (1 + error); no oscillators and no spread here.
Instant OneExchange::bit(const ClockSpec& clock) const {
  if (exact_clocks_) return 1e9L / bus_.line.baud;
  return 1e9L / bus_.line.baud / (1.0L + static_cast<Instant>(clock.error_ppb) / 1e9L);
}

Instant OneExchange::node_bit(std::size_t node) const {
  const NodeSpec& spec = chain_.nodes[node];
  return bit(spec.clock ? *spec.clock : kind(node).clock);
}

/// How long a station that counts bits of this length waits before it knows that a frame has ended.
Instant OneExchange::silence(Instant bit) const {
  if (bus_.framing == PlainFraming::open_marked) return plain_abandon_char_tenths / 10.0L * char_bits() * bit;
  if (bus_.framing != PlainFraming::silence) return 0;
  const Instant least = bus_.silence_least_us * 1000.0L;
  if (bus_.silence_fixed_above_baud > 0 && bus_.line.baud > bus_.silence_fixed_above_baud) return least;
  return std::max(least, bus_.silence_char_tenths / 10.0L * char_bits() * bit);
}

bool OneExchange::knows(std::size_t node, std::uint8_t topic) const {
  const std::vector<std::string>& known = kind(node).topics;
  return known.empty() ||
         std::find(known.begin(), known.end(), name_of_topic(static_cast<PlainTopic>(topic))) != known.end();
}

/// It can rewrite a frame and take it off the chain.
bool OneExchange::reads_head(std::size_t node) const {
  switch (kind(node).forwarding.kind) {
    case Forwarding::whole:
      return true;
    case Forwarding::by_character:
      return !head_hidden(bus_);
    case Forwarding::electrical:
      return false;
  }
  return false;
}

ExpectedExchange OneExchange::next(const PlainAsk& ask, std::uint16_t number, Instant start) {
  ExpectedExchange told;
  told_ = &told;
  PlainFrame frame;
  frame.number = number;
  frame.topic = ask.topic;
  frame.payload = ask_payload(ask);
  frame.from = plain_controller;
  frame.to = plain_everyone;
  if (ask.node) frame.to = static_cast<std::uint8_t>(bus_.distance ? *ask.node : chain_.nodes[*ask.node].address);
  frame.passes = static_cast<std::uint8_t>(chain_.controller.passes > 0 ? chain_.controller.passes : count());
  told.asked = content(bus_, frame);
  on_their_way_.clear();
  Instant pause = static_cast<Instant>(chain_.controller.back_off.first);
  for (std::size_t i = 0; i <= chain_.controller.retries; ++i) {
    told.tries.push_back(attempt(ask, frame, i, start));
    if (!ask.node) {
      told.outcome = told.tries.back().outcome;
      if (told.outcome != Outcome::lost || !comes_round()) break;
    } else if (takes_one(i < chain_.controller.retries ? pause : 0)) {
      break;
    }
    start = told.decided + pause;
    pause =
        std::min(pause * chain_.controller.back_off.times, static_cast<Instant>(chain_.controller.back_off.longest));
  }
  if (told.outcome == Outcome::lost && !on_their_way_.empty()) {  // good answers that nobody waits for any more
    told.outcome = Outcome::late;
    told.answered = on_their_way_.front().bytes;
  }
  return told;
}

/// Of the answers on their way, whatever try they are for, the controller takes the first that comes while it waits. In
/// a pause before a retry it takes one, too, unless it leaves late answers unread. Returns whether one was taken.
bool OneExchange::takes_one(Instant pause) {
  const auto earlier = [](const Coming& a, const Coming& b) { return a.heard.at < b.heard.at; };
  std::sort(on_their_way_.begin(), on_their_way_.end(), earlier);
  const Instant deadline = told_->decided;
  while (!on_their_way_.empty() && on_their_way_.front().heard.at < std::nextafter(deadline, 2 * deadline) + pause) {
    const Coming coming = on_their_way_.front();
    on_their_way_.erase(on_their_way_.begin());
    if (coming.heard.at > deadline && chain_.controller.on_late == OnLate::ignore) continue;
    ExpectedTry& answered = told_->tries[coming.attempt];
    told_->outcome = coming.heard.frame.role == PlainRole::refusal ? Outcome::refused : Outcome::answered;
    told_->answered = coming.bytes;
    told_->decided = coming.heard.at;
    told_->round_trip = coming.heard.end - answered.start;
    // Where a silence ends a frame, one that was there in time may be known too late for its own try.
    if (coming.heard.end <= answered.ask_end + static_cast<Instant>(chain_.controller.time_out)) {
      answered.outcome = told_->outcome;
      if (told_->outcome == Outcome::answered) answered.why = {};
    }
    if (coming.attempt + 1 != told_->tries.size()) {  // the wait of the last try is over too
      told_->tries.back().outcome = told_->outcome;
      told_->tries.back().why = {};
    }
    return true;
  }
  return false;
}

ExpectedTry OneExchange::attempt(const PlainAsk& ask, const PlainFrame& frame, std::size_t index, Instant start) {
  reply_.reset();
  at_controller_.reset();
  at_last_ = false;
  taken_ = false;
  why_ = {};
  const Instant bit_length = bit(chain_.controller.clock);
  Passage first = sent(start, 0, bit_length, characters(bus_, content(bus_, frame)).size());
  start = first.starts.front();
  ExpectedTry tried;
  tried.start = start;
  tried.ask_end = first.end();
  const Instant deadline = tried.ask_end + static_cast<Instant>(chain_.controller.time_out);
  told_->decided = deadline;
  travel(frame, 0, first, index);
  if (!ask.node) {
    // Done when it has come round. Where it does not, the controller waits for nothing, and it is done if the last node
    // has it.
    if (!comes_round()) told_->decided = tried.ask_end;
    const bool in_time = at_controller_ && at_controller_->at <= deadline;
    if (at_controller_ && !in_time) blame({Cause::chain_time});  // nobody waits for it any more
    if (comes_round() ? !in_time : !at_last_) {
      if (comes_round() && at_controller_) tried.outcome = Outcome::late;
      tried.why = why_;
      return tried;
    }
    tried.outcome = Outcome::answered;
    if (comes_round()) told_->decided = at_controller_->at;
    if (comes_round()) told_->round_trip = at_controller_->end - start;
    return tried;
  }
  if (at_controller_) told_->came_round = content(bus_, at_controller_->frame);
  at_controller_.reset();
  taken_ = false;
  if (!reply_) {
    blame({Cause::no_address});
    tried.why = why_;
    return tried;
  }
  const std::size_t link = chain_.shape == Shape::ring ? reply_->node + 1 : 2 * count() - 1 - reply_->node;
  const Bytes bytes = content(bus_, reply_->frame);
  travel(reply_->frame, link, sent(reply_->ready, link, node_bit(reply_->node), characters(bus_, bytes).size()), index);
  if (!at_controller_) {
    tried.why = why_;
    return tried;
  }
  on_their_way_.push_back({index, *at_controller_, content(bus_, at_controller_->frame)});
  const bool refused = at_controller_->frame.role == PlainRole::refusal;
  if (at_controller_->at > deadline) {
    tried.outcome = Outcome::late;
    // That it was a refusal is no reason for its being late.
    if (refused && why_.cause == Cause::refused_by_node) why_ = {};
    if (!in_question_) {
      const Cause why = why_late(ask, frame, index, start);
      blame({why, why == Cause::clock ? elsewhere : *ask.node});
    }
    tried.clock_uncertain = chain_.controller.retries > 0 || bus_.ends_by_pause() ||
                            std::any_of(chain_.kinds.begin(), chain_.kinds.end(),
                                        [](const KindSpec& each) { return each.forwarding.kind != Forwarding::whole; });
    tried.why = why_;
    return tried;
  }
  tried.outcome = refused ? Outcome::refused : Outcome::answered;
  if (refused) tried.why = why_;
  return tried;
}

/// The mechanism without which it would not have been late. Of two, the clock: a time-out is made for measurements. If
/// only both together would do, the one that held it up longer.
Cause OneExchange::why_late(const PlainAsk& ask, const PlainFrame& frame, std::size_t index, Instant start) const {
  const auto late_by = [&](bool clocks, bool measurement) {
    OneExchange other = *this;
    ExpectedExchange told;
    other.told_ = &told;
    other.in_question_ = true;
    std::fill(other.free_from_.begin(), other.free_from_.end(), 0);
    std::fill(other.measuring_until_.begin(), other.measuring_until_.end(), 0);
    other.exact_clocks_ = !clocks;
    const ExpectedTry tried = other.attempt(ask, frame, index, start);
    if (!other.at_controller_) return Instant{0};
    return other.at_controller_->at - (measurement ? 0 : other.reply_->measured_for) - tried.ask_end -
           static_cast<Instant>(chain_.controller.time_out);
  };
  const Instant as_it_is = late_by(true, true);
  const Instant clocks = as_it_is - late_by(false, true);
  const Instant measurement = as_it_is - late_by(true, false);
  if (clocks >= as_it_is) return Cause::clock;
  if (measurement >= as_it_is) return Cause::measuring;
  if (std::max<Instant>(clocks, 0) + measurement < as_it_is) return Cause::chain_time;
  return clocks > measurement ? Cause::clock : Cause::measuring;
}

OneExchange::Passage OneExchange::sent(Instant ready, std::size_t link, Instant bit_length, std::size_t chars) const {
  Passage made;
  made.length = char_bits() * bit_length;
  const Instant gap = bus_.least_gap_char_tenths / 10.0L * made.length;
  const Instant start = free_from_[link] > 0 ? std::max(ready, free_from_[link] + gap) : ready;
  for (std::size_t i = 0; i < chars; ++i) made.starts.push_back(start + static_cast<Instant>(i) * made.length);
  return made;
}

void OneExchange::travel(PlainFrame frame, std::size_t link, Passage passage, std::size_t attempt) {
  const bool answering = frame.role != PlainRole::ask;
  for (;;) {
    const std::size_t size = content(bus_, frame).size();
    const std::size_t chars = characters(bus_, content(bus_, frame)).size();
    const Instant end = passage.end() + static_cast<Instant>(chain_.links[link].isolator_delay);
    told_->rows.push_back({link, attempt, answering, chars, passage.starts.front(), end, Symptom::none});
    constexpr Instant rounding = 20;
    if (passage.starts.front() < free_from_[link] - rounding) {  // the frame before is still on the wire
      told_->rows.back().symptom = Symptom::nothing;
      blame({Cause::merged, elsewhere, link});
      return;
    }
    free_from_[link] = passage.end();
    // A ring's links lead into the nodes and then the controller; a line's out to the last node and home again.
    const bool homeward = chain_.shape == Shape::line && link >= count();
    if (chain_.shape == Shape::ring ? link == count() : link == 2 * count() - 1) {
      at_controller_ = Heard{end, end + silence(bit(chain_.controller.clock)), frame};
      return;
    }
    const std::size_t node = homeward ? 2 * count() - 2 - link : link;
    const Instant heard = end + silence(node_bit(node));
    const bool mine = !answering && takes(node, frame);
    const bool everyone = !answering && frame.to == plain_everyone;
    const std::uint32_t room = kind(node).buffer_bytes;
    if (everyone && node + 1 == count()) at_last_ = true;
    const bool whole = kind(node).forwarding.kind == Forwarding::whole;
    if (room > 0 && size > room && (mine || everyone || whole)) {
      told_->rows.back().symptom = Symptom::no_room;
      if (mine || whole) blame({Cause::short_buffer, node, link});
      if (whole) return;  // others have passed it on by now
    } else if (mine || everyone) {
      act(node, frame, heard);
      taken_ = mine;
    }
    if (mine && reads_head(node)) return;
    if (!goes_on(node, link, frame)) return;
    passage = passed_on(node, link, passage, characters(bus_, content(bus_, frame)).size(), heard);
    ++link;
  }
}

bool OneExchange::takes(std::size_t node, const PlainFrame& frame) const {
  if (bus_.distance) return frame.to == 0;
  return !kind(node).enrols && frame.to == chain_.nodes[node].address;
}

bool OneExchange::goes_on(std::size_t node, std::size_t link, PlainFrame& frame) {
  const bool ask = frame.role == PlainRole::ask;
  if (chain_.shape == Shape::line && link + 1 == count()) {
    if (frame.to != plain_everyone) blame({Cause::no_address, node});
    return false;
  }
  if (!reads_head(node)) return true;
  const bool last = chain_.shape == Shape::ring && node + 1 == count();
  if (ask && last && bus_.unclaimed == Unclaimed::last_node_stops_it) {
    if (frame.to != plain_everyone) blame({Cause::unclaimed, node});
    return false;
  }
  if (kind(node).forwarding.kind == Forwarding::whole && !bus_.pass_unknown_topic && !knows(node, frame.topic)) {
    blame({Cause::unknown_topic, node});
    return false;
  }
  if (bus_.passes && frame.passes == 0) {
    blame({Cause::passes_used_up, node});
    return false;
  }
  if (bus_.passes) --frame.passes;
  if (bus_.distance && frame.to != plain_everyone && frame.to != plain_controller) --frame.to;
  return true;
}

OneExchange::Passage OneExchange::passed_on(std::size_t node, std::size_t link, const Passage& in, std::size_t chars,
                                            Instant heard) const {
  const ForwardingSpec& how = kind(node).forwarding;
  const Instant delay = static_cast<Instant>(chain_.links[link].isolator_delay);
  const Instant own = node_bit(node);
  if (how.kind == Forwarding::whole) return sent(heard + static_cast<Instant>(how.after), link + 1, own, chars);
  Passage out;
  if (how.kind == Forwarding::electrical) {
    out = in;
    for (Instant& each : out.starts) each += delay + static_cast<Instant>(how.delay);
    return out;
  }
  // From the end of a character heard to the start of the same one sent; the first waits for the head.
  out.length = char_bits() * own;
  const Instant lag = how.lag_half_bits / 2.0L * own;
  Instant from = in.starts[head_characters(bus_) - 1] + in.length + delay + lag;
  for (const Instant each : in.starts) {
    from = std::max(from, each + in.length + delay + lag);
    out.starts.push_back(from);
    from += out.length;
  }
  return out;
}

void OneExchange::act(std::size_t node, const PlainFrame& ask, Instant heard) {
  const KindSpec& own = kind(node);
  const bool answers = ask.to != plain_everyone;
  PlainFrame frame;
  frame.role = PlainRole::answer;
  frame.number = ask.number;
  frame.topic = ask.topic;
  frame.from = static_cast<std::uint8_t>(chain_.nodes[node].address);
  frame.to = bus_.source || bus_.distance ? plain_controller : frame.from;
  frame.passes = static_cast<std::uint8_t>(chain_.shape == Shape::ring ? count() - 1 - node : node);
  const Instant asked = heard + static_cast<Instant>(own.answer_after);
  Instant ready = asked;
  const auto refuse = [&](std::uint8_t why) {
    blame({Cause::refused_by_node, node});
    frame.role = PlainRole::refusal;
    frame.payload = {why};
  };
  if (!knows(node, ask.topic)) {
    if (own.on_unknown_topic == OnUnknownTopic::drop) {
      if (answers) blame({Cause::unknown_topic, node});
      return;
    }
    refuse(plain_unknown_topic);
  } else {
    Values& mine = values_[node];
    switch (ask.topic) {
      case PlainTopic::cells: {
        const std::uint32_t first = ask.payload[0];
        const std::uint32_t cells_asked = ask.payload[1];
        if (cells_asked == 0) {
          refuse(plain_bad_value);
        } else if (first + cells_asked > own.cells) {
          refuse(plain_bad_address);
        } else {
          frame.payload = {ask.payload[0], ask.payload[1]};
          for (std::uint32_t i = 0; i < cells_asked; ++i)
            put16(frame.payload, rounded(2 * (own.levels.level_uv / 1000 - 1000), 5));
          // It measures one thing after the other.
          const Nanos settle = own.measurement.bleed == BleedWhile::paused ? own.measurement.settle : 0;
          ready = std::max(asked, measuring_until_[node]) +
                  static_cast<Instant>(settle + own.measurement.snapshot + cells_asked * own.measurement.per_cell);
          measuring_until_[node] = ready;
        }
        break;
      }
      case PlainTopic::set_low:
        mine.low = static_cast<std::uint16_t>(ask.payload[0] << 8U | ask.payload[1]);
        [[fallthrough]];
      case PlainTopic::limits: {
        put16(frame.payload, mine.low);
        const std::uint16_t high = rounded(mine.high - 1000, 10);
        frame.payload.push_back(static_cast<std::uint8_t>(high));
        frame.payload.push_back(static_cast<std::uint8_t>(high >> 8U));
        break;
      }
      case PlainTopic::echo:
        frame.payload = {ask.payload[0], ask.payload[1], 0x5A};
        break;
      default:
        frame.payload = {static_cast<std::uint8_t>(own.cells), static_cast<std::uint8_t>(own.cells == 1 ? 1 : 2),
                         static_cast<std::uint8_t>(chain_.nodes[node].address)};
    }
  }
  if (answers) reply_ = Reply{node, ready, ready - asked, frame};
}

}  // namespace hopbench::reference
