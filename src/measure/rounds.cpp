#include "measure/rounds.h"

#include <algorithm>

namespace hopbench {
namespace {

/// Instants of a made-up capture may be as far apart as there are; their span wraps then.
Nanos span(Nanos from, Nanos to) {
  return static_cast<Nanos>(static_cast<std::uint64_t>(to) - static_cast<std::uint64_t>(from));
}

}  // namespace

void RoundFold::begin(const RunInfo& run) {
  entry_.reset();
  for (std::uint32_t i = 0; i < run.entries.size() && !entry_; ++i) {
    if (!entry_name_.empty() && run.entries[i].name == entry_name_) entry_ = i;
  }
  time_out_ = run.time_out;
  leads_home_.clear();
  for (const LinkInfo& link : run.links) leads_home_.push_back(link.to == run.controller);
  last_.reset();
  measures_ = {};
}

void RoundFold::asked(std::uint32_t entry, Nanos start) {
  if (entry != entry_) return;
  if (last_) measures_.lengths.add(span(*last_, start));
  last_ = start;
}

void RoundFold::exchange(const ExchangeObs& obs, const ExchangeTruth*) {
  asked(obs.entry, obs.start);
  if (!time_out_) return;
  for (std::size_t i = 0; i < obs.attempts.size(); ++i) {
    if (obs.attempts[i].outcome != Outcome::late) continue;
    Nanos came = never;
    for (const HopRow& row : obs.rows) {
      const bool home = row.link < leads_home_.size() && leads_home_[row.link];
      if (home && row.answering && row.attempt == i && row.heard_well()) came = std::min(came, row.end);
    }
    if (came != never) measures_.late_by.add(span(*time_out_, span(obs.attempts[i].ask_end, came)));
  }
}

void RoundFold::again(std::span<const ExchangeObs> models, std::span<const Repeat> repeats) {
  for (const Repeat& repeat : repeats) {
    if (repeat.model < models.size()) asked(models[repeat.model].entry, repeat.start);
  }
}

}  // namespace hopbench
