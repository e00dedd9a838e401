#include "measure/thinner.h"

#include <algorithm>
#include <numeric>
#include <string>

#include "seen/healthy.h"

namespace hopbench {
namespace {

constexpr std::uint64_t tally_exchanges = 1000;
constexpr Nanos tally_span = 600 * second;
constexpr std::size_t most_others = 64;

constexpr std::size_t most_strays = 16;  // of exchanges that are not closed yet

}  // namespace

/// A copy of something told, with storage that is used again.
struct Thinner::Held {
  enum class Kind : std::uint8_t { exchange, stray, arrival, state, gap, dropped, command, note };
  Kind kind = Kind::exchange;
  ExchangeObs obs;
  bool has_truth = false;
  std::vector<Attempt> attempts;
  std::vector<HopRow> rows;
  std::vector<std::uint8_t> asked;     // or what a stray or an arrival is made of
  std::vector<std::uint8_t> answered;  // or an arrival's flags
  std::vector<std::uint8_t> replied;
  std::vector<RowDamage> damage;
  std::vector<RowTruth> row_truth;
  std::vector<AttemptTruth> attempt_truth;
  std::vector<FaultStrike> strikes;
  Stray stray;
  Arrival arrival;
  State state;
  std::vector<NodeState> nodes;
  Gap gap;
  Dropped dropped;
  Remark remark;
  std::string text;

  void take(const ExchangeObs& from, const ExchangeTruth* truth) {
    kind = Kind::exchange;
    obs = from;
    attempts.assign(from.attempts.begin(), from.attempts.end());
    rows.assign(from.rows.begin(), from.rows.end());
    asked.assign(from.asked.begin(), from.asked.end());
    answered.assign(from.answered.begin(), from.answered.end());
    replied.assign(from.replied.begin(), from.replied.end());
    damage.assign(from.damage.begin(), from.damage.end());
    obs.attempts = attempts;
    obs.rows = rows;
    obs.asked = asked;
    obs.answered = answered;
    obs.replied = replied;
    obs.damage = damage;
    has_truth = truth != nullptr;
    row_truth.clear();
    attempt_truth.clear();
    strikes.clear();
    if (truth == nullptr) return;
    row_truth.assign(truth->rows.begin(), truth->rows.end());
    attempt_truth.assign(truth->attempts.begin(), truth->attempts.end());
    strikes.assign(truth->strikes.begin(), truth->strikes.end());
  }
  void tell_other(Sink& to) const {
    switch (kind) {
      case Kind::exchange:
        break;
      case Kind::stray:
        return to.stray(stray);
      case Kind::arrival:
        return to.arrival(arrival);
      case Kind::state:
        return to.state(state);
      case Kind::gap:
        return to.gap(gap);
      case Kind::dropped:
        return to.dropped(dropped);
      case Kind::command:
        return to.command(remark);
      case Kind::note:
        return to.note(remark);
    }
  }
};

Thinner::Thinner(Sink& to, std::uint32_t keep_one_in, std::uint32_t around)
    : ForwardingSink({&to}),
      keep_one_in_(keep_one_in),
      around_(around),
      tally_exchanges_(tally_exchanges),
      tally_span_(tally_span) {}

Thinner::~Thinner() = default;

void Thinner::begin(const RunInfo& run) {
  fold_.begin(run);
  ForwardingSink::begin(run);
}

void Thinner::keep_within(std::uint64_t most, std::function<std::uint64_t()> used) {
  most_bytes_ = most;
  used_bytes_ = std::move(used);
}

void Thinner::look_at_room() {
  if (most_bytes_ == 0) return;
  const std::uint64_t used = used_bytes_();
  constexpr unsigned most_scarce = 20;
  while (scarcity_ < most_scarce && used >= most_bytes_ - (most_bytes_ >> (scarcity_ + 1))) {
    ++scarcity_;
    keep_one_in_ = only_tallies() ? 0 : std::min<std::uint32_t>(keep_one_in_, 100'000'000) * 10;
    tally_exchanges_ *= 4;
    tally_span_ = std::min(tally_span_, never / 4) * 4;
    if (scarcity_ < 2) continue;
    around_ = 0;
    let_all_go();
  }
}

// ---- exchanges ----

void Thinner::exchange(const ExchangeObs& obs, const ExchangeTruth* truth) {
  look_at_room();
  told(obs.number);
  if (!healthy(obs, truth, had_stray(obs.number)) && !only_tallies()) {
    keep_all();
    hand_on(obs, truth);
    after_ = around_;
  } else if (after_ > 0) {
    --after_;
    hand_on(obs, truth);
  } else if (around_ == 0) {
    sample_or_tally(obs, truth);
  } else {
    while (held_exchanges_ >= around_) let_go_oldest();
    hold().take(obs, truth);
    ++held_exchanges_;
  }
}

bool Thinner::had_stray(std::uint64_t number) { return std::erase(strays_of_, number) > 0; }

void Thinner::told(std::uint64_t number) {
  if (keep_one_in_ > 0 && number >= next_kept_) next_kept_ = number - number % keep_one_in_ + keep_one_in_;
}

void Thinner::sample_or_tally(const ExchangeObs& obs, const ExchangeTruth* truth) {
  if (keep_one_in_ > 0 && obs.number % keep_one_in_ == 0) {
    ExchangeObs kept = obs;
    // Of a run that was thinned before, the numbers that are divisible by both are left.
    const auto both = std::lcm(std::uint64_t{keep_one_in_}, std::uint64_t{std::max(obs.kept_one_in, 1U)});
    kept.kept_one_in = static_cast<std::uint32_t>(std::min<std::uint64_t>(both, 0xffffffff));
    hand_on(kept, truth);
    return;
  }
  fold_.exchange(obs, truth);
  counted(obs.number, obs.number, obs.start, obs.closed, 1);
}

void Thinner::hand_on(const ExchangeObs& obs, const ExchangeTruth* truth) {
  flush();
  to().exchange(obs, truth);
  ++kept_;
}

void Thinner::counted(std::uint64_t first_number, std::uint64_t last_number, Nanos from, Nanos to,
                      std::uint64_t exchanges) {
  if (exchanges == 0) return;
  auto& tally = under_way_;
  if (tally.exchanges == 0) tally = {from, to, 0, first_number, last_number, {}};
  tally.from = std::min(tally.from, from);
  tally.to = std::max(tally.to, to);
  tally.first_number = std::min(tally.first_number, first_number);
  tally.last_number = std::max(tally.last_number, last_number);
  tally.exchanges += exchanges;
  tallied_ += exchanges;
  if (is_full(tally)) flush();
}

bool Thinner::is_full(const Tally& tally) const {
  // Instants of a made-up capture may lie further apart than a span can say.
  return tally.exchanges >= tally_exchanges_ ||
         (tally.to > tally.from && static_cast<std::uint64_t>(tally.to) - static_cast<std::uint64_t>(tally.from) >=
                                       static_cast<std::uint64_t>(tally_span_));
}

void Thinner::flush() {
  if (under_way_.exchanges == 0) return;
  bytes_.clear();
  fold_.measures().serialise(bytes_);
  under_way_.measures = bytes_;
  to().tally(under_way_);
  under_way_ = {};
  fold_.restart();
}

std::uint64_t Thinner::whole_from() const {
  if (after_ > 0) return 0;
  return keep_one_in_ > 0 ? next_kept_ : ~std::uint64_t{0};
}

void Thinner::again(std::span<const ExchangeObs> models, std::span<const Repeat> repeats) {
  // What comes before a failure is told whole: nothing need be held for one.
  while (!held_.empty()) {
    look_at_room();
    let_go_oldest();
  }
  while (!repeats.empty()) {
    look_at_room();
    // As many as the tally under way has room for.
    Tally more = under_way_;
    std::size_t some = 0;
    while (some < repeats.size() && (some == 0 || !is_full(more))) {
      const auto& repeat = repeats[some++];
      if (repeat.model >= models.size()) continue;
      const auto& model = models[repeat.model];
      const Nanos closed = repeat.start + (model.closed - model.start);
      if (more.exchanges == 0) more = {repeat.start, closed, 0, repeat.number, repeat.number, {}};
      more.from = std::min(more.from, repeat.start);
      more.to = std::max(more.to, closed);
      more.first_number = std::min(more.first_number, repeat.number);
      more.last_number = std::max(more.last_number, repeat.number);
      ++more.exchanges;
    }
    fold_.again(models, repeats.first(some));
    repeats = repeats.subspan(some);
    const std::uint64_t exchanges = more.exchanges - under_way_.exchanges;
    if (exchanges == 0) continue;
    after_ -= std::min(after_, exchanges);
    told(more.last_number);
    counted(more.first_number, more.last_number, more.from, more.to, exchanges);
  }
}

void Thinner::tally(const Tally& tally) {
  let_all_go();
  after_ -= std::min(after_, tally.exchanges);
  told(tally.last_number);
  const auto unreadable = fold_.coverage().unreadable;
  fold_.tally(tally);
  if (fold_.coverage().unreadable == unreadable) {
    counted(tally.first_number, tally.last_number, tally.from, tally.to, tally.exchanges);
    return;
  }
  // What cannot be read is handed on as it is: whoever reads it tells of it.
  flush();
  to().tally(tally);
}

// ---- what is held ----

Thinner::Held& Thinner::hold() {
  if (spare_.empty()) spare_.push_back(std::make_unique<Held>());
  held_.push_back(std::move(spare_.back()));
  spare_.pop_back();
  return *held_.back();
}

void Thinner::let_go_oldest() {
  auto held = std::move(held_.front());
  held_.pop_front();
  if (held->kind == Held::Kind::exchange) {
    --held_exchanges_;
    const ExchangeTruth truth{held->row_truth, held->attempt_truth, held->strikes};
    sample_or_tally(held->obs, held->has_truth ? &truth : nullptr);
  } else {
    flush();
    held->tell_other(to());
  }
  spare_.push_back(std::move(held));
  // What came after it and is no exchange waits for nothing.
  while (!held_.empty() && held_.front()->kind != Held::Kind::exchange) let_go_oldest();
}

void Thinner::let_all_go() {
  while (!held_.empty()) let_go_oldest();
}

void Thinner::keep_all() {
  for (; !held_.empty(); held_.pop_front()) {
    auto& held = *held_.front();
    if (held.kind == Held::Kind::exchange) {
      const ExchangeTruth truth{held.row_truth, held.attempt_truth, held.strikes};
      hand_on(held.obs, held.has_truth ? &truth : nullptr);
    } else {
      flush();
      held.tell_other(to());
    }
    spare_.push_back(std::move(held_.front()));
  }
  held_exchanges_ = 0;
}

// ---- all else ----

template <class T, class Copy>
void Thinner::other(const T& what, Copy copy) {
  while (held_.size() - held_exchanges_ >= most_others) let_go_oldest();
  auto& held = hold();
  copy(held, what);
  if (held_exchanges_ == 0) let_go_oldest();
}

void Thinner::stray(const Stray& stray) {
  if (only_tallies()) return fold_.stray(stray);
  if (stray.belongs_to != ~std::uint64_t{0}) {
    if (strays_of_.size() == most_strays) strays_of_.erase(strays_of_.begin());
    strays_of_.push_back(stray.belongs_to);
  }
  other(stray, [](Held& held, const Stray& from) {
    held.kind = Held::Kind::stray;
    held.stray = from;
    held.asked.assign(from.heard.begin(), from.heard.end());
    held.stray.heard = held.asked;
  });
}

void Thinner::arrival(const Arrival& arrival) {
  if (only_tallies()) return fold_.arrival(arrival);
  other(arrival, [](Held& held, const Arrival& from) {
    held.kind = Held::Kind::arrival;
    held.arrival = from;
    held.asked.assign(from.bytes.begin(), from.bytes.end());
    held.answered.assign(from.flags.begin(), from.flags.end());
    held.arrival.bytes = held.asked;
    held.arrival.flags = held.answered;
  });
}

void Thinner::state(const State& state) {
  other(state, [](Held& held, const State& from) {
    held.kind = Held::Kind::state;
    held.state = from;
    held.nodes.assign(from.nodes.begin(), from.nodes.end());
    held.state.nodes = held.nodes;
  });
}

void Thinner::gap(const Gap& gap) {
  other(gap, [](Held& held, const Gap& from) {
    held.kind = Held::Kind::gap;
    held.gap = from;
    held.text = from.why;
    held.gap.why = held.text;
  });
}

void Thinner::dropped(const Dropped& dropped) {
  other(dropped, [](Held& held, const Dropped& from) {
    held.kind = Held::Kind::dropped;
    held.dropped = from;
    held.text = from.why;
    held.dropped.why = held.text;
  });
}

void Thinner::command(const Remark& command) {
  other(command, [](Held& held, const Remark& from) {
    held.kind = Held::Kind::command;
    held.remark.at = from.at;
    held.text = from.text;
    held.remark.text = held.text;
  });
}

void Thinner::note(const Remark& note) {
  other(note, [](Held& held, const Remark& from) {
    held.kind = Held::Kind::note;
    held.remark.at = from.at;
    held.text = from.text;
    held.remark.text = held.text;
  });
}

bool Thinner::before_handing_on() {
  let_all_go();
  flush();
  return true;
}

}  // namespace hopbench
