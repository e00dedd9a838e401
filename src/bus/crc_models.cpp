#include "bus/crc_models.h"

#include <array>

namespace hopbench {
namespace {

constexpr auto models = std::to_array<NamedCrc>({
    {"CRC-4/G-704", "", {4, 0x3, 0x0, true, true, 0x0}, 0x7},
    {"CRC-5/G-704", "", {5, 0x15, 0x00, true, true, 0x00}, 0x07},
    {"CRC-5/USB", "", {5, 0x05, 0x1F, true, true, 0x1F}, 0x19},
    {"CRC-6/G-704", "", {6, 0x03, 0x00, true, true, 0x00}, 0x06},
    {"CRC-7/MMC", "", {7, 0x09, 0x00, false, false, 0x00}, 0x75},
    {"CRC-8/AUTOSAR", "", {8, 0x2F, 0xFF, false, false, 0xFF}, 0xDF},
    {"CRC-8/CDMA2000", "", {8, 0x9B, 0xFF, false, false, 0x00}, 0xDA},
    {"CRC-8/DARC", "", {8, 0x39, 0x00, true, true, 0x00}, 0x15},
    {"CRC-8/DVB-S2", "", {8, 0xD5, 0x00, false, false, 0x00}, 0xBC},
    {"CRC-8/I-432-1", "", {8, 0x07, 0x00, false, false, 0x55}, 0xA1},
    {"CRC-8/LTE", "", {8, 0x9B, 0x00, false, false, 0x00}, 0xEA},
    {"CRC-8/NRSC-5", "", {8, 0x31, 0xFF, false, false, 0x00}, 0xF7},
    {"CRC-8/OPENSAFETY", "", {8, 0x2F, 0x00, false, false, 0x00}, 0x3E},
    {"CRC-8/ROHC", "", {8, 0x07, 0xFF, true, true, 0x00}, 0xD0},
    {"CRC-8/SAE-J1850", "", {8, 0x1D, 0xFF, false, false, 0xFF}, 0x4B},
    {"CRC-8/SMBUS", "CRC-8", {8, 0x07, 0x00, false, false, 0x00}, 0xF4},
    {"CRC-8/TECH-3250", "", {8, 0x1D, 0xFF, true, true, 0x00}, 0x97},
    {"CRC-8/WCDMA", "", {8, 0x9B, 0x00, true, true, 0x00}, 0x25},
    {"CRC-10/ATM", "", {10, 0x233, 0x000, false, false, 0x000}, 0x199},
    {"CRC-11/UMTS", "", {11, 0x307, 0x000, false, false, 0x000}, 0x061},
    {"CRC-12/UMTS", "", {12, 0x80F, 0x000, false, true, 0x000}, 0xDAF},
    {"CRC-15/CAN", "", {15, 0x4599, 0x0000, false, false, 0x0000}, 0x059E},
    {"CRC-16/ARC", "CRC-16", {16, 0x8005, 0x0000, true, true, 0x0000}, 0xBB3D},
    {"CRC-16/CCITT-FALSE", "", {16, 0x1021, 0xFFFF, false, false, 0x0000}, 0x29B1},
    {"CRC-16/CDMA2000", "", {16, 0xC867, 0xFFFF, false, false, 0x0000}, 0x4C06},
    {"CRC-16/CMS", "", {16, 0x8005, 0xFFFF, false, false, 0x0000}, 0xAEE7},
    {"CRC-16/DNP", "", {16, 0x3D65, 0x0000, true, true, 0xFFFF}, 0xEA82},
    {"CRC-16/EN-13757", "", {16, 0x3D65, 0x0000, false, false, 0xFFFF}, 0xC2B7},
    {"CRC-16/GENIBUS", "", {16, 0x1021, 0xFFFF, false, false, 0xFFFF}, 0xD64E},
    {"CRC-16/GSM", "", {16, 0x1021, 0x0000, false, false, 0xFFFF}, 0xCE3C},
    {"CRC-16/ISO-HDLC", "CRC-16/X-25", {16, 0x1021, 0xFFFF, true, true, 0xFFFF}, 0x906E},
    {"CRC-16/ISO-IEC-14443-3-A", "", {16, 0x1021, 0xC6C6, true, true, 0x0000}, 0xBF05},
    {"CRC-16/KERMIT", "CRC-16/CCITT-TRUE", {16, 0x1021, 0x0000, true, true, 0x0000}, 0x2189},
    {"CRC-16/MODBUS", "", {16, 0x8005, 0xFFFF, true, true, 0x0000}, 0x4B37},
    {"CRC-16/OPENSAFETY-A", "", {16, 0x5935, 0x0000, false, false, 0x0000}, 0x5D38},
    {"CRC-16/OPENSAFETY-B", "", {16, 0x755B, 0x0000, false, false, 0x0000}, 0x20FE},
    {"CRC-16/PROFIBUS", "", {16, 0x1DCF, 0xFFFF, false, false, 0xFFFF}, 0xA819},
    {"CRC-16/T10-DIF", "", {16, 0x8BB7, 0x0000, false, false, 0x0000}, 0xD0DB},
    {"CRC-16/UMTS", "", {16, 0x8005, 0x0000, false, false, 0x0000}, 0xFEE8},
    {"CRC-16/USB", "", {16, 0x8005, 0xFFFF, true, true, 0xFFFF}, 0xB4C8},
    {"CRC-16/XMODEM", "", {16, 0x1021, 0x0000, false, false, 0x0000}, 0x31C3},
    {"CRC-17/CAN-FD", "", {17, 0x1685B, 0x00000, false, false, 0x00000}, 0x04F03},
    {"CRC-21/CAN-FD", "", {21, 0x102899, 0x000000, false, false, 0x000000}, 0x0ED841},
    {"CRC-24/LTE-A", "", {24, 0x864CFB, 0x000000, false, false, 0x000000}, 0xCDE703},
    {"CRC-24/OPENPGP", "", {24, 0x864CFB, 0xB704CE, false, false, 0x000000}, 0x21CF02},
    {"CRC-32/AIXM", "", {32, 0x814141AB, 0x00000000, false, false, 0x00000000}, 0x3010BF7F},
    {"CRC-32/AUTOSAR", "", {32, 0xF4ACFB13, 0xFFFFFFFF, true, true, 0xFFFFFFFF}, 0x1697D06A},
    {"CRC-32/BZIP2", "", {32, 0x04C11DB7, 0xFFFFFFFF, false, false, 0xFFFFFFFF}, 0xFC891918},
    {"CRC-32/CKSUM", "CRC-32/POSIX", {32, 0x04C11DB7, 0x00000000, false, false, 0xFFFFFFFF}, 0x765E7680},
    {"CRC-32/ISCSI", "CRC-32C", {32, 0x1EDC6F41, 0xFFFFFFFF, true, true, 0xFFFFFFFF}, 0xE3069283},
    {"CRC-32/ISO-HDLC", "CRC-32", {32, 0x04C11DB7, 0xFFFFFFFF, true, true, 0xFFFFFFFF}, 0xCBF43926},
    {"CRC-32/JAMCRC", "", {32, 0x04C11DB7, 0xFFFFFFFF, true, true, 0x00000000}, 0x340BC6D9},
    {"CRC-32/MPEG-2", "", {32, 0x04C11DB7, 0xFFFFFFFF, false, false, 0x00000000}, 0x0376E6E7},
    {"CRC-64/XZ", "", {64, 0x42F0E1EBA9EA3693, 0xFFFFFFFFFFFFFFFF, true, true, 0xFFFFFFFFFFFFFFFF}, 0x995DC9BBDF1939FA},
});

}  // namespace

std::span<const NamedCrc> named_crcs() { return models; }

const NamedCrc* crc_named(std::string_view name) {
  for (const NamedCrc& each : models) {
    if (!name.empty() && (each.name == name || each.other_name == name)) return &each;
  }
  return nullptr;
}

const NamedCrc* name_of_crc(const CrcModel& model) {
  for (const NamedCrc& each : models) {
    if (each.model == model) return &each;
  }
  return nullptr;
}

}  // namespace hopbench
