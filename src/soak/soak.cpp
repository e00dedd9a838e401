#include "soak/soak.h"

#include <algorithm>
#include <utility>

#include "seen/lateness.h"
#include "study/property.h"

namespace hopbench {
namespace {

constexpr Nanos hour = 3600 * second;
constexpr Nanos day = 24 * hour;

/// As many as a run has.
constexpr std::uint64_t most_days = 36'500;

using What = PropertyTerm::What;

/// Counts add up over parts of a run; longest times and percentiles do not.
bool adds_up(const PropertyTerm& term) {
  switch (term.what) {
    case What::asked:
    case What::failed:
    case What::tries:
    case What::outcome:
    case What::symptom:
    case What::undetected:
    case What::cause:
      return true;
    case What::round_trip:
    case What::unseen:
    case What::bursts:
    case What::longest_burst:
      return false;
  }
  return false;
}

/// What has passed its limit once has passed it for good.
bool grows(const PropertyTerm& term) { return term.what != What::round_trip || term.parts_per_million == 1'000'000; }

std::uint64_t failed_of(const ExchangeMeasures& exchanges) { return exchanges.asked - exchanges[Outcome::answered]; }

/// Bursts of failures in the exchanges that the term is about; none where nobody counts them.
const BurstMeasures* bursts_of(const PropertyTerm& term, const RunInfo& run, const Measures& measures) {
  if (measures.runs == 0 || term.what != What::failed) return nullptr;
  if (term.scope == PropertyTerm::Scope::topic) return nullptr;
  if (term.scope == PropertyTerm::Scope::all) return &measures.bursts;
  const auto at = std::find(run.nodes.begin(), run.nodes.end(), term.name);
  return at == run.nodes.end() ? nullptr : &measures.node_bursts[static_cast<std::size_t>(at - run.nodes.begin())];
}

void keep_measures(Archive& archive, std::string_view what, Measures& measures) {
  std::vector<std::uint8_t> bytes;
  if (!archive.restores()) measures.serialise(bytes);
  archive.list(what, bytes, [&](std::uint8_t& byte) { archive.number("byte", byte); });
  if (archive.restores() && archive.good() && !Measures::parse(bytes, measures)) archive.refuse(what, "unreadable");
}

void keep_causes(Archive& archive, CauseCounts& causes) {
  archive.flag("causes known", causes.known);
  archive.all("cause", causes.tries, [&](std::uint64_t& tries) { archive.number("tries", tries); });
  archive.list("undetected", causes.undetected, [&](std::uint64_t& frames) { archive.number("frames", frames); });
  archive.list("strikes", causes.strikes, [&](std::uint64_t& strikes) { archive.number("strikes", strikes); });
}

void keep_coverage(Archive& archive, Coverage& coverage) {
  for (std::uint64_t* each : {&coverage.tallied, &coverage.tallied_unanswered, &coverage.unreadable, &coverage.dropped,
                              &coverage.gaps, &coverage.holes, &coverage.ambiguous, &coverage.doubtful})
    archive.number("coverage", *each);
  archive.span("gap time", coverage.gap_time);
  archive.span("hole time", coverage.hole_time);
}

void keep_temperature(Archive& archive, std::string_view what, std::optional<std::int32_t>& value) {
  archive.maybe(what, value, [&](std::int32_t& each) { archive.number("temperature", each); });
}

template <class T, class Pick>
std::optional<T> either(const std::optional<T>& a, const std::optional<T>& b, Pick pick) {
  if (!a) return b;
  if (!b) return a;
  return pick(*a, *b);
}

constexpr auto lower = [](auto a, auto b) { return std::min(a, b); };
constexpr auto higher = [](auto a, auto b) { return std::max(a, b); };

}  // namespace

Nanos cycle_of(const ChainDescription& chain) {
  const auto& pack = chain.pack;
  const bool charged = pack.battery.present && (pack.cycle.load_ma != 0 || pack.cycle.charge_ma != 0);
  const Nanos of_air = pack.air.swing_mc != 0 ? day : 0;
  return std::max(charged ? pack.cycle.period : 0, of_air);
}

void Soak::Apart::begin(const RunInfo& run) {
  time_out_ = run.time_out;
  home_ = static_cast<std::uint16_t>(run.links.empty() ? 0 : run.links.size() - 1);
  ForwardingSink::begin(run);
}

void Soak::Apart::exchange(const ExchangeObs& obs, const ExchangeTruth* truth) {
  const bool apart = truth == nullptr ? obs.doubtful : lateness_decided(obs, *truth, time_out_, home_);
  if (!apart) return ForwardingSink::exchange(obs, truth);
  ++exchanges;
  fold_->blind_to(obs);
}

void Soak::Temperatures::state(const State& state) {
  last_coldest.reset();
  last_warmest.reset();
  for (const auto& node : state.nodes) {
    last_coldest = either(last_coldest, std::optional(node.board_mc), lower);
    last_warmest = either(last_warmest, std::optional(node.board_mc), higher);
  }
  coldest = either(coldest, last_coldest, lower);
  warmest = either(warmest, last_warmest, higher);
}

Soak::Soak(std::vector<Requirement> requirements, Nanos start, Nanos until, Nanos cycle)
    : requirements_(std::move(requirements)),
      start_(start),
      until_(until),
      stretches_(requirements_.size(), start, cycle),
      decided_(requirements_.size()),
      all_{&fold_, &causes_, &temperatures_},
      apart_(all_, fold_) {}

Nanos Soak::hour_ends() const { return start_ + static_cast<Nanos>(hours_over_ + 1) * hour; }

Nanos Soak::day_ends() const { return start_ + static_cast<Nanos>(days_.size() + 1) * day; }

Nanos Soak::next_border() const { return std::min(hour_ends(), stretches_.next_border()); }

bool Soak::fits() const {
  const Measures& shape = fold_.measures();
  return (whole_.runs == 0 || whole_.same_shape(shape)) && (today_.runs == 0 || today_.same_shape(shape));
}

std::array<const Measures*, 3> Soak::parts() const { return {&whole_, &today_, &fold_.measures()}; }

SoakCount Soak::sum_of(const PropertyTerm& term) const {
  SoakCount sum;
  BurstMeasures bursts;
  for (const Measures* part : parts()) {
    if (part->runs == 0) continue;
    const auto figure = figure_of(term, {&fold_.run(), part, nullptr});
    if (!figure) continue;
    sum.hits += figure->value;
    sum.trials += figure->of;
    if (const auto* more = bursts_of(term, fold_.run(), *part)) bursts.append(*more);
  }
  sum.runs = bursts.count();
  if (term.what == What::cause || term.what == What::undetected) {
    const auto causes = this->causes();
    Measures all = measures();
    if (const auto figure = figure_of(term, {&fold_.run(), &all, &causes})) sum = {figure->value, figure->of, 0};
  }
  return sum;
}

void Soak::pass_border() {
  const Nanos at = next_border();
  const bool day_over = at == day_ends();
  if (at == stretches_.next_border()) {
    std::vector<SoakCount> so_far;
    so_far.reserve(requirements_.size());
    for (const auto& each : requirements_) so_far.push_back(each.term.share ? sum_of(each.term) : SoakCount{});
    stretches_.pass_border(so_far);
  }
  if (at == hour_ends()) end_hour();
  if (day_over) end_day();
  decide(at, day_over);
}

SoakHour Soak::this_hour() const {
  SoakHour all;
  for (const Measures* part : parts()) {
    all.asked += part->all.asked;
    all.failed += failed_of(part->all);
  }
  return {all.asked - asked_at_hour_, all.failed - failed_at_hour_};
}

void Soak::end_hour() {
  const SoakHour over = this_hour();
  hours_[hour_of_day()].asked += over.asked;
  hours_[hour_of_day()].failed += over.failed;
  asked_at_hour_ += over.asked;
  failed_at_hour_ += over.failed;
  ++hours_over_;
}

SoakHours Soak::hours() const {
  SoakHours all = hours_;
  const SoakHour rest = this_hour();
  all[hour_of_day()].asked += rest.asked;
  all[hour_of_day()].failed += rest.failed;
  return all;
}

SoakDay Soak::today() const {
  Measures part = today_;
  part.append(fold_.measures());
  SoakDay made;
  made.from = day_ends() - day;
  made.asked = part.all.asked;
  made.failed = failed_of(part.all);
  made.round_trip_median = part.all.round_trip.percentile(500'000);
  made.round_trip_longest = part.all.round_trip.most();
  for (const auto& group : part.cells) made.unseen = std::max(made.unseen, part.longest_unseen(group).span);
  made.coldest_mc = temperatures_.coldest;
  made.warmest_mc = temperatures_.warmest;
  return made;
}

void Soak::end_day() {
  days_.push_back(today());
  today_.append(fold_.measures());
  whole_.append(today_);
  today_ = {};
  begin_anew();
  temperatures_.coldest = temperatures_.last_coldest;
  temperatures_.warmest = temperatures_.last_warmest;
}

void Soak::begin_anew() {
  covered_before_.merge(fold_.coverage());
  fold_.restart();
}

Coverage Soak::coverage() const {
  Coverage all = covered_before_;
  all.merge(fold_.coverage());
  return all;
}

void Soak::decide_share(std::size_t index, Nanos now) {
  const Requirement& requirement = requirements_[index];
  const SoakCount so_far = sum_of(requirement.term);
  Decided& decided = decided_[index];
  const auto settle = [&](Ruling decision, const SoakCount& counted) {
    if (decision != Ruling::undecided) decided = {decision, now, counted};
  };
  const SharePlan plan = share_plan(requirement);
  const SequentialShare test(plan);
  if (requirement.acceptable == 0 && so_far.hits > 0) return settle(Ruling::rejected, so_far);
  if (stretches_.cycles() && stretches_.whole_cycles() < least_cycles) return;
  const Grounds grounds = grounds_of(stretches_, index, so_far, requirement.bunch, plan.rejectable);
  if (lasts(stretches_, grounds, plan)) return settle(Ruling::rejected, grounds.counted);
  if (grounds.usable()) settle(test.decide(grounds.hits(), grounds.trials()), grounds.counted);
}

std::optional<PropertyFigure> Soak::limit_figure(const PropertyTerm& term, const Measures& all) const {
  const auto causes = this->causes();
  auto figure = figure_of(term, {&run(), &all, &causes});
  if (!figure || term.what != What::unseen) return figure;
  // Some cells may be asked for by nothing: they are in no measure.
  if (const auto unread = longest_unread(term, run(), all))
    figure->value = std::max(figure->value, static_cast<std::uint64_t>(unread->span));
  return figure;
}

void Soak::decide_limit(std::size_t index, Nanos now, const Measures& all) {
  const PropertyTerm& term = requirements_[index].term;
  const bool over = now >= until_;
  if (!over && !grows(term)) return;
  // What was tested for a shorter time than the limit, or not at all, can neither pass it nor keep it.
  const Nanos tested = now - start_ - coverage().gap_time;
  if (all.all.asked == 0 || (term.what == What::unseen && tested < static_cast<Nanos>(term.value))) return;
  const auto figure = limit_figure(term, all);
  if (figure && figure->value > term.value) {
    decided_[index] = {Ruling::rejected, now, {figure->value, figure->of, 0}};
  } else if (figure && over) {
    decided_[index] = {Ruling::accepted, now, {figure->value, figure->of, 0}};
  }
}

void Soak::decide(Nanos now, bool day_over) {
  // All measures together cost something: only at the ends of days, where a limit needs them.
  std::optional<Measures> all;
  for (std::size_t i = 0; i < requirements_.size(); ++i) {
    if (decided_[i].decision != Ruling::undecided) continue;
    const PropertyTerm& term = requirements_[i].term;
    if (term.share) {
      decide_share(i, now);
      continue;
    }
    if (now < until_ && !day_over && (!adds_up(term) || sum_of(term).hits <= term.value)) continue;
    if (!all) all = measures();
    decide_limit(i, now, *all);
  }
}

bool Soak::decided() const {
  if (verdict() == Ruling::rejected) return true;
  return std::all_of(decided_.begin(), decided_.end(),
                     [](const Decided& each) { return each.decision != Ruling::undecided; });
}

Ruling Soak::verdict() const {
  std::vector<RequirementState> states(decided_.size());
  for (std::size_t i = 0; i < states.size(); ++i) states[i].decided = decided_[i];
  return verdict_of(states);
}

std::vector<RequirementState> Soak::states() const {
  const Measures all = measures();
  const auto causes = this->causes();
  std::vector<RequirementState> states(decided_.size());
  for (std::size_t i = 0; i < states.size(); ++i) {
    const PropertyTerm& term = requirements_[i].term;
    states[i].decided = decided_[i];
    const auto figure = figure_of(term, {&fold_.run(), &all, &causes});
    if (term.share) {
      const SharePlan plan = share_plan(requirements_[i]);
      SoakCount so_far = figure ? SoakCount{figure->value, figure->of, 0} : SoakCount{};
      if (const auto* bursts = bursts_of(term, fold_.run(), all)) so_far.runs = bursts->count();
      states[i].grounds = grounds_of(stretches_, i, so_far, requirements_[i].bunch, plan.rejectable);
      const Grounds& grounds = states[i].grounds;
      states[i].lasting = lasts(stretches_, grounds, plan);
      // Of one burst that goes on no interval is known.
      if (grounds.usable() && !states[i].lasting) states[i].share = effective_share(grounds.hits(), grounds.trials());
      if (!states[i].share) continue;
      const Ruling ruling = decided_[i].decision;
      states[i].contradicted = (ruling == Ruling::accepted && states[i].share->low > plan.rejectable) ||
                               (ruling == Ruling::rejected && states[i].share->high < plan.acceptable);
    } else if (const auto value = limit_figure(term, all)) {
      states[i].figure = value->value;
      states[i].of = value->of;
      if (term.what == What::unseen) states[i].unread = longest_unread(term, run(), all);
    }
  }
  return states;
}

std::vector<SoakDay> Soak::days() const {
  std::vector<SoakDay> all = days_;
  if (today_.all.asked > 0 || fold_.measures().all.asked > 0) all.push_back(today());
  return all;
}

Measures Soak::measures() const {
  Measures all = whole_;
  all.append(today_);
  all.append(fold_.measures());
  return all;
}

CauseCounts Soak::causes() const {
  CauseCounts all = causes_before_;
  all.merge(causes_.counts());
  return all;
}

void Soak::settle() {
  today_.append(fold_.measures());
  begin_anew();
  causes_before_ = causes();
  causes_.restart();
}

void Soak::keep(Archive& archive) {
  if (!archive.restores()) settle();
  CauseCounts causes = archive.restores() ? CauseCounts{} : this->causes();
  stretches_.keep(archive);
  archive.all("decided", decided_, [&](Decided& each) { each.keep(archive); });
  keep_measures(archive, "whole days", whole_);
  keep_measures(archive, "today", today_);
  keep_causes(archive, causes);
  if (archive.restores()) causes_before_ = causes;
  keep_temperature(archive, "coldest", temperatures_.coldest);
  keep_temperature(archive, "warmest", temperatures_.warmest);
  keep_temperature(archive, "coldest now", temperatures_.last_coldest);
  keep_temperature(archive, "warmest now", temperatures_.last_warmest);
  archive.list("day", days_, [&](SoakDay& each) { each.keep(archive); });
  archive.all("hour", hours_, [&](SoakHour& each) { each.keep(archive); });
  archive.number("asked at hour", asked_at_hour_);
  archive.number("failed at hour", failed_at_hour_);
  archive.number("apart", apart_.exchanges);
  keep_coverage(archive, covered_before_);
  archive.number("hours over", hours_over_, std::uint64_t{0}, most_days * 24);
  if (archive.good() && days_.size() > most_days) archive.refuse("day", "more than a run has");
}

}  // namespace hopbench
