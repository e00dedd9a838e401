// Fuzz target: any bytes as what a controller in granted time sends, handed over in two ways that must agree.
//
// Build with HOPBENCH_FUZZ; the test suite replays tests/port/corpus through the same function.
#include <algorithm>
#include <cstddef>
#include <cstdint>
#include <cstdlib>
#include <span>
#include <string>
#include <vector>

#include "port/granted_session.h"
#include "seen/ignoring_sink.h"
#include "support/small_chain.h"

namespace hopbench::fuzz {
namespace {

class Counter final : public IgnoringSink {
 public:
  void exchange(const ExchangeObs&, const ExchangeTruth*) override { ++exchanges; }
  std::uint64_t exchanges = 0;
};

struct Outcomes {
  std::vector<std::uint8_t> out;
  std::string trouble;
  GrantedSession::State state = GrantedSession::State::asks;
  std::uint64_t exchanges = 0;
  bool operator==(const Outcomes&) const = default;
};

Outcomes talk(std::span<const std::uint8_t> input, std::size_t at_once) {
  using State = GrantedSession::State;
  static const SmallChain small = modbus_chain(2);
  static const Protocol protocol(small.bus);
  Counter counter;
  Chain chain(protocol, small.chain, 1, Way::events, Seat::outside, counter);
  GrantedSession session(chain, protocol.line(), "fuzz", 2 * second);
  Outcomes all;
  const auto collect = [&] {
    while (session.state() == State::waits) session.go_on();
    all.out.insert(all.out.end(), session.out().begin(), session.out().end());
    session.out().clear();
    session.logged().clear();
  };
  for (std::size_t from = 0; from < input.size(); from += at_once) {
    session.take(input.subspan(from, std::min(at_once, input.size() - from)));
    collect();
  }
  session.stop();
  collect();
  chain.finish({});
  all.trouble = session.trouble();
  all.state = session.state();
  all.exchanges = counter.exchanges;
  return all;
}

}  // namespace

/// One input; aborts if a promise is broken. Returns the number of exchanges that came of it.
std::size_t converse(std::span<const std::uint8_t> input) {
  const Outcomes whole = talk(input, input.size() + 1);
  const Outcomes apart = talk(input, 1);
  if (whole != apart) std::abort();
  if (whole.state == GrantedSession::State::waits) std::abort();
  if ((whole.state == GrantedSession::State::wrong) == whole.trouble.empty()) std::abort();
  return whole.exchanges;
}

}  // namespace hopbench::fuzz

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
  hopbench::fuzz::converse({data, size});
  return 0;
}
