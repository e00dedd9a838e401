#include "study/specimens.h"

#include <algorithm>
#include <utility>

namespace hopbench {
namespace {

/// Finaliser of SplitMix64 (Steele, Lea and Flood, OOPSLA 2014).
std::uint64_t mixed(std::uint64_t x) {
  x = (x ^ (x >> 30U)) * 0xbf58476d1ce4e5b9U;
  x = (x ^ (x >> 27U)) * 0x94d049bb133111ebU;
  return x ^ (x >> 31U);
}

std::uint64_t identity_of(std::uint64_t asked, std::uint16_t link, std::uint8_t attempt, bool answering) {
  return mixed(asked ^ (std::uint64_t{link} << 16U | std::uint64_t{attempt} << 8U | std::uint64_t{answering}));
}

std::uint64_t asked_of(std::uint32_t entry, std::uint64_t turn) {
  return mixed(std::uint64_t{entry} << 32U | (turn & 0xffffffffU));
}

std::uint16_t node_named(const RunInfo& run, const std::string& name) {
  const auto found = std::find(run.nodes.begin(), run.nodes.end(), name);
  return found == run.nodes.end() ? no_station : static_cast<std::uint16_t>(found - run.nodes.begin());
}

}  // namespace

void Cabinet::put(std::size_t place, Specimen specimen, std::span<const std::uint64_t> worth) {
  ++drawers_[place].seen;
  if (!wants(place, specimen.identity)) return;
  drawers_[place].kept.push_back(std::move(specimen));
  ++held_;
  while (held_ > most_) {
    std::size_t fullest = place;
    double most = 0;
    for (std::size_t i = 0; i < drawers_.size(); ++i) {
      const double full = static_cast<double>(drawers_[i].kept.size()) / static_cast<double>(worth[i]);
      if (full > most) {
        most = full;
        fullest = i;
      }
    }
    halve(fullest);
  }
}

void Cabinet::halve(std::size_t place) {
  constexpr std::uint32_t finest = 1U << 30U;
  Drawer& drawer = drawers_[place];
  held_ -= drawer.kept.size();
  if (drawer.one_in < finest) {
    drawer.one_in *= 2;
    std::erase_if(drawer.kept, [&](const Specimen& each) { return !wants(place, each.identity); });
  } else {  // one identity again and again
    drawer.kept.resize(drawer.kept.size() / 2);
  }
  held_ += drawer.kept.size();
}

void SpecimenFold::begin(const RunInfo& run) {
  evidence_->begin(run);
  sender_of_.clear();
  receiver_of_.clear();
  for (const auto& link : run.links) {
    sender_of_.push_back(node_named(run, link.from));
    receiver_of_.push_back(node_named(run, link.to));
  }
  heard_until_.assign(run.links.size(), unknown_span);
  frames_.assign(run.links.size(), 0);
  chars_before_.assign(run.links.size(), 0);
  tries_.assign(run.nodes.size() + 1, 0);
  asked_at_.assign(run.nodes.size() + 1, unknown_span);
  last_said_.assign(std::min(run.entries.size(), EvidenceFold::most_entries), {});
  const std::size_t places = run.links.size() + run.nodes.size() + 1;
  worth_.assign(places, 64);
  failed_ = Cabinet(places, most_failed);
  healthy_ = Cabinet(places, most_healthy);
  all_tries_ = 0;
  hole();
}

void SpecimenFold::hole() {
  std::fill(heard_until_.begin(), heard_until_.end(), unknown_span);
  std::fill(asked_at_.begin(), asked_at_.end(), unknown_span);
  std::fill(chars_before_.begin(), chars_before_.end(), std::uint16_t{0});
  for (auto& said : last_said_) said.clear();
  entry_before_ = no_entry;
  node_before_ = no_station;
  in_round_ = ~0U;
  failed_before_ = true;
}

void SpecimenFold::tally(const Tally& tally) {
  evidence_->tally(tally);
  hole();
}

void SpecimenFold::gap(const Gap& gap) {
  evidence_->gap(gap);
  hole();
}

void SpecimenFold::dropped(const Dropped& dropped) {
  evidence_->dropped(dropped);
  hole();
}

const Incident* SpecimenFold::incident_of(std::size_t attempt) const {
  for (const Incident& incident : evidence_->latest()) {
    if (incident.attempt == attempt) return &incident;
  }
  return nullptr;
}

std::shared_ptr<const Said> SpecimenFold::said_in(const ExchangeObs& obs) {
  if (said_) return said_;
  auto said = std::make_shared<Said>();
  said->asked.assign(obs.asked.begin(), obs.asked.end());
  if (obs.outcome == Outcome::answered) said->answered.assign(obs.answered.begin(), obs.answered.end());
  if (obs.entry < last_said_.size()) said->before = last_said_[obs.entry];
  said->replied.assign(obs.replied.begin(), obs.replied.end());
  const bool strange =
      obs.outcome == Outcome::mismatched || obs.outcome == Outcome::wrong || obs.outcome == Outcome::stale;
  if (strange) said->came.assign(obs.answered.begin(), obs.answered.end());
  said_ = std::move(said);
  return said_;
}

std::uint16_t SpecimenFold::answerer_of(const ExchangeObs& obs, std::size_t attempt) const {
  for (const HopRow& row : obs.rows) {
    if (row.answering && row.attempt == attempt && row.copy == 0 && row.link < sender_of_.size()) {
      return sender_of_[row.link];
    }
  }
  return no_station;
}

void SpecimenFold::exchange(const ExchangeObs& obs) {
  evidence_->exchange(obs);
  said_.reset();
  if (!obs.doubtful) {
    Specimen whole;
    whole.at = obs.start;
    whole.number = obs.number;
    whole.entry = obs.entry;
    whole.entry_before = entry_before_;
    whole.node_before = node_before_;
    whole.turn = static_cast<std::uint32_t>(obs.turn);
    whole.one_in = std::max<std::uint32_t>(1, obs.kept_one_in);
    whole.node = obs.node < tries_.size() - 1 ? obs.node : no_station;
    in_round_ = obs.entry == 0 ? 0 : in_round_ == ~0U ? ~0U : std::min(in_round_ + 1, 0xffffU);
    whole.in_round = in_round_;
    // After a failure silences follow from failing.
    if (!failed_before_) {
      whole.since_exchange = obs.since_last;
      const Nanos asked = whole.node == no_station ? unknown_span : asked_at_[whole.node];
      if (asked != unknown_span) whole.since_node = std::max<Nanos>(0, obs.start - asked);
    }
    whole.bins = evidence_->latest_bins();
    take_rows(obs, whole);
    take_tries(obs, whole);
  }
  keep_up(obs);
}

void SpecimenFold::take_rows(const ExchangeObs& obs, const Specimen& whole) {
  if (evidence_->evidence().sight == Sight::controller_only) return;
  const auto asked = asked_of(obs.entry, obs.turn);
  const HopRow* last = nullptr;
  std::uint16_t hops = 0;
  auto damage = obs.damage.begin();
  for (std::uint32_t place = 0; place < obs.rows.size(); ++place) {
    const HopRow& row = obs.rows[place];
    if (row.link >= frames_.size() || row.copy != 0) continue;
    const HopRow* const before = last;
    last = &row;
    const bool goes_on = before != nullptr && before->attempt == row.attempt && before->answering == row.answering;
    hops = goes_on ? static_cast<std::uint16_t>(hops + 1) : std::uint16_t{0};
    while (damage != obs.damage.end() && damage->row < place) ++damage;
    const std::uint16_t chars_before = std::exchange(chars_before_[row.link], row.chars);
    const Nanos heard = heard_until_[row.link];
    heard_until_[row.link] = std::max(heard, row.end);
    const auto count = frames_[row.link]++;
    const auto identity = identity_of(asked, row.link, row.attempt, row.answering);
    const Incident* const incident = incident_of(row.attempt);
    const bool failed = incident != nullptr && incident->link == row.link && incident->answering == row.answering &&
                        incident->at == row.start && incident->ending != Ending::late;
    if (!failed && !row.heard_well()) continue;
    if (failed) worth_[row.link] += 8;
    Cabinet& cabinet = failed ? failed_ : healthy_;
    if (!cabinet.wants(row.link, identity)) {
      cabinet.pass_over(row.link);
      continue;
    }
    Specimen one = whole;
    one.identity = identity;
    one.at = row.start;
    one.link = row.link;
    one.attempt = row.attempt;
    one.answering = row.answering;
    one.chars = row.chars;
    one.count = count;
    one.hops = hops;
    one.chars_before = chars_before;
    if (damage != obs.damage.end() && damage->row == place) {
      one.damaged_at = damage->at;
      one.damaged_bits = damage->bits;
    }
    if (!failed_before_ && row.attempt == 0 && heard != unknown_span) {
      one.since_frame = std::max<Nanos>(0, row.start - heard);
    }
    if (goes_on && sender_of_[row.link] != no_station && receiver_of_[before->link] == sender_of_[row.link]) {
      if (row.start >= before->end) one.held = row.start - before->end;
    }
    one.sender_heat = evidence_->heat_at(sender_of_[row.link], row.start);
    one.receiver_heat = evidence_->heat_at(receiver_of_[row.link], row.start);
    one.said = said_in(obs);
    cabinet.put(row.link, std::move(one), worth_);
  }
}

void SpecimenFold::take_tries(const ExchangeObs& obs, const Specimen& whole) {
  const std::size_t tries = std::max<std::size_t>(1, obs.attempts.size());
  const std::size_t node = whole.node == no_station ? tries_.size() - 1 : whole.node;
  const std::size_t place = frames_.size() + node;
  const auto asked = asked_of(obs.entry, obs.turn);
  for (std::size_t attempt = 0; attempt < tries; ++attempt) {
    const auto count = all_tries_++;
    const auto node_count = tries_[node]++;
    const bool failed = incident_of(attempt) != nullptr;
    if (failed) worth_[place] += 8;
    Cabinet& cabinet = failed ? failed_ : healthy_;
    const auto identity = identity_of(asked, no_link, static_cast<std::uint8_t>(attempt), false);
    if (!cabinet.wants(place, identity)) {
      cabinet.pass_over(place);
      continue;
    }
    Specimen one = whole;
    one.identity = identity;
    if (attempt < obs.attempts.size()) one.at = obs.attempts[attempt].start;
    one.attempt = static_cast<std::uint8_t>(attempt);
    one.count = count;
    one.node_count = node_count;
    if (evidence_->evidence().sight == Sight::every_hop) one.answerer = answerer_of(obs, attempt);
    if (attempt > 0) one.since_exchange = one.since_node = unknown_span;
    one.said = said_in(obs);
    cabinet.put(place, std::move(one), worth_);
  }
}

void SpecimenFold::keep_up(const ExchangeObs& obs) {
  entry_before_ = obs.entry;
  node_before_ = obs.node < asked_at_.size() - 1 ? obs.node : no_station;
  failed_before_ = obs.outcome != Outcome::answered;
  if (obs.node < asked_at_.size()) asked_at_[obs.node] = obs.start;
  if (obs.entry >= last_said_.size()) return;
  if (obs.outcome == Outcome::answered) {
    last_said_[obs.entry].assign(obs.answered.begin(), obs.answered.end());
  } else if (!obs.replied.empty()) {  // it died on its way: some hop has heard it
    last_said_[obs.entry].assign(obs.replied.begin(), obs.replied.end());
  }
}

}  // namespace hopbench
