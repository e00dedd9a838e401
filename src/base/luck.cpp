#include "base/luck.h"

#include <Random123/philox.h>

#include "base/integer_log.h"

namespace hopbench {
namespace {

constexpr std::uint64_t fnv_prime = 0x100000001b3U;

std::array<std::uint64_t, 2> philox(std::uint64_t key, std::uint64_t hi, std::uint64_t lo) {
  const r123::Philox4x32::ctr_type counter = {{static_cast<std::uint32_t>(lo), static_cast<std::uint32_t>(lo >> 32U),
                                               static_cast<std::uint32_t>(hi), static_cast<std::uint32_t>(hi >> 32U)}};
  const r123::Philox4x32::key_type words = {{static_cast<std::uint32_t>(key), static_cast<std::uint32_t>(key >> 32U)}};
  const auto out = r123::Philox4x32{}(counter, words);
  return {out[0] | (static_cast<std::uint64_t>(out[1]) << 32U), out[2] | (static_cast<std::uint64_t>(out[3]) << 32U)};
}

}  // namespace

std::uint64_t name_hash(std::string_view name, std::uint64_t seed_hash) {
  std::uint64_t hash = seed_hash;
  for (const char c : name) hash = (hash ^ static_cast<unsigned char>(c)) * fnv_prime;
  return hash;
}

std::uint64_t name_hash(std::uint64_t part, std::uint64_t seed_hash) {
  std::uint64_t hash = seed_hash;
  for (unsigned shift = 0; shift < 64; shift += 8) hash = (hash ^ ((part >> shift) & 0xffU)) * fnv_prime;
  return hash;
}

StreamKey Luck::stream(std::uint64_t entity_hash, Purpose purpose, std::uint64_t sub) const {
  const std::uint64_t what = name_hash(sub, name_hash(static_cast<std::uint64_t>(purpose), entity_hash));
  return {philox(seed_, what, 0)[0]};
}

std::array<std::uint64_t, 2> draw2(StreamKey stream, std::uint64_t index, std::uint64_t ordinal) {
  return philox(stream.k, index, ordinal);
}

std::int64_t exponential(std::int64_t mean, std::uint64_t random_bits) {
  const std::uint64_t log = negative_log_q56(random_bits == 0 ? 1 : random_bits);
  return static_cast<std::int64_t>((static_cast<unsigned __int128>(mean) * log) >> 56U);
}

}  // namespace hopbench
