#include "record/crc32c.h"

#include <boost/crc.hpp>

#include "measure/sample_run.h"
#include "support/catch.h"

using namespace hopbench;

TEST_CASE("CRC-32C agrees with Boost.CRC on bytes of every length, whole and in pieces") {
  using Reference = boost::crc_optimal<32, 0x1edc6f41, 0xffffffff, 0xffffffff, true, true>;
  sample::Dice dice(71);
  for (std::size_t size = 0; size < 300; ++size) {
    CAPTURE(size);
    const auto bytes = dice.bytes(size);
    Reference reference;
    reference.process_bytes(bytes.data(), bytes.size());
    CHECK(Crc32c().feed(bytes).value() == reference.checksum());
    CHECK(Crc32c().feed_by_table(bytes).value() == reference.checksum());
    const std::size_t cut = size == 0 ? 0 : dice.below(size);
    const auto all = std::span<const std::uint8_t>(bytes);
    CHECK(Crc32c().feed(all.first(cut)).feed(all.subspan(cut)).value() == reference.checksum());
  }
}
