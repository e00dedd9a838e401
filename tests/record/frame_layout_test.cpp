#include "record/frame_layout.h"

#include <algorithm>
#include <string_view>

#include "record/record_codec.h"
#include "support/catch.h"

using namespace hopbench;

namespace {

std::span<const std::uint8_t> bytes_of(std::string_view text) {
  return {reinterpret_cast<const std::uint8_t*>(text.data()), text.size()};
}

}  // namespace

TEST_CASE("CRC-32C has its published check value") {
  // RFC 3720 (iSCSI), appendix B.4: 32 bytes of zeros give aa 36 91 8a on the wire, of ones 43 ab a8 62 (from memory).
  // "123456789" gives e3069283: Catalogue of parametrised CRC algorithms, CRC-32/ISCSI.
  CHECK(Crc32c().feed(bytes_of("123456789")).value() == 0xe3069283U);
  CHECK(Crc32c().feed(bytes_of("1234")).feed(bytes_of("56789")).value() == 0xe3069283U);
  const std::array<std::uint8_t, 32> zeros{};
  CHECK(Crc32c().feed(zeros).value() == 0x8a9136aaU);
  std::array<std::uint8_t, 32> ones{};
  ones.fill(0xff);
  CHECK(Crc32c().feed(ones).value() == 0x62a8ab43U);
}

TEST_CASE("the worked examples of the format's page are what is written") {
  // docs/capture-format.md. Check values computed by a program of a few lines in another language, bit by bit.
  const auto header = write_block_header({0x1122334455667788, 0, 0, 0, 0});
  const std::array<std::uint8_t, block_header_bytes> expected{
      0x48, 0x42, 0x43, 0x1a, 0x01, 0x00, 0x2c, 0x00, 0x88, 0x77, 0x66, 0x55, 0x44, 0x33, 0x22,
      0x11, 0,    0,    0,    0,    0,    0,    0,    0,    0,    0,    0,    0,    0,    0,
      0,    0,    0,    0,    0,    0,    0,    0,    0,    0,    0x72, 0xc4, 0x82, 0x62};
  CHECK(header == expected);

  const std::array<std::uint8_t, 14> stray{0x08, 0x80, 0x92, 0xf4, 0x01, 0x10, 0x03,
                                           0x1a, 0x03, 0x01, 0x02, 0x03, 0x20, 0x03};
  const std::array<std::uint8_t, 3> heard{1, 2, 3};
  RecordEncoder encoder;
  const auto payload = encoder.stray({2'000'000, 3, heard, Symptom::check});
  CHECK(std::equal(payload.begin(), payload.end(), stray.begin(), stray.end()));
  const auto fragment = write_fragment_header(0x1122334455667788, 44, 0, Part::whole, RecordKind::stray, stray);
  CHECK(fragment == std::array<std::uint8_t, 8>{0x70, 0x3a, 0x36, 0x3a, 0x0e, 0x00, 0x05, 0x51});
}

TEST_CASE("a block header is read back, and not with any one bit wrong") {
  const BlockHeader header{0x0123456789abcdef, 2, 7, 1'000'000'007, 6'912'000'000'000'000};
  auto bytes = write_block_header(header);
  const auto back = read_block_header(bytes);
  REQUIRE(back);
  CHECK(back->run_id == header.run_id);
  CHECK(back->segment == header.segment);
  CHECK(back->block == header.block);
  CHECK(back->first_record == header.first_record);
  CHECK(back->close_floor == header.close_floor);
  CHECK_FALSE(is_newer_block(bytes));
  for (std::size_t bit = 0; bit < 8 * bytes.size(); ++bit) {
    bytes[bit / 8] = static_cast<std::uint8_t>(bytes[bit / 8] ^ (1U << bit % 8));
    CHECK_FALSE(read_block_header(bytes));
    bytes[bit / 8] = static_cast<std::uint8_t>(bytes[bit / 8] ^ (1U << bit % 8));
  }
}

TEST_CASE("a fragment is good only where it was written, for the record it was written for") {
  const auto payload = bytes_of("a payload");
  const auto header = write_fragment_header(11, 1000, 5, Part::first, RecordKind::stray, payload);
  CHECK(fragment_is_good(11, 1000, 5, header, payload));
  CHECK_FALSE(fragment_is_good(12, 1000, 5, header, payload));
  CHECK_FALSE(fragment_is_good(11, 1001, 5, header, payload));
  CHECK_FALSE(fragment_is_good(11, 1000, 6, header, payload));
  CHECK_FALSE(fragment_is_good(11, 1000, 5, header, bytes_of("a payloae")));
  const auto read = read_fragment_header(header);
  REQUIRE(read);
  CHECK(read->length == 9);
  CHECK(read->part == Part::first);
  CHECK(read->kind == static_cast<std::uint8_t>(RecordKind::stray));
}

TEST_CASE("up to three wrong bits in a fragment's length and tag are found without reading the payload") {
  // CRC-8 0x2F has Hamming distance 4 up to 119 data bits (P. Koopman, T. Chakravarty, "Cyclic Redundancy Code (CRC)
  // Polynomial Selection for Embedded Networks", DSN 2004; from memory).
  const auto good = write_fragment_header(1, 44, 0, Part::whole, RecordKind::head, bytes_of("x"));
  const auto flipped = [&](std::initializer_list<std::size_t> bits) {
    auto bytes = good;
    for (const auto bit : bits) bytes[4 + bit / 8] = static_cast<std::uint8_t>(bytes[4 + bit / 8] ^ (1U << bit % 8));
    return read_fragment_header(bytes).has_value();
  };
  for (std::size_t a = 0; a < 32; ++a) {
    REQUIRE_FALSE(flipped({a}));
    for (std::size_t b = 0; b < a; ++b) {
      REQUIRE_FALSE(flipped({a, b}));
      for (std::size_t c = 0; c < b; ++c) REQUIRE_FALSE(flipped({a, b, c}));
    }
  }
}
