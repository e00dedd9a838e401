#include "check/run_text.h"

#include <algorithm>
#include <cstdlib>

namespace hopbench {
namespace {

std::uint64_t from_environment(const char* name, std::uint64_t otherwise) {
  const char* text = std::getenv(name);
  return text == nullptr ? otherwise : std::strtoull(text, nullptr, 10);
}

}  // namespace

Numbers numbers_to_try(std::uint64_t otherwise) {
  const std::uint64_t first = from_environment("HOPBENCH_FIRST_SCENARIO", 0);
  return {first, first + from_environment("HOPBENCH_SCENARIOS", otherwise)};
}

std::string LoadedText::shown() const {
  std::string all;
  for (const Problem& problem : problems) all += render(problem);
  return all;
}

LoadedText load_text(const std::string& text) {
  LoadedText loaded;
  loaded.scenario = load_scenario({"drawn.txtpb", text}, stored_bus(""), loaded.problems);
  return loaded;
}

LoadedText load_text_as_recorded(const std::string& text) {
  LoadedText loaded;
  loaded.scenario = load_recorded({"drawn.txtpb", text}, stored_bus(""), loaded.problems);
  return loaded;
}

Collector run(const Scenario& scenario, Way way, std::uint64_t exchanges) {
  const Protocol protocol(scenario.bus);
  Collector kept;
  Chain chain(protocol, scenario.chain, scenario.chain.seed, way, Seat::simulated, kept);
  (void)chain.run_exchanges(exchanges);
  chain.finish({});
  return kept;
}

std::string difference(const Collector& one, const Collector& other) {
  for (std::size_t i = 0; i < std::min(one.exchanges.size(), other.exchanges.size()); ++i) {
    const std::string a = describe(one.exchanges[i]);
    const std::string b = describe(other.exchanges[i]);
    if (a != b) return "one:   " + a + "\nother: " + b + "\n";
  }
  if (one.exchanges.size() != other.exchanges.size()) return "one has more exchanges than the other\n";
  return one.strays == other.strays && one.states == other.states ? "" : "strays or states differ\n";
}

}  // namespace hopbench
