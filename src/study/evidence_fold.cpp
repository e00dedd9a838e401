#include "study/evidence_fold.h"

#include <algorithm>
#include <optional>
#include <tuple>
#include <utility>

#include "measure/measures.h"

namespace hopbench {
namespace {

constexpr Nanos first_block_span = 60 * second;

/// Adds every second block to the one before it.
template <typename Blocks>
void join_pairs(Blocks& blocks) {
  for (std::size_t i = 0; i < blocks.size(); ++i) {
    if (i % 2 == 0) {
      if (i > 0) blocks[i / 2] = blocks[i];
      continue;
    }
    auto& sum = blocks[i / 2];
    for (std::size_t place = 0; place < sum.size(); ++place) sum[place] += blocks[i][place];
  }
  blocks.resize((blocks.size() + 1) / 2);
}

BurstFold::Asked asked(const ExchangeObs& obs, std::size_t attempt) {
  return {obs.number,
          obs.entry,
          std::max<std::uint32_t>(1, obs.kept_one_in),
          obs.node,
          static_cast<std::uint8_t>(std::min<std::size_t>(attempt, 255)),
          attempt < obs.attempts.size() ? obs.attempts[attempt].start : obs.start};
}

// Frames that lie further apart tell nothing of one another.
constexpr Nanos longest_to_twin = 128 * second;
constexpr std::size_t most_kinds_of_frame = 1U << 16U;
constexpr std::size_t most_twins = 1U << 16U;

}  // namespace

void EvidenceFold::begin(const RunInfo& run) {
  evidence_ = Evidence{};
  evidence_.run = run;
  evidence_.wall_zero = wall_zero_;
  evidence_.sight = sight_of(run);
  bursts_.begin(run.nodes.size(), run.entries.size());
  evidence_.block_span = first_block_span;
  evidence_.links.resize(run.links.size());
  evidence_.entries.resize(run.entries.size());
  evidence_.nodes.assign(run.nodes.size(), {});
  topic_of_entry_.clear();
  for (const auto& entry : run.entries) {
    auto& topics = evidence_.topics;
    const auto found = std::find(topics.begin(), topics.end(), entry.topic);
    topic_of_entry_.push_back(static_cast<std::size_t>(found - topics.begin()));
    if (found == topics.end()) topics.push_back(entry.topic);
  }
  evidence_.by_topic.assign(evidence_.topics.size(), {});
  turned_by_topic_.assign(evidence_.topics.size(), {});
  evidence_.relays.resize(run.nodes.size());
  evidence_.held.assign(run.nodes.size(), {});
  evidence_.off_starts.assign(run.nodes.size(), 0);
  evidence_.off_told.assign(run.nodes.size(), false);
  evidence_.off_by_supply.assign(run.nodes.size(), {});
  evidence_.on_by_supply.assign(run.nodes.size(), {});
  evidence_.own_chars.assign(run.nodes.size() + 1, {});
  recent_.assign(run.links.size(), {});
  states_from_.reset();
  sender_of_.clear();
  receiver_of_.clear();
  hops_to_.assign(run.nodes.size(), 0);
  for (const auto& link : run.links) {
    sender_of_.push_back(node_named(link.from));
    receiver_of_.push_back(node_named(link.to));
    const auto to = receiver_of_.back();
    if (to != no_station && hops_to_[to] == 0) hops_to_[to] = link.hop;
  }
  good_on_link_.assign(run.links.size(), ~0U);
  heard_until_.assign(run.nodes.size() + 1, not_yet);
  good_with_node_.assign(run.nodes.size() + 1, ~0U);
  highest_mv_.assign(run.nodes.size(), 0);
  was_off_.assign(run.nodes.size(), false);
  supply_before_.assign(run.nodes.size(), unknown_bin);
  now_ = StateBins{};
  now_.heat.assign(run.nodes.size(), unknown_bin);
  before_.clear();
  failed_before_ = false;
  one_silence_ = in_one_silence(evidence_);
  charging_ = false;
  started_ = false;
  incidents_seen_ = 0;
  early_.clear();
  moment_of_key_.clear();
  last_key_ = ~std::uint64_t{0};
}

std::uint16_t EvidenceFold::node_named(const std::string& name) const {
  const auto& nodes = evidence_.run.nodes;
  const auto found = std::find(nodes.begin(), nodes.end(), name);
  return found == nodes.end() ? no_station : static_cast<std::uint16_t>(found - nodes.begin());
}

void EvidenceFold::conditions(const ConditionValues& conditions) {
  if (before_.size() >= most_before) before_.pop_front();
  before_.push_back(now_);
  now_.at = conditions.at;
  now_.sources = conditions.sources;
  for (std::size_t i = 0; i < told_count; ++i) evidence_.known[i].tellable = conditions.sources[i].tellable;
  evidence_.as_told = conditions.as_told;
  const bool charging = conditions.charge_ma.value_or(0) > 0;
  if (charging && !charging_) {
    ++evidence_.cycles;
    now_.cycle = evidence_.cycles;
  }
  if (conditions.charge_ma) charging_ = charging;
  now_.balancing = conditions.cells_balancing ? balancing_bin(*conditions.cells_balancing) : unknown_bin;
  now_.charge = conditions.charge_ma ? charge_bin(*conditions.charge_ma) : unknown_bin;
  std::optional<std::int32_t> warmest;
  now_.supply = unknown_bin;
  const auto nodes = std::min(conditions.nodes.size(), evidence_.run.nodes.size());
  for (std::size_t i = 0; i < nodes; ++i) {
    const auto& node = conditions.nodes[i];
    if (node.board_mc) warmest = std::max(warmest.value_or(*node.board_mc), *node.board_mc);
    now_.heat[i] = node.board_mc ? temperature_bin(*node.board_mc) : unknown_bin;
    std::uint8_t low = unknown_bin;
    if (node.supply_mv) {
      highest_mv_[i] = std::max(highest_mv_[i], *node.supply_mv);
      low = supply_bin(*node.supply_mv, highest_mv_[i]);
    }
    if (low != unknown_bin && (now_.supply == unknown_bin || low > now_.supply)) now_.supply = low;
    if (states_from_ && !was_off_[i] && supply_before_[i] != unknown_bin) {
      evidence_.on_by_supply[i][supply_before_[i]] +=
          static_cast<double>(std::max<Nanos>(0, conditions.at - *states_from_));
    }
    const bool off = node.off.value_or(false);
    if (node.off) evidence_.off_told[i] = true;
    if (off && !was_off_[i]) {
      ++evidence_.off_starts[i];
      // What it is told to be at that instant may be without the load already.
      const auto known = [](std::uint8_t bin) { return bin == unknown_bin ? std::uint8_t{0} : bin; };
      if (low != unknown_bin || supply_before_[i] != unknown_bin)
        ++evidence_.off_by_supply[i][std::max(known(low), known(supply_before_[i]))];
    }
    was_off_[i] = off;
    supply_before_[i] = low;
  }
  states_from_ = conditions.at;
  now_.temperature = warmest ? temperature_bin(*warmest) : unknown_bin;
}

const EvidenceFold::StateBins& EvidenceFold::bins_at(Nanos at) const {
  if (at >= now_.at) return now_;
  const auto in_force =
      std::find_if(before_.rbegin(), before_.rend(), [&](const StateBins& each) { return at >= each.at; });
  return in_force != before_.rend() ? *in_force : before_.empty() ? now_ : before_.front();
}

void EvidenceFold::count_known(const StateBins& around, Nanos at) {
  const std::array<std::uint8_t, told_count> bins{around.balancing, around.charge, around.temperature, around.supply};
  for (std::size_t i = 0; i < told_count; ++i) {
    if (bins[i] != unknown_bin) evidence_.known[i].count(around.sources[i], at);
  }
}

void EvidenceFold::hole(Nanos from, Nanos to) {
  bursts_.cut(from, to);
  ++evidence_.missing_spans;
  if (before_.size() >= most_before) before_.pop_front();
  before_.push_back(now_);
  now_.at = to;
  now_.sources = {};
  states_from_.reset();
  std::fill(supply_before_.begin(), supply_before_.end(), unknown_bin);
  now_.balancing = now_.charge = now_.temperature = now_.supply = unknown_bin;
  now_.heat.assign(now_.heat.size(), unknown_bin);
  failed_before_ = false;
  std::fill(heard_until_.begin(), heard_until_.end(), not_yet);
  std::fill(good_on_link_.begin(), good_on_link_.end(), ~0U);
  std::fill(good_with_node_.begin(), good_with_node_.end(), ~0U);
  singles_.clear();
}

/// The first and the second of a kind are twins, the third and the fourth, and so on: whichever is damaged.
void EvidenceFold::pair_up(const HopRow& row) {
  const bool damaged = row.symptom == Symptom::framing || row.symptom == Symptom::parity ||
                       row.symptom == Symptom::check || row.symptom == Symptom::too_long;
  if ((!damaged && row.symptom != Symptom::none) || row.copy != 0) return;
  const Single now{row.start + (row.end - row.start) / 2, damaged};
  const std::uint64_t kind = std::uint64_t{row.link} << 17U | std::uint64_t{row.answering} << 16U | row.chars;
  const auto [place, fresh] = singles_.try_emplace(kind, now);
  if (fresh) {
    if (singles_.size() > most_kinds_of_frame) singles_.clear();
    return;
  }
  const Single before = place->second;
  singles_.erase(place);
  if (before.damaged == now.damaged || now.middle - before.middle > longest_to_twin) return;
  if (evidence_.twins.size() >= most_twins) return;
  evidence_.twins.push_back(damaged ? TwinFrames{row.link, now.middle, before.middle}
                                    : TwinFrames{row.link, before.middle, now.middle});
}

void EvidenceFold::join_blocks() {
  evidence_.block_span *= 2;
  for (auto& moment : evidence_.moments) moment.block /= 2;
  join_pairs(evidence_.gaps);
  join_pairs(evidence_.length_tries);
  join_pairs(evidence_.length_failures);
  join_pairs(evidence_.asked);
  coarsen_moments();
}

/// Puts moments that have become alike together.
void EvidenceFold::coarsen_moments() {
  const auto key = [](const Moment& m) {
    return std::tuple(m.cycle, m.block, m.balancing, m.charge, m.temperature, m.supply, m.hour);
  };
  auto& moments = evidence_.moments;
  std::vector<std::uint32_t> order(moments.size());
  for (std::uint32_t i = 0; i < order.size(); ++i) order[i] = i;
  std::stable_sort(order.begin(), order.end(), [&](auto a, auto b) { return key(moments[a]) < key(moments[b]); });
  std::vector<std::uint32_t> new_place(moments.size());
  std::vector<Moment> joined;
  std::vector<std::array<std::uint32_t, bin_count>> payloads;
  evidence_.payloads.resize(moments.size());
  for (const auto i : order) {
    if (joined.empty() || key(joined.back()) != key(moments[i])) {
      joined.push_back(moments[i]);
    } else {
      joined.back().tries += moments[i].tries;
      joined.back().failures += moments[i].failures;
    }
    new_place[i] = static_cast<std::uint32_t>(joined.size() - 1);
    payloads.resize(joined.size());
    for (std::size_t bin = 0; bin < bin_count; ++bin) payloads.back()[bin] += evidence_.payloads[i][bin];
  }
  for (auto& incident : evidence_.incidents) incident.moment = new_place[incident.moment];
  moments = std::move(joined);
  evidence_.payloads = std::move(payloads);
  moment_of_key_.clear();
  last_key_ = ~std::uint64_t{0};
}

std::uint32_t EvidenceFold::block_of(Nanos at) {
  Nanos since = std::max<Nanos>(0, at - evidence_.from);
  while (since / evidence_.block_span >= most_blocks) join_blocks();
  return static_cast<std::uint32_t>(since / evidence_.block_span);
}

std::uint32_t EvidenceFold::moment_at(Nanos at) {
  const auto block = block_of(at);
  const auto& around = bins_at(at);
  Moment moment;
  moment.cycle = around.cycle;
  moment.block = block;
  moment.balancing = around.balancing;
  moment.charge = around.charge;
  moment.temperature = around.temperature;
  moment.supply = around.supply;
  moment.hour = evidence_.hour_at(at);
  // Bins are below 32 or unknown; blocks below 256. Cycles beyond 2^20 share their places.
  const auto five = [](std::uint8_t bin) { return static_cast<std::uint64_t>(bin == unknown_bin ? 63 : bin); };
  const std::uint64_t key = five(moment.balancing) | five(moment.charge) << 6U | five(moment.temperature) << 12U |
                            five(moment.supply) << 18U | std::uint64_t{moment.hour} << 24U |
                            std::uint64_t{block} << 29U | std::uint64_t{moment.cycle & 0xfffffU} << 38U;
  if (key == last_key_) return last_moment_;
  const auto [found, fresh] = moment_of_key_.try_emplace(key, static_cast<std::uint32_t>(evidence_.moments.size()));
  if (fresh) {
    if (evidence_.moments.size() >= most_moments) {
      moment_of_key_.erase(found);
      const auto before = evidence_.moments.size();
      if (evidence_.block_span < farthest_instant / 2) join_blocks();
      // What cannot be told apart any more counts as the last.
      if (evidence_.moments.size() == before) return static_cast<std::uint32_t>(before - 1);
      return moment_at(at);
    }
    evidence_.moments.push_back(moment);
  }
  last_key_ = key;
  last_moment_ = found->second;
  return last_moment_;
}

void EvidenceFold::count_rows(const ExchangeObs& obs, std::uint64_t weight) {
  if (evidence_.sight == Sight::controller_only) return;
  std::array<const HopRow*, 2> last{};  // of an ask, and of an answer
  std::array<std::size_t, 2> come{};
  for (const auto& row : obs.rows) {
    if (row.link >= evidence_.links.size()) continue;
    auto& before = last[row.answering ? 1 : 0];
    auto& hops = come[row.answering ? 1 : 0];
    const bool passed_on = before != nullptr && before->attempt == row.attempt && before->copy == row.copy &&
                           sender_of_[row.link] != no_station && receiver_of_[before->link] == sender_of_[row.link];
    hops = passed_on ? std::min(hops + 1, most_hops) : 1;
    const HopRow* came = before;
    before = &row;
    if (row.inherited) continue;
    if (passed_on && came->damaged_here() && row.symptom == Symptom::none) ++evidence_.links[came->link].recovered;
    auto& link = evidence_.links[row.link];
    ++link.frames;
    const auto later = static_cast<double>(row.start) - static_cast<double>(came != nullptr ? came->start : row.start);
    if (passed_on && 2 * later * row.chars < static_cast<double>(row.end) - static_cast<double>(row.start))
      ++link.edges;
    overlap(row);
    ++link.symptoms[place_of(row.symptom)];
    const bool bad = row.symptom != Symptom::none;
    pair_up(row);
    if (link.travelled.size() <= hops) link.travelled.resize(hops + 1);
    link.travelled[hops].frames += weight;
    if (bad) link.travelled[hops].bad += weight;
    auto& good = good_on_link_[row.link];
    good = bad ? 0 : good == ~0U ? good : good + 1;
    const auto size = length_bin(row.chars);
    link.frames_by_chars[size] += weight;
    if (bad) link.bad_by_chars[size] += weight;
    auto& until = heard_until_[ear_of(row.link)];
    if (until > not_yet && !bad) link.good_after.add(std::max<Nanos>(0, row.start - until));
    until = std::max(until, row.end);
    for (std::size_t i = 0; i < ripple_periods.size(); ++i) {
      link.phases[i][phase_of(row.start, row.end, ripple_periods[i])] += weight;
    }
    const auto sender = sender_of_[row.link];
    const auto& around = bins_at(row.start);
    const auto heat = sender == no_station ? unknown_bin : around.heat[sender];
    const auto bin = heat == unknown_bin ? bin_count - 1 : heat;
    link.by_sender_heat[bin].add(row);
    // Who sends a frame first sends it with a clock of its own, whatever passes it on.
    const bool own = row.answering ? sender == obs.node && sender != no_station : sender == no_station;
    if (own && hops == 1)
      evidence_.own_chars[sender == no_station ? evidence_.own_chars.size() - 1 : sender][bin].add(row);
  }
}

/// Marks failures that befell frames which were on a link at the same time as another one, of whichever exchange.
void EvidenceFold::overlap(const HopRow& row) {
  auto& recent = recent_[row.link];
  const Nanos character = (row.end - row.start) / std::max<Nanos>(1, row.chars);
  bool met = false;
  for (const auto& other : recent.rows) {
    if (other.end - row.start <= character || row.end - other.start <= character) continue;
    met = true;
    collided(row.link, other.start);
  }
  if (met) collided(row.link, row.start);
  recent.rows[recent.next] = {row.start, row.end};
  recent.next = (recent.next + 1) % recent.rows.size();
}

void EvidenceFold::collided(std::uint16_t link, Nanos start) {
  constexpr std::size_t looked_at = 64;  // an exchange closes soon after those that its frames met
  auto& incidents = evidence_.incidents;
  for (std::size_t i = 0; i < std::min(looked_at, incidents.size()); ++i) {
    auto& incident = incidents[incidents.size() - 1 - i];
    if (incident.link == link && incident.at == start && incident.symptom != Symptom::none)
      incident.ending = Ending::collided;
  }
}

void EvidenceFold::remember_early(const ExchangeObs& obs, std::size_t attempt) {
  constexpr std::uint64_t usual_from = 16;
  if (early_.size() >= most_early) return;
  auto stays = stays_of(obs, attempt);
  const bool known = std::all_of(stays.begin(), stays.end(),
                                 [&](const Stay& stay) { return usual_stay(stay, obs.entry).count >= usual_from; });
  if (!known) early_.push_back({incidents_seen_, std::move(stays)});
}

void EvidenceFold::keep(Incident incident) {
  if (incidents_seen_++ % evidence_.one_incident_in != 0) return;
  auto& kept = evidence_.incidents;
  if (kept.size() >= most_) {
    for (std::size_t i = 0; 2 * i < kept.size(); ++i) kept[i] = kept[2 * i];
    kept.resize((kept.size() + 1) / 2);
    evidence_.one_incident_in *= 2;
  }
  kept.push_back(incident);
}

/// The bin of what the entry's answer said before this exchange, of which the content is not known if it failed; and
/// takes up what it says now.
std::uint8_t EvidenceFold::said_by(const ExchangeObs& obs) {
  constexpr std::uint64_t least_said = 8;  // before anything is usual
  constexpr double remembered = 256;
  auto& entry = evidence_.entries[obs.entry];
  const auto bin = entry.said >= least_said ? payload_bin(entry.last_changes - entry.usual_changes) : unknown_bin;
  if (obs.outcome == Outcome::answered && !obs.answered.empty()) {
    ++entry.said;
    entry.last_changes = level_changes(obs.answered);
    entry.usual_changes +=
        (entry.last_changes - entry.usual_changes) / std::min(remembered, static_cast<double>(entry.said));
  }
  return bin;
}

void EvidenceFold::exchange(const ExchangeObs& obs) {
  const Nanos start = obs.start;
  latest_.clear();
  if (obs.doubtful) {
    ++evidence_.doubtful;
    if (obs.outcome == Outcome::answered) {
      bursts_.answered(asked(obs, obs.attempts.size()), obs.decided);
    }
    // The next one still comes after it.
    failed_before_ = obs.outcome != Outcome::answered;
    for (const auto& row : obs.rows) {
      if (row.link < receiver_of_.size())
        heard_until_[ear_of(row.link)] = std::max(heard_until_[ear_of(row.link)], row.end);
    }
    return;
  }
  if (!started_) {
    evidence_.from = evidence_.until = start;
    started_ = true;
  }
  evidence_.until = std::max(evidence_.until, obs.closed);
  const std::uint64_t weight = std::max<std::uint64_t>(1, obs.kept_one_in);
  const auto tries = std::max<std::size_t>(1, obs.attempts.size());
  ++evidence_.exchanges;
  if (obs.round_trip >= 0) evidence_.round_trips.add(obs.round_trip);
  if (obs.outcome != Outcome::answered) ++evidence_.exchanges_failed;
  if (weight > 1) ++evidence_.samples;
  evidence_.tries += tries;
  count_known(bins_at(start), start);
  const auto moment = moment_at(start);
  evidence_.moments[moment].tries += tries * weight;

  Bins bins;
  const auto& seen = evidence_.moments[moment];
  for (std::size_t c = 0; c < condition_count; ++c) bins[c] = seen.bin(static_cast<Condition>(c));
  auto& of = bins;
  // After a failure the silence is what was left of the time-out: it follows from failing.
  of[static_cast<std::size_t>(Condition::gap)] = failed_before_ ? unknown_bin : gap_bin(obs.since_last);
  failed_before_ = obs.outcome != Outcome::answered;
  const bool known = obs.node < hops_to_.size();
  of[static_cast<std::size_t>(Condition::distance)] = known ? distance_bin(hops_to_[obs.node]) : unknown_bin;
  const bool entry_known = obs.entry < evidence_.entries.size();
  const auto answer_chars = entry_known ? evidence_.entries[obs.entry].chars : 0;
  of[static_cast<std::size_t>(Condition::length)] = answer_chars > 0 ? length_bin(answer_chars) : unknown_bin;
  if (const auto bin = of[static_cast<std::size_t>(Condition::gap)]; bin != unknown_bin) {
    if (evidence_.gaps.size() <= seen.block) evidence_.gaps.resize(seen.block + 1);
    evidence_.gaps[seen.block][bin] += tries * weight;
  }
  if (entry_known && evidence_.entries.size() <= most_entries) {
    while (evidence_.asked.size() <= seen.block) evidence_.asked.emplace_back(evidence_.entries.size(), 0);
    evidence_.asked[seen.block][obs.entry] += static_cast<std::uint32_t>(tries * weight);
  }
  of[static_cast<std::size_t>(Condition::payload)] = entry_known ? said_by(obs) : unknown_bin;
  if (const auto bin = of[static_cast<std::size_t>(Condition::payload)]; bin != unknown_bin) {
    if (evidence_.payloads.size() <= moment) evidence_.payloads.resize(moment + 1);
    evidence_.payloads[moment][bin] += static_cast<std::uint32_t>(tries * weight);
  }
  if (entry_known) evidence_.entries[obs.entry].tries += tries * weight;
  latest_bins_ = bins;
  if (obs.outcome == Outcome::answered && !obs.answered.empty())
    bursts_.said(obs.entry, obs.asked.size(), obs.answered.size());

  bool answered = false;
  const auto failed_before = evidence_.failures;
  for (std::size_t attempt = 0; attempt < tries; ++attempt) {
    count_held(obs, attempt);
    Outcome outcome = obs.outcome;
    if (attempt < obs.attempts.size() && (attempt + 1 < obs.attempts.size() || obs.outcome == Outcome::answered)) {
      outcome = obs.attempts[attempt].outcome;
    }
    // What the controller does not hear of in a ring is one silence, whichever node it asks.
    auto& good = good_with_node_[one_silence_ ? 0 : std::min<std::size_t>(obs.node, good_with_node_.size() - 1)];
    if (outcome == Outcome::answered) {
      answered = true;
      bursts_.answered(asked(obs, attempt), obs.decided);
      count_times(obs, attempt);
      if (good != ~0U) ++good;
      continue;
    }
    ++evidence_.failures;
    ++evidence_.moments[moment].failures;
    if (entry_known) ++evidence_.entries[obs.entry].failures;
    Incident incident = incident_of(obs, attempt);
    incident.until = std::max(incident.at, incident.until);
    if (attempt < obs.attempts.size()) {
      const bool last = attempt + 1 == obs.attempts.size();
      incident.waited = (last ? obs.decided : obs.attempts[attempt + 1].start) - obs.attempts[attempt].ask_end;
    }
    bursts_.failed(asked(obs, attempt), incident.ending);
    incident.moment = moment;
    incident.bins = bins;
    incident.good_before = incident.symptom != Symptom::none && incident.link < good_on_link_.size()
                               ? good_before_row(obs, incident)
                               : std::exchange(good, 0);
    latest_.push_back(incident);
    if (incident.ending == Ending::late) remember_early(obs, attempt);
    keep(incident);
  }
  count_asked(obs, tries, evidence_.failures - failed_before);
  count_lengths(obs, evidence_.moments[moment].block, bins[static_cast<std::size_t>(Condition::length)], tries,
                evidence_.failures - failed_before);
  // An answer may be taken that came for none of the tries.
  if (obs.outcome == Outcome::answered && !answered) bursts_.answered(asked(obs, tries), obs.decided);
  count_rows(obs, weight);
}

void EvidenceFold::end(Nanos until) {
  find_delays_anew();
  evidence_.until = std::max(evidence_.until, until);
  bursts_.end(until);
  evidence_.bursts = bursts_.bursts();
  if (evidence_.exchanges > 1) {
    evidence_.usual_gap = (evidence_.until - evidence_.from) /
                          static_cast<Nanos>(std::min<std::uint64_t>(evidence_.exchanges, 1ULL << 40U));
  }
}

}  // namespace hopbench
