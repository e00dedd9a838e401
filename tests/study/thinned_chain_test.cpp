// What a thinner keeps of a chain is the same whether the chain tells of repeats or of every exchange.
#include "chain/chain.h"
#include "measure/thinner.h"
#include "record/written.h"
#include "support/catch.h"
#include "support/physical_scenario.h"
#include "support/random_scenario.h"

namespace hopbench {
namespace {

/// Counts repeats on their way; or wants every exchange whole.
class Door final : public ForwardingSink {
 public:
  Door(Sink& to, bool whole) : ForwardingSink({&to}), whole_(whole) {}
  std::uint64_t repeats = 0;
  [[nodiscard]] std::uint64_t whole_from() const override { return whole_ ? 0 : ForwardingSink::whole_from(); }
  void again(std::span<const ExchangeObs> models, std::span<const Repeat> some) override {
    repeats += some.size();
    ForwardingSink::again(models, some);
  }

 private:
  bool whole_;
};

std::uint64_t kept_alike(const RandomScenario& scenario, std::uint64_t number) {
  const Protocol protocol(scenario.bus);
  std::uint64_t repeats = 0;
  const auto kept = [&](bool whole) {
    sample::Payloads payloads;
    Thinner thinner(payloads, number % 3 == 0 ? 0 : static_cast<std::uint32_t>(number % 50),
                    static_cast<std::uint32_t>(number % 5));
    Door door(thinner, whole);
    Chain chain(protocol, scenario.chain, 7, Way::repeats, Seat::simulated, door);
    (void)chain.run_exchanges(400);
    chain.finish({});
    repeats += door.repeats;
    return payloads.all;
  };
  REQUIRE(kept(false) == kept(true));
  return repeats;
}

}  // namespace

TEST_CASE("a thinner keeps the same of a chain that repeats as of one that tells every exchange") {
  std::uint64_t repeats = 0;
  for (std::uint64_t number = 0; number < 60; ++number) {
    CAPTURE(number);
    repeats += kept_alike(random_scenario(number), number);
    repeats += kept_alike(physical_scenario(number), number);
    repeats += kept_alike(edgy_scenario(number), number);
  }
  CHECK(repeats > 5'000);
}

}  // namespace hopbench
