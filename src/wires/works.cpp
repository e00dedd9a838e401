#include "wires/works.h"

namespace hopbench {
namespace {

// A chain of 250 nodes does a few hundred things at one instant; far more than that is a loop without time.
constexpr std::uint64_t most_at_one_instant = 200'000;

}  // namespace

Works::Works(const Protocol& the_protocol, const ChainDescription& the_chain, std::uint64_t seed, Way the_way,
             Sink& the_sink)
    : protocol(the_protocol),
      chain(the_chain),
      table(the_chain.shape, the_chain.nodes.size()),
      luck(seed),
      nominal_period(period_of_baud(the_protocol.line().baud)),
      way(the_way),
      tap(the_sink),
      queue(most_at_one_instant, the_chain.start.at),
      traces(tap, the_chain),
      injector(the_chain, the_protocol, luck) {}

}  // namespace hopbench
