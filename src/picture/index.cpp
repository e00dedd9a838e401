#include "picture/index.h"

#include <algorithm>
#include <array>
#include <string_view>

#include "base/varint.h"
#include "record/byte_source.h"
#include "record/crc32c.h"
#include "record/new_file.h"

namespace hopbench {
namespace {

constexpr std::array<std::uint8_t, 8> magic{'h', 'o', 'p', 's', 'l', 'i', 'c', 'e'};
constexpr std::uint64_t version = 5;
constexpr std::uint64_t largest_file = 512ULL << 20U;
constexpr std::uint64_t longest_program = 64;

std::uint64_t wide(std::int64_t value) { return folded(value); }

/// A count by itself if the others are all 0, else all of them.
template <std::size_t N>
void put_counts(const std::array<std::uint32_t, N>& counts, VarintWriter& out) {
  const bool plain = std::all_of(counts.begin() + 1, counts.end(), [](std::uint32_t count) { return count == 0; });
  out.put((std::uint64_t{counts[0]} << 1U) | (plain ? 0U : 1U));
  if (plain) return;
  for (std::size_t i = 1; i < N; ++i) out.put(counts[i]);
}

template <std::size_t N>
void get_counts(std::array<std::uint32_t, N>& counts, VarintReader& in) {
  const auto head = in.get(0x1ffffffffULL);
  counts = {static_cast<std::uint32_t>(head >> 1U)};
  if ((head & 1U) == 0) return;
  for (std::size_t i = 1; i < N; ++i) counts[i] = static_cast<std::uint32_t>(in.get(~0U));
}

/// The lower end of each bucket that is not empty, and the largest value: the other ends follow from these.
void put_histogram(const Histogram& times, VarintWriter& out) {
  std::uint64_t buckets = 0;
  times.each_bucket([&](Nanos, Nanos, std::uint64_t) { ++buckets; });
  out.put(buckets);
  if (buckets == 0) return;
  out.put(static_cast<std::uint64_t>(*times.most()));
  Nanos before = 0;
  times.each_bucket([&](Nanos low, Nanos, std::uint64_t count) {
    out.put(static_cast<std::uint64_t>(low - before));
    out.put(count);
    before = low;
  });
}

void get_histogram(Histogram& times, VarintReader& in) {
  constexpr std::uint64_t most_buckets = 8192;
  const auto buckets = in.get(most_buckets);
  if (buckets == 0) return;
  const std::uint64_t most = in.get(std::uint64_t{never});
  std::uint64_t low = 0;
  for (std::uint64_t i = 0; i < buckets; ++i) {
    low += in.get(most - low);
    const auto count = in.get();
    if (count == 0) in.fail();
    if (!in.good()) return;
    // The largest value is one of those in the last bucket.
    const std::uint64_t largest = i + 1 == buckets ? 1 : 0;
    if (count > largest) times.add(static_cast<Nanos>(low), count - largest);
    if (largest > 0) times.add(static_cast<Nanos>(most));
  }
}

void put_tried(const TriesMade& tried, VarintWriter& out) {
  put_counts(tried.by_outcome, out);
  for (std::size_t i = 0; i < tried.stations.size(); ++i) {
    const auto cell = tried.stations[i];
    out.put(cell.tries);
    out.put(cell.failed);
    put_counts(cell.troubles, out);
  }
}

void get_tried(TriesMade& tried, VarintReader& in) {
  get_counts(tried.by_outcome, in);
  for (std::size_t i = 0; i < tried.stations.size(); ++i) {
    StationCell cell;
    cell.tries = static_cast<std::uint32_t>(in.get(~0U));
    cell.failed = static_cast<std::uint32_t>(in.get(~0U));
    get_counts(cell.troubles, in);
    tried.stations.set(i, cell);
  }
}

void put_slice(const Slice& slice, VarintWriter& out) {
  out.put(slice.exchanges);
  put_tried(slice.tried, out);
  put_histogram(slice.trips, out);
  out.put((std::uint64_t{slice.missing} << 1U) | (slice.known ? 1U : 0U));
  if (slice.known) {
    out.put(slice.cells_balancing);
    out.put(wide(slice.charge_ma));
    out.put(wide(slice.board_mc));
  }
  for (std::size_t i = 0; i < slice.links.size(); ++i) put_counts(slice.links[i].seen, out);
}

Nanos get_span(VarintReader& in) {
  const auto span = static_cast<Nanos>(in.get(2 * farthest_instant));
  if (!is_slice_span(span)) in.fail();
  return in.good() ? span : slice_spans.front();
}

/// The number of a span of this length, as slot_of() gives it.
std::int64_t get_slot(VarintReader& in, Nanos span) {
  const std::int64_t slot = unfolded(in.get());
  if (slot < slot_of(-farthest_instant, span) || slot > slot_of(farthest_instant, span)) in.fail();
  return in.good() ? slot : 0;
}

std::int32_t get_int(VarintReader& in) { return static_cast<std::int32_t>(unfolded(in.get(~0U))); }

void get_slice(Slice& slice, VarintReader& in) {
  slice.exchanges = static_cast<std::uint32_t>(in.get(~0U));
  get_tried(slice.tried, in);
  get_histogram(slice.trips, in);
  const auto flags = in.get(0x1f);
  slice.missing = static_cast<std::uint8_t>(flags >> 1U);
  slice.known = (flags & 1U) != 0;
  if (slice.known) {
    slice.cells_balancing = static_cast<std::uint32_t>(in.get(~0U));
    slice.charge_ma = get_int(in);
    slice.board_mc = get_int(in);
  }
  for (std::size_t i = 0; i < slice.links.size(); ++i) {
    LinkCell cell;
    get_counts(cell.seen, in);
    slice.links.set(i, cell);
  }
}

void put_nodes(const std::vector<NodeState>& nodes, VarintWriter& out) {
  out.put(nodes.size());
  for (const auto& node : nodes) {
    out.put(wide(node.board_mc));
    out.put(wide(node.supply_mv));
    out.put(wide(node.clock_ppb));
    out.put(node.flags);
  }
}

std::vector<NodeState> get_nodes(std::size_t most, VarintReader& in) {
  std::vector<NodeState> nodes(in.get(most));
  for (auto& node : nodes) node = {get_int(in), get_int(in), get_int(in), static_cast<std::uint32_t>(in.get(~0U))};
  return nodes;
}

void put_part(const RunPart& part, VarintWriter& out) {
  std::vector<std::uint8_t> measures;
  part.measures.serialise(measures);
  out.put(measures.size());
  out.bytes(measures);
  for (const auto& times : part.stays) {
    put_histogram(times.passing, out);
    put_histogram(times.answering, out);
  }
  put_tried(part.tried, out);
  put_nodes(part.nodes, out);
}

bool get_part(RunPart& part, const RunInfo& run, VarintReader& in) {
  const auto bytes = in.bytes(in.get(largest_file));
  if (!in.good() || !Measures::parse(bytes, part.measures)) return false;
  if (part.measures.links.size() != run.links.size()) return false;
  part.size_for(run);
  for (auto& times : part.stays) {
    get_histogram(times.passing, in);
    get_histogram(times.answering, in);
  }
  get_tried(part.tried, in);
  part.nodes = get_nodes(run.nodes.size(), in);
  return in.good();
}

void put_damage(const CaptureDamage& damage, VarintWriter& out) {
  out.put(damage.bytes_skipped);
  out.put(damage.records_missing);
  out.put(damage.torn_before);
  out.put(damage.segments_missing);
  out.put(damage.segments_misplaced);
  out.put(damage.segments_cut);
  out.put(damage.first_bad_segment ? *damage.first_bad_segment + std::uint64_t{1} : 0);
  out.put(damage.causes_unreadable);
  out.put((damage.sum_disagrees ? 1U : 0U) | (damage.newer ? 2U : 0U));
}

CaptureDamage get_damage(VarintReader& in) {
  CaptureDamage damage;
  damage.bytes_skipped = in.get();
  damage.records_missing = in.get();
  damage.torn_bytes = damage.torn_before = in.get();
  damage.segments_missing = in.get();
  damage.segments_misplaced = in.get();
  damage.segments_cut = in.get();
  if (const auto first = in.get(std::uint64_t{1} << 32U); first > 0) {
    damage.first_bad_segment = static_cast<std::uint32_t>(first - 1);
  }
  damage.causes_unreadable = in.get();
  const auto flags = in.get(3);
  damage.sum_disagrees = (flags & 1U) != 0;
  damage.newer = (flags & 2U) != 0;
  return damage;
}

void put_text(std::string_view text, VarintWriter& out) {
  out.put(text.size());
  out.bytes({reinterpret_cast<const std::uint8_t*>(text.data()), text.size()});
}

std::string get_text(VarintReader& in) {
  const auto bytes = in.bytes(in.get(longest_program));
  return {bytes.begin(), bytes.end()};
}

}  // namespace

class IndexCodec {
 public:
  static void write(const Slices& slices, VarintWriter& out) {
    out.put(slices.begun_ ? 1 : 0);
    out.put(wide(slices.from_));
    out.put(wide(slices.until_));
    out.put(static_cast<std::uint64_t>(slices.span_));
    out.put(wide(slices.first_));
    out.put(slices.slices_.size());
    for (const auto& slice : slices.slices_) put_slice(slice, out);
    out.put(static_cast<std::uint64_t>(slices.part_span_));
    out.put(wide(slices.part_slot_));
    // The current part goes in as one that is held: more of it is added to it later.
    auto parts = slices.parts_;
    if (!parts.empty() && parts.back().slot == slices.part_slot_) {
      parts.back().part.add(slices.current_part());
    } else {
      parts.push_back({slices.part_slot_, slices.current_part()});
    }
    out.put(parts.size());
    for (const auto& held : parts) {
      out.put(wide(held.slot));
      put_part(held.part, out);
    }
    out.put(slices.known_ ? 1 : 0);
    out.put(wide(slices.since_));
    out.put(slices.cells_balancing_);
    out.put(wide(slices.charge_ma_));
    out.put(wide(slices.board_mc_));
    put_nodes(slices.nodes_, out);
  }

  static bool read(const RunInfo& run, VarintReader& in, Slices& slices) {
    slices.begun_ = in.get(1) != 0;
    slices.from_ = get_slot(in, 1);
    slices.until_ = get_slot(in, 1);
    slices.span_ = get_span(in);
    slices.first_ = get_slot(in, slices.span_);
    const auto count = in.get(slices.bounds_.slices);
    for (std::uint64_t i = 0; i < count && in.good(); ++i) {
      slices.slices_.emplace_back().size_for(run);
      get_slice(slices.slices_.back(), in);
    }
    slices.part_span_ = get_span(in);
    slices.part_slot_ = get_slot(in, slices.part_span_);
    const auto parts = in.get(slices.bounds_.parts + 1);
    for (std::uint64_t i = 0; i < parts && in.good(); ++i) {
      Slices::Held held;
      held.slot = get_slot(in, slices.part_span_);
      const bool rising = slices.parts_.empty() || held.slot > slices.parts_.back().slot;
      if (!rising || held.slot > slices.part_slot_ || !get_part(held.part, run, in)) return false;
      slices.parts_.push_back(std::move(held));
    }
    slices.known_ = in.get(1) != 0;
    slices.since_ = get_slot(in, 1);
    slices.cells_balancing_ = static_cast<std::uint32_t>(in.get(~0U));
    slices.charge_ma_ = get_int(in);
    slices.board_mc_ = get_int(in);
    slices.nodes_ = get_nodes(run.nodes.size(), in);
    return in.good() && in.left() == 0;
  }
};

std::string index_path(const std::string& capture) { return capture + ".slices"; }

std::vector<std::uint8_t> index_bytes(const Slices& slices, const IndexPlace& place) {
  std::vector<std::uint8_t> bytes(magic.begin(), magic.end());
  VarintWriter out(bytes);
  out.put(version);
  out.put(place.run_id);
  out.put(wide(place.closed));
  out.put(place.number);
  out.put(place.ended ? 1 : 0);
  put_damage(place.damage, out);
  put_marks(place.marks, out);
  put_text(std::string_view(place.program).substr(0, longest_program), out);
  out.put(slices.run().links.size());
  IndexCodec::write(slices, out);
  const std::uint32_t crc = Crc32c().feed(bytes).value();
  for (unsigned shift = 0; shift < 32; shift += 8) bytes.push_back(static_cast<std::uint8_t>(crc >> shift));
  return bytes;
}

bool read_index(std::span<const std::uint8_t> bytes, const RunInfo& run, std::uint64_t run_id, Slices& slices,
                IndexPlace& place) {
  slices.begin(run);
  if (bytes.size() < magic.size() + 4 || !std::equal(magic.begin(), magic.end(), bytes.begin())) return false;
  std::uint32_t crc = 0;
  for (unsigned i = 0; i < 4; ++i) crc |= std::uint32_t{bytes[bytes.size() - 4 + i]} << (8 * i);
  bytes = bytes.first(bytes.size() - 4);
  if (Crc32c().feed(bytes).value() != crc) return false;
  VarintReader in(bytes.subspan(magic.size()));
  if (in.get() != version) return false;
  IndexPlace read;
  read.run_id = in.get();
  read.closed = unfolded(in.get());
  read.number = in.get();
  read.ended = in.get(1) != 0;
  read.damage = get_damage(in);
  read.marks = get_marks(in);
  read.program = get_text(in);
  if (in.get() != run.links.size() || !in.good() || read.run_id != run_id || !IndexCodec::read(run, in, slices)) {
    slices.begin(run);
    return false;
  }
  place = read;
  return true;
}

bool load_index(const std::string& path, const RunInfo& run, std::uint64_t run_id, Slices& slices, IndexPlace& place) {
  std::string why;
  const auto file = open_file(path, why);
  if (!file || file->size() > largest_file) return false;
  std::vector<std::uint8_t> bytes(static_cast<std::size_t>(file->size()));
  return file->read(0, bytes) == bytes.size() && read_index(bytes, run, run_id, slices, place);
}

bool save_index(const std::string& path, const Slices& slices, const IndexPlace& place) {
  // What somebody put there to be written to is no index.
  return !is_device(path) && write_new_file(path, index_bytes(slices, place), true) == 0;
}

}  // namespace hopbench
