#include "support/broken_run.h"

#include <algorithm>
#include <memory>

namespace hopbench {

Collector unbroken_run(const Protocol& protocol, const ChainDescription& chain, std::uint64_t seed, Way way,
                       Nanos until, bool& stuck) {
  Collector kept;
  Chain whole(protocol, chain, seed, way, Seat::simulated, kept);
  stuck = !whole.run_until(until);
  whole.finish({});
  return kept;
}

BrokenRun broken_run(const Protocol& protocol, const ChainDescription& chain, std::uint64_t seed,
                     const std::vector<Way>& ways, const std::vector<Nanos>& instants, Nanos until) {
  BrokenRun run;
  auto piece = std::make_unique<Chain>(protocol, chain, seed, ways.front(), Seat::simulated, run.kept);
  for (const Nanos at : instants) {
    if (!piece->run_until(std::min(at, until))) {
      run.stuck = true;
      break;
    }
    if (!piece->run_until_quiet(until)) continue;
    std::string why;
    std::vector<std::uint8_t> state = piece->save(why);
    if (state.empty()) {
      run.trouble = "not saved: " + why;
      return run;
    }
    const Nanos now = piece->now();
    const StartSpec standing = piece->standing();
    piece.reset();
    run.saved.push_back(std::move(state));
    const Way way = ways[run.saved.size() % ways.size()];
    piece = Chain::resumed(protocol, chain, seed, way, run.kept, run.saved.back(), why);
    if (!piece) {
      run.trouble = "not taken up: " + why;
      return run;
    }
    if (piece->now() != now || piece->standing() != standing || piece->save(why) != run.saved.back()) {
      run.trouble = "put back, it is another time or state: " + why;
      return run;
    }
  }
  run.stuck = !piece->run_until(until);
  piece->finish({});
  return run;
}

std::string first_difference(const Collector& one, const Collector& other) {
  for (std::size_t i = 0; i < std::min(one.exchanges.size(), other.exchanges.size()); ++i) {
    const std::string a = describe(one.exchanges[i]);
    const std::string b = describe(other.exchanges[i]);
    if (a != b) return "one:   " + a + "\nother: " + b;
  }
  if (one.exchanges.size() != other.exchanges.size()) {
    return "exchanges: " + std::to_string(one.exchanges.size()) + " and " + std::to_string(other.exchanges.size());
  }
  if (one.strays != other.strays) return "strays differ";
  if (one.states != other.states) return "states differ";
  return one.ended == other.ended ? "" : "they end at different instants";
}

}  // namespace hopbench
