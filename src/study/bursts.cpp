#include "study/bursts.h"

#include <algorithm>
#include <bit>
#include <utility>

namespace hopbench {

void RunLengths::add(std::uint64_t length, std::uint64_t failed, Nanos from, Nanos until) {
  if (failed == 0 || length == 0) return;
  failures[std::min<std::size_t>(static_cast<std::size_t>(std::bit_width(length)) - 1, places - 1)] += failed;
  ++runs;
  if (length <= longest) return;
  longest = length;
  longest_from = from;
  longest_until = until;
}

void RunLengths::add(const RunLengths& other) {
  for (std::size_t i = 0; i < places; ++i) failures[i] += other.failures[i];
  runs += other.runs;
  if (other.longest <= longest) return;
  longest = other.longest;
  longest_from = other.longest_from;
  longest_until = other.longest_until;
}

std::uint64_t RunLengths::total() const { return from_length(1); }

std::uint64_t RunLengths::from_length(std::uint64_t length) const {
  std::uint64_t sum = 0;
  for (auto i = static_cast<std::size_t>(std::bit_width(length)) - 1; i < places; ++i) sum += failures[i];
  return sum;
}

void BurstFold::begin(std::size_t nodes, std::size_t entries) {
  bursts_ = {};
  bursts_.first_tries.begin(entries);
  bursts_.of_nodes.resize(nodes);
  pending_.clear();
  any_ = {};
  node_.assign(nodes, {});
  seen_ = 0;
}

void BurstFold::failed(const Asked& asked, Ending ending) { take({asked, false, ending, asked.start}); }

void BurstFold::answered(const Asked& asked, Nanos good) { take({asked, true, Ending::no_answer, good}); }

void BurstFold::take(const Try& one) {
  auto place = pending_.end();
  while (place != pending_.begin() && std::pair(one.asked.number, one.asked.attempt) <
                                          std::pair((place - 1)->asked.number, (place - 1)->asked.attempt)) {
    --place;
  }
  pending_.insert(place, one);
  if (pending_.size() < 2 * most_pending) return;
  for (std::size_t i = 0; i < most_pending; ++i) count(pending_[i]);
  pending_.erase(pending_.begin(), pending_.begin() + most_pending);
}

void BurstFold::close(Waiting& waiting, std::array<RunLengths, ending_count>& lengths) {
  const Run& run = waiting.run;
  if (run.length == 0) return;
  for (std::size_t i = 0; i < ending_count; ++i) lengths[i].add(run.length, run.failed[i], run.from, run.until);
  waiting.run = {};
}

void BurstFold::keep(Waiting& waiting, Nanos until, Stretch& longest) {
  waiting.stretch.until = std::max(waiting.stretch.from, until);
  if (waiting.stretch.failed > 0 && waiting.stretch.length() > longest.length()) longest = waiting.stretch;
  waiting.stretch = {until, until, 0};
}

void BurstFold::count(const Try& one) {
  seen_ = std::max(seen_, one.until);
  if (one.asked.attempt == 0) {
    bursts_.first_tries.asked(one.asked.entry, one.asked.start, one.asked.weight, !one.good,
                              any_.begun && any_.run.length == 0);
  }
  const auto see = [&](Waiting& waiting, std::array<RunLengths, ending_count>& lengths, Stretch& longest) {
    if (!waiting.begun) {
      waiting.begun = true;
      waiting.stretch = {one.asked.start, one.asked.start, 0};
    }
    if (one.good) {
      close(waiting, lengths);
      keep(waiting, one.until, longest);
      return;
    }
    Run& run = waiting.run;
    if (run.length++ == 0) run.from = one.asked.start;
    run.until = one.asked.start;
    ++run.failed[static_cast<std::size_t>(one.ending)];
    ++waiting.stretch.failed;
  };
  see(any_, bursts_.all, bursts_.longest);
  if (one.asked.node < node_.size()) see(node_[one.asked.node], bursts_.with_node, bursts_.of_nodes[one.asked.node]);
}

void BurstFold::flush() {
  for (const Try& one : pending_) count(one);
  pending_.clear();
}

void BurstFold::cut(Nanos from, Nanos to) {
  flush();
  const auto at = [&](Waiting& waiting, std::array<RunLengths, ending_count>& lengths, Stretch& longest) {
    if (!waiting.begun) return;
    close(waiting, lengths);
    keep(waiting, std::max(from, seen_), longest);
    waiting.stretch = {to, to, 0};
  };
  at(any_, bursts_.all, bursts_.longest);
  for (std::size_t i = 0; i < node_.size(); ++i) at(node_[i], bursts_.with_node, bursts_.of_nodes[i]);
}

void BurstFold::end(Nanos until) { cut(until, until); }

}  // namespace hopbench
