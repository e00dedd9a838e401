#include "coexist/coexist.h"

#include <algorithm>
#include <map>
#include <numeric>
#include <tuple>
#include <utility>

#include "coexist/trials.h"
#include "study/shrink.h"

namespace hopbench {
namespace {

/// One thing to be done by a worker.
struct TrialJob {
  PromiseNumber promise = PromiseNumber::old_answers;
  std::size_t order = 0;
  bool balancing = false;
};

/// Whether bleeding can make a difference to it.
bool tried_balancing(PromiseNumber promise) {
  switch (promise) {
    case PromiseNumber::old_answers:
    case PromiseNumber::old_controller:
    case PromiseNumber::in_time:
    case PromiseNumber::room:
    case PromiseNumber::after_damage:
    case PromiseNumber::restarts:
      return true;
    default:
      return false;
  }
}

std::size_t place(OrderClass which) { return static_cast<std::size_t>(which); }

class Study {
 public:
  Study(const TrialGround& ground, const CoexistPlan& plan, Workers& workers, const StopAsked& stop)
      : ground_(&ground), workers_(&workers), stop_(&stop) {
    wanted_ = plan.promises;
    if (wanted_.empty()) {
      for (std::size_t i = 0; i < promise_count; ++i) wanted_.push_back(static_cast<PromiseNumber>(i));
    }
    Orders orders = plan.only ? Orders{{*plan.only}, 1} : orders_of(ground.maker.kinds(), plan.bounds);
    orders_ = std::move(orders.tried);
    found_.possible = orders.possible;
    found_.orders = orders_.size();
    for (const KindOrder& order : orders_) found_.longest = std::max(found_.longest, order.size());
    for (const PromiseNumber promise : wanted_) {
      PromiseFinding finding;
      finding.promise = promise;
      finding.not_tried = not_triable(promise, ground);
      found_.promises.push_back(std::move(finding));
    }
  }

  Coexistence run(const Workers::Progress& progress) {
    make_jobs();
    trials_.resize(jobs_.size());
    const auto job = [&](std::size_t i, const StopAsked&) {
      trials_[i] = trial_of(jobs_[i].promise, *ground_, orders_[jobs_[i].order], jobs_[i].balancing);
    };
    found_.stopped = !workers_->each(jobs_.size(), job, *stop_, progress);
    if (found_.stopped) return std::move(found_);
    for (std::size_t i = 0; i < jobs_.size() && !(*stop_)(); ++i) take(jobs_[i], trials_[i]);
    for (PromiseFinding& finding : found_.promises) {
      if (finding.breach) reduce(*finding.breach);
      if (finding.old_breach) reduce(*finding.old_breach);
    }
    found_.stopped = (*stop_)();
    return std::move(found_);
  }

 private:
  [[nodiscard]] bool wants(PromiseNumber promise) const {
    return std::find(wanted_.begin(), wanted_.end(), promise) != wanted_.end();
  }

  /// In the order of `orders_`; a trial with balancing behind the same one without.
  void make_jobs() {
    const bool again = wants(PromiseNumber::balancing) && not_triable(PromiseNumber::balancing, *ground_).empty();
    for (std::size_t order = 0; order < orders_.size(); ++order) {
      for (std::size_t i = 0; i < promise_count; ++i) {
        const auto promise = static_cast<PromiseNumber>(i);
        if (!not_triable(promise, *ground_).empty()) continue;
        const bool bled = again && tried_balancing(promise);
        if (wants(promise) || bled) jobs_.push_back({promise, order, false});
        if (bled) jobs_.push_back({promise, order, true});
      }
    }
  }

  PromiseFinding* finding_of(PromiseNumber promise) {
    const auto found = std::find_if(found_.promises.begin(), found_.promises.end(),
                                    [&](const PromiseFinding& each) { return each.promise == promise; });
    return found == found_.promises.end() ? nullptr : &*found;
  }

  void take(const TrialJob& job, const Trial& trial) {
    // What is broken without balancing as well is not its doing.
    const bool broken_anyway = job.balancing && broken_unbled_;
    broken_unbled_ = !job.balancing && trial.breach.has_value();
    if (trial.counts.chains == 0 || broken_anyway) return;
    ++found_.trials;
    PromiseFinding* finding = finding_of(job.balancing ? PromiseNumber::balancing : job.promise);
    if (finding == nullptr) return;
    const KindOrder& order = orders_[job.order];
    CoexistCell& cell = finding->by_class[place(class_of(order))];
    ++cell.tried;
    finding->counts.add(trial.counts);
    if (!trial.note.empty() && trial.note_weight >= finding->note_weight) {
      finding->note = trial.note;
      finding->note_weight = trial.note_weight;
    }
    if (!trial.breach) return;
    ++cell.broken;
    auto& breach = is_of_new(job.promise, order, job.balancing) ? finding->breach : finding->old_breach;
    if (breach) return;
    breach = {job.promise, order, job.balancing, {}, *trial.breach};
  }

  /// A chain with a new node in it breaks a promise, and without it it does not.
  bool is_of_new(PromiseNumber promise, const KindOrder& order, bool balancing) {
    if (!has_new(order)) return false;
    const KindOrder old = without_new(order);
    if (old.empty()) return true;
    const auto key = std::tuple(promise, balancing, old);
    auto known = broken_without_.find(key);
    if (known == broken_without_.end()) {
      known = broken_without_.emplace(key, trial_of(promise, *ground_, old, balancing).breach.has_value()).first;
    }
    return !known->second;
  }

  /// Nodes are left out while the promise is broken all the same; where it needs a new node, while it still does.
  void reduce(Breach& breach) {
    const bool of_new = is_of_new(breach.promise, breach.order, breach.balancing);
    const auto part = [&](const Marks& marks) {
      KindOrder order;
      for (std::size_t i = 0; i < marks.size(); ++i) {
        if (marks[i]) order.push_back(breach.order[i]);
      }
      return order;
    };
    const auto holds = [&](const KindOrder& order) {
      if (order.empty() || (of_new && !has_new(order))) return false;
      if (breach.balancing && trial_of(breach.promise, *ground_, order, false).breach) return false;
      if (!trial_of(breach.promise, *ground_, order, breach.balancing).breach) return false;
      const KindOrder old = without_new(order);
      return !of_new || old.empty() || !trial_of(breach.promise, *ground_, old, breach.balancing).breach;
    };
    const FirstThatHolds first = [&](const std::vector<Marks>& candidates) -> std::optional<std::size_t> {
      return workers_->first(
          candidates.size(), [&](std::size_t i, const StopAsked&) { return holds(part(candidates[i])); }, *stop_);
    };
    breach.order = part(smallest(breach.order.size(), first, *stop_));
    const Trial trial = trial_of(breach.promise, *ground_, breach.order, breach.balancing);
    if (trial.breach) breach.sentence = *trial.breach;
    breach.chain = in_words(ground_->maker.make(breach.order));
  }

  const TrialGround* ground_;
  Workers* workers_;
  const StopAsked* stop_;
  std::vector<PromiseNumber> wanted_;
  std::vector<KindOrder> orders_;
  std::vector<TrialJob> jobs_;
  std::vector<Trial> trials_;
  std::map<std::tuple<PromiseNumber, bool, KindOrder>, bool> broken_without_;
  bool broken_unbled_ = false;  // the trial before: of the same promise and order, if this one is with balancing
  Coexistence found_;
};

}  // namespace

std::uint64_t PromiseFinding::tried() const {
  return std::accumulate(by_class.begin(), by_class.end(), std::uint64_t{0},
                         [](std::uint64_t sum, const CoexistCell& cell) { return sum + cell.tried; });
}

bool Coexistence::broken() const {
  return std::any_of(promises.begin(), promises.end(), [](const PromiseFinding& each) { return each.broken(); });
}

bool Coexistence::tried() const {
  return std::any_of(promises.begin(), promises.end(), [](const PromiseFinding& each) { return each.tried() > 0; });
}

Coexistence coexistence(const TrialGround& ground, const CoexistPlan& plan, Workers& workers, const StopAsked& stop,
                        const Workers::Progress& progress) {
  return Study(ground, plan, workers, stop).run(progress);
}

}  // namespace hopbench
