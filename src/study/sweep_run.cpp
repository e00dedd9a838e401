#include "study/sweep_run.h"

#include <algorithm>
#include <utility>

#include "base/archive.h"
#include "chain/chain.h"
#include "measure/causes.h"
#include "measure/fan_out.h"
#include "seen/ignoring_sink.h"

namespace hopbench {
namespace {

constexpr std::uint64_t asked_between = 4096;  // exchanges between two looks at `stop`

/// Thrown into a run to end it; the chain is not used after that.
struct SweepStopped {};

class StopWatch final : public IgnoringSink {
 public:
  explicit StopWatch(const std::function<bool()>& stop) : stop_(&stop) {}
  void exchange(const ExchangeObs&, const ExchangeTruth*) override { count(1); }
  [[nodiscard]] std::uint64_t whole_from() const override { return ~std::uint64_t{0}; }
  void again(std::span<const ExchangeObs>, std::span<const Repeat> repeats) override { count(repeats.size()); }

 private:
  void count(std::size_t more) {
    seen_ += more;
    if (seen_ < next_) return;
    next_ = seen_ + asked_between;
    if ((*stop_)()) throw SweepStopped{};
  }

  const std::function<bool()>* stop_;
  std::uint64_t seen_ = 0;
  std::uint64_t next_ = 0;
};

std::optional<SweepUnseen> unseen_of(const Measures& measures, const RunInfo& run) {
  std::optional<SweepUnseen> longest;
  for (const CellsUnseen& group : measures.cells) {
    const auto span = measures.longest_unseen(group);
    const bool longer = !longest || (!group.ever_seen && !longest->never) ||
                        (group.ever_seen != longest->never && span.span > longest->span);
    if (!longer) continue;
    const std::string node = group.node < run.nodes.size() ? run.nodes[group.node] : "";
    longest = SweepUnseen{node, group.first_cell, !group.ever_seen, span.span, span.from};
  }
  return longest;
}

/// All that is wanted of a run, and no more: chains have hundreds of links.
Measures without_parts(const Measures& whole) {
  Measures kept;
  kept.all = whole.all;
  kept.bursts = whole.bursts;
  kept.runs = whole.runs;
  kept.from = whole.from;
  kept.until = whole.until;
  kept.ended = whole.ended;
  return kept;
}

void keep_text(Archive& archive, std::string_view what, std::string& text) {
  archive.list(what, text, [&](char& c) { archive.number("character", c); });
}

void keep_unseen(Archive& archive, SweepUnseen& unseen) {
  keep_text(archive, "node", unseen.node);
  archive.number("cell", unseen.cell);
  archive.flag("never", unseen.never);
  archive.span("unseen for", unseen.span);
  archive.span("unseen from", unseen.from);
}

struct CauseCount {
  std::uint8_t cause = 0;
  std::uint64_t tries = 0;
};

void keep(Archive& archive, SweepRun& run, std::vector<std::uint8_t>& measures) {
  auto end = static_cast<std::uint8_t>(run.end);
  archive.number("end", end, std::uint8_t{0}, static_cast<std::uint8_t>(SweepEnd::stuck));
  run.end = static_cast<SweepEnd>(end);
  keep_text(archive, "why", run.why);
  archive.list("measures", measures, [&](std::uint8_t& byte) { archive.number("byte", byte); });
  std::vector<CauseCount> causes;
  for (std::size_t i = 0; i < run.causes.size(); ++i) {
    if (run.causes[i] > 0) causes.push_back({static_cast<std::uint8_t>(i), run.causes[i]});
  }
  constexpr std::uint64_t most_tries = std::uint64_t{1} << 48U;
  archive.list("causes", causes, [&](CauseCount& each) {
    archive.number("cause", each.cause);
    archive.number("tries", each.tries, std::uint64_t{1}, most_tries);
  });
  for (const CauseCount& each : causes) run.causes[each.cause] = each.tries;
  archive.maybe("unseen", run.unseen, [&](SweepUnseen& unseen) { keep_unseen(archive, unseen); });
  archive.end();
}

}  // namespace

std::vector<std::uint8_t> SweepRun::bytes() const {
  SweepRun copy = *this;
  std::vector<std::uint8_t> measures_bytes;
  measures.serialise(measures_bytes);
  Archive archive;
  keep(archive, copy, measures_bytes);
  return archive.bytes();
}

std::optional<SweepRun> SweepRun::parse(std::span<const std::uint8_t> bytes) {
  SweepRun run;
  std::vector<std::uint8_t> measures_bytes;
  Archive archive(bytes);
  keep(archive, run, measures_bytes);
  if (!archive.good() || !Measures::parse(measures_bytes, run.measures)) return std::nullopt;
  const Measures& m = run.measures;
  const bool parts = !m.links.empty() || !m.nodes.empty() || !m.topics.empty() || !m.cells.empty();
  if (parts || m.runs > 1) return std::nullopt;
  return run;
}

SweepRun impossible_run(std::string why) {
  SweepRun run;
  run.end = SweepEnd::impossible;
  run.why = std::move(why);
  return run;
}

std::optional<SweepRun> sweep_run(const Scenario& scenario, std::uint64_t seed, Nanos span, const InSeat& in_seat,
                                  const std::function<bool()>& stop) {
  MeasureFold fold;
  CauseFold causes;
  StopWatch watch(stop);
  FanOut all{&fold, &causes, &watch};
  SweepRun run;
  try {
    const Protocol protocol(scenario.bus);
    if (in_seat) {
      if (!in_seat(protocol, scenario.chain, seed, span, stop, all)) return std::nullopt;
    } else {
      Chain chain(protocol, scenario.chain, seed, Way::repeats, Seat::simulated, all);
      if (!chain.run_until(chain.now() + span)) run.end = SweepEnd::stuck;
      chain.finish({});
    }
  } catch (const SweepStopped&) {
    return std::nullopt;
  }
  run.measures = without_parts(fold.measures());
  run.causes = causes.counts().tries;
  run.unseen = unseen_of(fold.measures(), fold.run());
  return run;
}

}  // namespace hopbench
