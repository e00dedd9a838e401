// Agreement with Boost.CRC, an implementation that is not ours, over random models and messages.
#include <boost/crc.hpp>
#include <cstdint>
#include <random>
#include <vector>

#include "bus/crc.h"
#include "support/catch.h"

using hopbench::Crc;
using hopbench::CrcModel;

namespace {

// mt19937_64's output is fixed by the C++ standard; only draws of whole numbers are taken from it.
template <std::size_t Bits>
void compare_random_models(std::uint64_t seed) {
  std::mt19937_64 draw(seed);
  const std::uint64_t mask = Bits == 64 ? ~std::uint64_t{0} : (std::uint64_t{1} << (Bits % 64)) - 1;
  using Value = typename boost::crc_basic<Bits>::value_type;
  for (int round = 0; round < 200; ++round) {
    const CrcModel model{Bits, (draw() & mask) | 1U, draw() & mask, draw() % 2 == 0, draw() % 2 == 0, draw() & mask};
    std::vector<std::uint8_t> message(draw() % 80);
    for (auto& byte : message) byte = static_cast<std::uint8_t>(draw());
    boost::crc_basic<Bits> reference(static_cast<Value>(model.poly), static_cast<Value>(model.init),
                                     static_cast<Value>(model.xorout), model.refin, model.refout);
    reference.process_bytes(message.data(), message.size());
    INFO("width " << Bits << " seed " << seed << " round " << round << " length " << message.size());
    REQUIRE(Crc(model).of(message) == static_cast<std::uint64_t>(reference.checksum()));
  }
}

}  // namespace

TEST_CASE("random models of whole-byte widths agree with Boost.CRC") {
  compare_random_models<8>(1);
  compare_random_models<16>(2);
  compare_random_models<24>(3);
  compare_random_models<32>(4);
  compare_random_models<40>(5);
  compare_random_models<64>(6);
}

TEST_CASE("random models of odd widths agree with Boost.CRC") {
  compare_random_models<3>(11);
  compare_random_models<5>(12);
  compare_random_models<7>(13);
  compare_random_models<12>(14);
  compare_random_models<15>(15);
  compare_random_models<21>(16);
  compare_random_models<31>(17);
  compare_random_models<63>(18);
}
