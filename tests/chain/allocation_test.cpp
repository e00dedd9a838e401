// Once a chain has run for a while, an exchange allocates nothing, whichever way it is run.
#ifndef __SANITIZE_ADDRESS__  // which brings its own operator new
#include <cstdlib>
#include <new>

#include "chain/chain.h"
#include "seen/ignoring_sink.h"
#include "support/catch.h"
#include "support/small_chain.h"

namespace {
std::size_t allocations = 0;  // by operator new, in all
}

// The compiler sees free() meet memory of operator new where both forms are inlined; they are a pair.
#pragma GCC diagnostic ignored "-Wmismatched-new-delete"
// NOLINTBEGIN: the replaced forms, matched by the library's other forms that call them.
void* operator new(std::size_t size) {
  ++allocations;
  if (void* place = std::malloc(size == 0 ? 1 : size)) return place;
  throw std::bad_alloc();
}
void* operator new(std::size_t size, const std::nothrow_t&) noexcept {
  ++allocations;
  return std::malloc(size == 0 ? 1 : size);
}
void operator delete(void* place) noexcept { std::free(place); }
void operator delete(void* place, std::size_t) noexcept { std::free(place); }
// NOLINTEND

namespace hopbench {
namespace {

/// Counts, and keeps nothing.
class Counter final : public IgnoringSink {
 public:
  explicit Counter(bool whole) : whole_(whole) {}
  std::uint64_t told = 0;
  std::uint64_t failed = 0;  // at the first try

  void exchange(const ExchangeObs& seen, const ExchangeTruth*) override {
    ++told;
    if (seen.attempts.size() > 1) ++failed;
  }
  [[nodiscard]] std::uint64_t whole_from() const override { return whole_ ? 0 : ~std::uint64_t{0}; }
  void again(std::span<const ExchangeObs>, std::span<const Repeat> repeats) override { told += repeats.size(); }

 private:
  bool whole_;
};

}  // namespace

TEST_CASE("after warming up, exchanges allocate nothing") {
  for (const Way way : {Way::repeats, Way::events, Way::every_byte}) {
    for (const bool whole : {true, false}) {
      INFO("way " << int{static_cast<std::uint8_t>(way)} << (whole ? " whole" : " in blocks"));
      SmallChain small = small_chain(Shape::ring, 4, "readings");
      for (LinkSpec& link : small.chain.links) link.bit_error = 50'000'000'000;  // 5e-5
      small.controller().retries = 1;
      const Protocol protocol(small.bus);
      const Nanos warm = (way == Way::every_byte ? 2'000 : 10'000) * second;
      Counter counter(whole);
      Chain chain(protocol, small.chain, 1, way, Seat::simulated, counter);
      REQUIRE(chain.run_until(warm));
      const std::uint64_t told = counter.told;
      const std::uint64_t failed = counter.failed;
      const std::size_t before = allocations;
      const bool went_on = chain.run_until(2 * warm);
      const std::size_t after = allocations;
      REQUIRE(went_on);
      CHECK(counter.told - told > 1000);
      // A buffer may yet grow for damage that was not as long before; an allocation by each exchange, or only by each
      // failed one, would be hundreds.
      CHECK(counter.failed - failed > 50);
      CHECK(after - before < 10);
      chain.finish({});
    }
  }
}

}  // namespace hopbench
#endif
