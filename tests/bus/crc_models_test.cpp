// Check values and residues of published CRC models, and longer published codewords.
//
// Models, check values and residues: G. Cook, "Catalogue of parametrised CRC algorithms" (reveng.sourceforge.io). The
// check value is the CRC of the nine characters "123456789"; the residue is the register after a valid codeword, before
// xorout.
#include <cstdint>
#include <string>
#include <vector>

#include "bus/crc.h"
#include "bus/crc_models.h"
#include "support/catch.h"

using hopbench::Crc;
using hopbench::CrcModel;

namespace {

struct Published {
  const char* name;
  CrcModel model;
  std::uint64_t check;
  std::uint64_t residue;
};

const std::vector<Published>& catalogue() {
  static const std::vector<Published> rows{
      {"CRC-8/SMBUS", {8, 0x07, 0x00, false, false, 0x00}, 0xF4, 0x00},
      {"CRC-8/SAE-J1850", {8, 0x1D, 0xFF, false, false, 0xFF}, 0x4B, 0xC4},
      {"CRC-8/AUTOSAR", {8, 0x2F, 0xFF, false, false, 0xFF}, 0xDF, 0x42},
      {"CRC-8/OPENSAFETY", {8, 0x2F, 0x00, false, false, 0x00}, 0x3E, 0x00},
      {"CRC-8/MAXIM-DOW", {8, 0x31, 0x00, true, true, 0x00}, 0xA1, 0x00},
      {"CRC-8/NRSC-5", {8, 0x31, 0xFF, false, false, 0x00}, 0xF7, 0x00},
      {"CRC-8/ROHC", {8, 0x07, 0xFF, true, true, 0x00}, 0xD0, 0x00},
      {"CRC-8/I-432-1", {8, 0x07, 0x00, false, false, 0x55}, 0xA1, 0xAC},
      {"CRC-8/DVB-S2", {8, 0xD5, 0x00, false, false, 0x00}, 0xBC, 0x00},
      {"CRC-8/BLUETOOTH", {8, 0xA7, 0x00, true, true, 0x00}, 0x26, 0x00},
      {"CRC-8/CDMA2000", {8, 0x9B, 0xFF, false, false, 0x00}, 0xDA, 0x00},
      {"CRC-8/WCDMA", {8, 0x9B, 0x00, true, true, 0x00}, 0x25, 0x00},
      {"CRC-8/DARC", {8, 0x39, 0x00, true, true, 0x00}, 0x15, 0x00},
      {"CRC-8/TECH-3250", {8, 0x1D, 0xFF, true, true, 0x00}, 0x97, 0x00},
      {"CRC-7/MMC", {7, 0x09, 0x00, false, false, 0x00}, 0x75, 0x00},
      {"CRC-5/USB", {5, 0x05, 0x1F, true, true, 0x1F}, 0x19, 0x06},
      {"CRC-12/UMTS", {12, 0x80F, 0x000, false, true, 0x000}, 0xDAF, 0x000},
      {"CRC-15/CAN", {15, 0x4599, 0x0000, false, false, 0x0000}, 0x059E, 0x0000},
      {"CRC-16/ARC", {16, 0x8005, 0x0000, true, true, 0x0000}, 0xBB3D, 0x0000},
      {"CRC-16/MODBUS", {16, 0x8005, 0xFFFF, true, true, 0x0000}, 0x4B37, 0x0000},
      {"CRC-16/USB", {16, 0x8005, 0xFFFF, true, true, 0xFFFF}, 0xB4C8, 0xB001},
      {"CRC-16/UMTS", {16, 0x8005, 0x0000, false, false, 0x0000}, 0xFEE8, 0x0000},
      {"CRC-16/XMODEM", {16, 0x1021, 0x0000, false, false, 0x0000}, 0x31C3, 0x0000},
      {"CRC-16/IBM-3740", {16, 0x1021, 0xFFFF, false, false, 0x0000}, 0x29B1, 0x0000},
      {"CRC-16/SPI-FUJITSU", {16, 0x1021, 0x1D0F, false, false, 0x0000}, 0xE5CC, 0x0000},
      {"CRC-16/GENIBUS", {16, 0x1021, 0xFFFF, false, false, 0xFFFF}, 0xD64E, 0x1D0F},
      {"CRC-16/KERMIT", {16, 0x1021, 0x0000, true, true, 0x0000}, 0x2189, 0x0000},
      {"CRC-16/IBM-SDLC", {16, 0x1021, 0xFFFF, true, true, 0xFFFF}, 0x906E, 0xF0B8},
      {"CRC-16/MCRF4XX", {16, 0x1021, 0xFFFF, true, true, 0x0000}, 0x6F91, 0x0000},
      {"CRC-16/DNP", {16, 0x3D65, 0x0000, true, true, 0xFFFF}, 0xEA82, 0x66C5},
      {"CRC-16/EN-13757", {16, 0x3D65, 0x0000, false, false, 0xFFFF}, 0xC2B7, 0xA366},
      {"CRC-16/OPENSAFETY-A", {16, 0x5935, 0x0000, false, false, 0x0000}, 0x5D38, 0x0000},
      {"CRC-16/OPENSAFETY-B", {16, 0x755B, 0x0000, false, false, 0x0000}, 0x20FE, 0x0000},
      {"CRC-16/CDMA2000", {16, 0xC867, 0xFFFF, false, false, 0x0000}, 0x4C06, 0x0000},
      {"CRC-16/T10-DIF", {16, 0x8BB7, 0x0000, false, false, 0x0000}, 0xD0DB, 0x0000},
      {"CRC-16/PROFIBUS", {16, 0x1DCF, 0xFFFF, false, false, 0xFFFF}, 0xA819, 0xE394},
      {"CRC-17/CAN-FD", {17, 0x1685B, 0x00000, false, false, 0x00000}, 0x04F03, 0x00000},
      {"CRC-21/CAN-FD", {21, 0x102899, 0x000000, false, false, 0x000000}, 0x0ED841, 0x000000},
      {"CRC-24/OPENPGP", {24, 0x864CFB, 0xB704CE, false, false, 0x000000}, 0x21CF02, 0x000000},
      {"CRC-32/ISO-HDLC", {32, 0x04C11DB7, 0xFFFFFFFF, true, true, 0xFFFFFFFF}, 0xCBF43926, 0xDEBB20E3},
      {"CRC-32/BZIP2", {32, 0x04C11DB7, 0xFFFFFFFF, false, false, 0xFFFFFFFF}, 0xFC891918, 0xC704DD7B},
      {"CRC-32/MPEG-2", {32, 0x04C11DB7, 0xFFFFFFFF, false, false, 0x00000000}, 0x0376E6E7, 0x00000000},
      {"CRC-32/CKSUM", {32, 0x04C11DB7, 0x00000000, false, false, 0xFFFFFFFF}, 0x765E7680, 0xC704DD7B},
      {"CRC-32/JAMCRC", {32, 0x04C11DB7, 0xFFFFFFFF, true, true, 0x00000000}, 0x340BC6D9, 0x00000000},
      {"CRC-32/ISCSI", {32, 0x1EDC6F41, 0xFFFFFFFF, true, true, 0xFFFFFFFF}, 0xE3069283, 0xB798B438},
      {"CRC-32/AUTOSAR", {32, 0xF4ACFB13, 0xFFFFFFFF, true, true, 0xFFFFFFFF}, 0x1697D06A, 0x904CDDBF},
      {"CRC-64/XZ",
       {64, 0x42F0E1EBA9EA3693, 0xFFFFFFFFFFFFFFFF, true, true, 0xFFFFFFFFFFFFFFFF},
       0x995DC9BBDF1939FA,
       0x49958C9ABD7D353F},
  };
  return rows;
}

std::vector<std::uint8_t> digits() {
  const std::string text = "123456789";
  return {text.begin(), text.end()};
}

std::vector<std::uint8_t> bytes_of_hex(const std::string& hex) {
  std::vector<std::uint8_t> bytes;
  for (std::size_t i = 0; i + 1 < hex.size(); i += 2)
    bytes.push_back(static_cast<std::uint8_t>(std::stoul(hex.substr(i, 2), nullptr, 16)));
  return bytes;
}

}  // namespace

TEST_CASE("every model of the catalogue gives its check value") {
  REQUIRE(catalogue().size() == 47);
  for (const Published& row : catalogue()) {
    INFO(row.name);
    CHECK(Crc(row.model).of(digits()) == row.check);
  }
}

TEST_CASE("models by name are those of the catalogue") {
  std::size_t published = 0;
  for (const hopbench::NamedCrc& named : hopbench::named_crcs()) {
    INFO(named.name);
    CHECK(Crc(named.model).of(digits()) == named.check);
    CHECK(hopbench::crc_named(named.name) == &named);
    if (!named.other_name.empty()) CHECK(hopbench::crc_named(named.other_name) == &named);
    for (const Published& row : catalogue()) {
      if (row.name != named.name) continue;
      ++published;
      CHECK(row.model == named.model);
      CHECK(row.check == named.check);
    }
  }
  CHECK(published == catalogue().size() - 6);  // six bear the name of a maker or a part
  CHECK(hopbench::crc_named("CRC-16/NOWHERE") == nullptr);
  CHECK(hopbench::crc_named("") == nullptr);
}

TEST_CASE("a codeword fed in whole leaves the published residue") {
  // For widths of whole bytes; the CRC follows low byte first if refout, else high byte first.
  int tried = 0;
  for (const Published& row : catalogue()) {
    if (row.model.width % 8 != 0) continue;
    ++tried;
    INFO(row.name);
    const Crc crc(row.model);
    std::vector<std::uint8_t> codeword = digits();
    const std::uint64_t check = crc.of(codeword);
    const std::uint32_t bytes = row.model.width / 8;
    for (std::uint32_t i = 0; i < bytes; ++i) {
      const std::uint32_t shift = 8 * (row.model.refout ? i : bytes - 1 - i);
      codeword.push_back(static_cast<std::uint8_t>(check >> shift));
    }
    CHECK((crc.of(codeword) ^ row.model.xorout) == row.residue);
  }
  CHECK(tried == 41);
}

TEST_CASE("published longer codewords of CRC-16/ARC agree") {
  // AUTOSAR Classic, "Specification of CRC Routines", R22-11, section 7.2.2.2; CRC low byte first.
  const std::vector<std::pair<std::string, std::string>> codewords{
      {"00000000", "0000"},           {"F20183", "E1C2"}, {"0FAA0055", "E30B"}, {"00FF5511", "CF6C"},
      {"332255AABBCCDDEEFF", "98AE"}, {"926B55", "4EE2"}, {"FFFFFFFF", "0194"}};
  const Crc arc({.width = 16, .poly = 0x8005, .init = 0, .refin = true, .refout = true, .xorout = 0});
  for (const auto& [message, check] : codewords) {
    INFO(message);
    const auto low_first = bytes_of_hex(check);
    CHECK(arc.of(bytes_of_hex(message)) == (static_cast<std::uint64_t>(low_first[1]) << 8U | low_first[0]));
  }
}

TEST_CASE("a CRC in pieces is the CRC of the whole") {
  for (const Published& row : catalogue()) {
    INFO(row.name);
    const Crc crc(row.model);
    const auto text = digits();
    for (std::size_t cut = 0; cut <= text.size(); ++cut) {
      std::uint64_t state = crc.begin();
      state = crc.feed(state, std::span(text).first(cut));
      state = crc.feed(state, std::span(text).subspan(cut));
      CHECK(crc.end(state) == row.check);
    }
  }
}
