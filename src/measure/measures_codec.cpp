// Measures as bytes. What most exchanges of most chains have in common (one try, answered, every frame heard well)
// costs one bit; what can be reckoned from the rest is not written.
#include <algorithm>

#include "base/varint.h"
#include "measure/measures.h"

namespace hopbench {

// Larger than any chain, small enough that nothing read takes much memory.
constexpr std::uint64_t most_links = 4096;
constexpr std::uint64_t most_nodes = 4097;
constexpr std::uint64_t most_topics = 4096;
constexpr std::uint64_t most_name_bytes = 256;
constexpr std::uint64_t most_groups = 65536;
constexpr std::uint64_t most_runs = 1'000'000;
// Of any count: sums of a great many of them stay within their type.
constexpr std::uint64_t most_counted = std::uint64_t{1} << 48U;
/// Doublings that have room for their buckets, over all histograms: 1 KiB each.
constexpr std::size_t most_doublings = 32768;
constexpr std::uint64_t version = 2;
/// Outcomes that version 1 knew.
constexpr std::size_t outcomes_of_version_1 = 8;

class HistogramCodec {
 public:
  /// `expected`: a count known from elsewhere, usually the number of values.
  static void put(const Histogram& histogram, std::uint64_t expected, VarintWriter& out) {
    std::uint64_t filled = 0;
    std::size_t lowest = 0;
    std::size_t highest = 0;
    histogram.each([&](std::size_t bucket, std::uint64_t) {
      if (filled++ == 0) lowest = bucket;
      highest = bucket;
    });
    const bool as_expected = histogram.count_ == expected;
    out.put((filled << 1U) | (as_expected ? 1U : 0U));
    if (filled == 0) return;
    std::size_t next = 0;
    histogram.each([&](std::size_t bucket, std::uint64_t count) {
      out.put(bucket - next);
      next = bucket + 1;
      if (bucket != highest || !as_expected) out.put(count);
    });
    out.put(offset(histogram.least_, histogram.low_of(lowest)));
    out.put(offset(histogram.most_, std::max(histogram.least_, histogram.low_of(highest))));
  }

  static bool get(Histogram& histogram, std::uint64_t expected, std::size_t& doublings, VarintReader& in) {
    histogram.recent_ = {};
    const std::uint64_t head = in.get(2 * histogram.bucket_count() + 1);
    const bool as_expected = (head & 1U) != 0;
    const std::uint64_t filled = head >> 1U;
    if (filled == 0) return in.good() && as_expected == (expected == 0);
    std::size_t next = 0;
    std::size_t lowest = 0;
    std::uint64_t sum = 0;
    for (std::uint64_t i = 0; i < filled; ++i) {
      const std::size_t bucket = next + in.get(histogram.bucket_count());
      if (!in.good() || bucket >= histogram.bucket_count()) return false;
      const bool reckoned = as_expected && i + 1 == filled;
      if (reckoned && expected <= sum) return false;
      const std::uint64_t count = reckoned ? expected - sum : in.get(most_counted);
      if (count == 0 || count > most_counted) return false;
      const auto room = histogram.buckets_.size();
      histogram.at(bucket) = count;
      if (histogram.buckets_.size() != room && doublings-- == 0) return false;
      sum += count;
      if (i == 0) lowest = bucket;
      next = bucket + 1;
    }
    const std::size_t highest = next - 1;
    histogram.count_ = sum;
    const std::int64_t low = histogram.low_of(lowest);
    if (!get_offset(in, low, histogram.high_of(lowest), histogram.least_)) return false;
    const std::int64_t from = std::max(histogram.least_, histogram.low_of(highest));
    return get_offset(in, from, histogram.high_of(highest), histogram.most_) && (as_expected || sum != expected);
  }

 private:
  static std::uint64_t offset(std::int64_t value, std::int64_t from) {
    return static_cast<std::uint64_t>(value) - static_cast<std::uint64_t>(from);
  }
  static bool get_offset(VarintReader& in, std::int64_t low, std::int64_t high, std::int64_t& value) {
    value = low + static_cast<std::int64_t>(in.get(static_cast<std::uint64_t>(high - low)));
    return in.good();
  }
};

namespace {

Nanos get_instant(VarintReader& in, Nanos base) {
  const Nanos at = in.get_relative(base);
  if (!is_instant(at)) in.fail();
  return at;
}

/// Not negative, and no longer than between two instants.
Nanos get_span(VarintReader& in, Nanos base) {
  const Nanos span = in.get_relative(base);
  if (span < 0 || span > 2 * farthest_instant) in.fail();
  return span;
}

// ---- exchanges ----

bool counts_equal(const ExchangeMeasures& a, const ExchangeMeasures& b) {
  return a.asked == b.asked && a.tries == b.tries && a.outcomes == b.outcomes && a.round_trip == b.round_trip;
}

void put(const ExchangeMeasures& m, VarintWriter& out) {
  const bool plain = m.tries == m.asked && m[Outcome::answered] == m.asked &&
                     std::all_of(m.outcomes.begin() + 1, m.outcomes.end(), [](auto count) { return count == 0; });
  out.put((m.asked << 1U) | (plain ? 0U : 1U));
  if (!plain) {
    out.put(m.tries);
    for (const auto count : m.outcomes) out.put(count);
  }
  HistogramCodec::put(m.round_trip, m.asked, out);
}

bool get(ExchangeMeasures& m, std::size_t outcomes, std::size_t& doublings, VarintReader& in) {
  const std::uint64_t head = in.get(2 * most_counted + 1);
  m.asked = head >> 1U;
  m.tries = m.asked;
  m.outcomes[0] = m.asked;
  if ((head & 1U) != 0) {
    m.tries = in.get(most_counted);
    std::uint64_t sum = 0;
    for (std::size_t i = 0; i < outcomes; ++i) sum += m.outcomes[i] = in.get(most_counted);
    if (sum > m.asked) return false;
  }
  return in.good() && HistogramCodec::get(m.round_trip, m.asked, doublings, in) && m.round_trip.count() <= m.asked;
}

ExchangeMeasures sum_of(const std::vector<ExchangeMeasures>& parts) {
  ExchangeMeasures sum;
  for (const auto& part : parts) sum.merge(part);
  return sum;
}

// ---- links ----

void put(const LinkMeasures& m, VarintWriter& out) {
  const bool plain = m.frames_out == m.frames_in && m.symptoms[0] == m.frames_in && m.came_damaged == 0 &&
                     m.strays == 0 &&
                     std::all_of(m.symptoms.begin() + 1, m.symptoms.end(), [](auto count) { return count == 0; });
  out.put((m.frames_in << 1U) | (plain ? 0U : 1U));
  if (!plain) {
    out.put(m.frames_out);
    out.put(m.came_damaged);
    out.put(m.strays);
    for (const auto count : m.symptoms) out.put(count);
  }
  HistogramCodec::put(m.transit, m.frames_out, out);
}

bool get(LinkMeasures& m, std::size_t& doublings, VarintReader& in) {
  const std::uint64_t head = in.get(2 * most_counted + 1);
  m.frames_in = head >> 1U;
  m.frames_out = m.frames_in;
  m.symptoms[0] = m.frames_in;
  if ((head & 1U) != 0) {
    m.frames_out = in.get(m.frames_in);
    m.came_damaged = in.get(most_counted);
    m.strays = in.get(most_counted);
    std::uint64_t sum = 0;
    for (auto& count : m.symptoms) sum += count = in.get(most_counted);
    if (sum > m.frames_in) return false;
  }
  return in.good() && HistogramCodec::get(m.transit, m.frames_out, doublings, in);
}

// ---- bursts ----

void put(const BurstMeasures& m, Nanos base, VarintWriter& out) {
  BurstMeasures calm;
  calm.broken = m.broken;
  const bool is_calm = m == calm;
  out.put((m.broken ? 1U : 0U) | (is_calm ? 0U : 2U));
  if (is_calm) return;
  for (const auto& stretch : {m.head, m.tail}) {
    out.put(stretch.length);
    out.put(stretch.from, base);
  }
  out.put((m.longest.length << 1U) | (m.longest.from_known ? 1U : 0U));
  out.put(m.longest.from, base);
  out.put(m.longest.run);
  for (const auto count : m.closed) out.put(count);
}

bool get(BurstMeasures& m, Nanos base, VarintReader& in) {
  const std::uint64_t head = in.get(3);
  m.broken = (head & 1U) != 0;
  if ((head & 2U) == 0) return in.good();
  for (auto* stretch : {&m.head, &m.tail}) {
    stretch->length = in.get(most_counted);
    stretch->from = get_instant(in, base);
  }
  const std::uint64_t longest = in.get(2 * most_counted + 1);
  m.longest.length = longest >> 1U;
  m.longest.from_known = (longest & 1U) != 0;
  m.longest.from = get_instant(in, base);
  m.longest.run = static_cast<std::uint32_t>(in.get(most_runs));
  for (auto& count : m.closed) count = in.get(most_counted);
  return in.good();
}

// ---- cells ----

void put_cells(const std::vector<CellsUnseen>& cells, Nanos base, VarintWriter& out) {
  out.put(cells.size());
  CellsUnseen before;
  before.first = before.last = before.longest.from = base;
  for (const auto& group : cells) {
    out.put(group.node, before.node);
    out.put(group.first_cell);
    out.put((std::uint64_t{group.cells} << 2U) | (group.ever_seen ? 2U : 0U) | (group.seen_once ? 1U : 0U));
    if (group.seen_once) {
      out.put(group.first, before.first);
      out.put(group.last, before.last);
      before.first = group.first;
      before.last = group.last;
    }
    out.put(group.longest.span, before.longest.span);
    out.put(group.longest.from, before.longest.from);
    out.put(group.longest.run);
    before.node = group.node;
    before.longest = group.longest;
  }
}

bool get_cells(std::vector<CellsUnseen>& cells, std::uint64_t written, Nanos base, VarintReader& in) {
  const auto count = in.get(std::min<std::uint64_t>(most_groups, in.left()));
  if (!in.good()) return false;
  CellsUnseen before;
  before.first = before.last = before.longest.from = base;
  cells.resize(count);
  for (auto& group : cells) {
    const auto node = in.get_relative(before.node);
    if (node < 0 || node > 0xffff) return false;
    group.node = static_cast<std::uint16_t>(node);
    group.first_cell = static_cast<std::uint32_t>(in.get(0xffffffff));
    // Version 1 does not tell whether it was ever seen: it was, if it was in the last run.
    const std::uint64_t flags = written == 1 ? 1 : 2;
    const std::uint64_t head = in.get((std::uint64_t{0xffffffff} << flags) + (1U << flags) - 1);
    group.cells = static_cast<std::uint32_t>(head >> flags);
    group.seen_once = (head & 1U) != 0;
    group.ever_seen = written == 1 ? group.seen_once : (head & 2U) != 0;
    if (group.seen_once) {
      before.first = group.first = get_instant(in, before.first);
      before.last = group.last = get_instant(in, before.last);
    }
    group.longest.span = get_span(in, before.longest.span);
    group.longest.from = get_instant(in, before.longest.from);
    group.longest.run = static_cast<std::uint32_t>(in.get(most_runs));
    if (!in.good()) return false;
    before.node = group.node;
    before.longest = group.longest;
  }
  return true;
}

// ---- all of it ----

constexpr std::uint64_t flag_ended = 1;
constexpr std::uint64_t flag_told = 2;
constexpr std::uint64_t flag_sum_of_nodes = 4;
constexpr std::uint64_t flag_one_topic = 8;
constexpr std::uint64_t flag_more = 16;
constexpr std::uint64_t flag_port = 32;
constexpr std::uint64_t all_flags = 63;

/// Of a port: more than sends and how late they were.
bool tells_of_port(const Lateness& late) {
  Lateness known;
  known.sends = late.sends;
  known.worst = late.worst;
  known.total = late.total;
  return late != known;
}

void put_port(const Lateness& late, VarintWriter& out) {
  for (const std::uint64_t count : {late.stalls, late.not_fetched, late.nobody_there}) out.put(count);
  for (const Nanos span : {late.worst_stall, late.stalled, late.port_median, late.port_99}) out.put(span, 0);
}

void get_port(Lateness& late, VarintReader& in) {
  for (std::uint64_t* count : {&late.stalls, &late.not_fetched, &late.nobody_there}) *count = in.get(most_counted);
  for (Nanos* span : {&late.worst_stall, &late.stalled, &late.port_median, &late.port_99}) *span = get_span(in, 0);
}

std::uint64_t flags_of(const Measures& m) {
  const bool more = m.arrivals != 0 || m.lateness.sends != 0 || m.lateness.worst != 0 || m.lateness.total != 0;
  std::uint64_t flags = 0;
  if (m.ended) flags |= flag_ended;
  if (m.from != never) flags |= flag_told;
  if (more) flags |= flag_more;
  if (tells_of_port(m.lateness)) flags |= flag_port;
  if (counts_equal(m.all, sum_of(m.nodes))) flags |= flag_sum_of_nodes;
  if (m.by_topic.size() == 1 && counts_equal(m.all, m.by_topic[0])) flags |= flag_one_topic;
  return flags;
}

bool get_all(Measures& m, VarintReader& in) {
  const std::uint64_t written = in.get();
  if (written < 1 || written > version) return false;
  const std::size_t outcomes = written == 1 ? outcomes_of_version_1 : outcome_count;
  std::size_t doublings = most_doublings;
  const auto room = [&](std::uint64_t most) { return in.get(std::min<std::uint64_t>(most, in.left())); };
  const std::uint64_t flags = in.get(all_flags);
  m.ended = (flags & flag_ended) != 0;
  m.runs = static_cast<std::uint32_t>(in.get(most_runs));
  m.from = (flags & flag_told) != 0 ? get_instant(in, 0) : never;
  const Nanos base = m.from == never ? 0 : m.from;
  m.until = get_instant(in, base);
  m.links.resize(room(most_links));
  for (auto& link : m.links) {
    if (!get(link, doublings, in)) return false;
  }
  m.nodes.resize(room(most_nodes));
  for (auto& node : m.nodes) {
    if (!get(node, outcomes, doublings, in)) return false;
  }
  if ((flags & flag_sum_of_nodes) != 0) {
    m.all = sum_of(m.nodes);
  } else if (!get(m.all, outcomes, doublings, in)) {
    return false;
  }
  const auto topics = room(most_topics);
  if ((flags & flag_one_topic) != 0 && topics != 1) return false;
  for (std::uint64_t i = 0; i < topics; ++i) {
    const auto name = in.bytes(in.get(most_name_bytes));
    m.topics.emplace_back(name.begin(), name.end());
    m.by_topic.emplace_back();
    if ((flags & flag_one_topic) != 0) {
      m.by_topic[0] = m.all;
    } else if (!get(m.by_topic[i], outcomes, doublings, in)) {
      return false;
    }
  }
  if (!get(m.bursts, base, in)) return false;
  m.node_bursts.resize(room(most_nodes));
  for (auto& bursts : m.node_bursts) {
    if (!get(bursts, base, in)) return false;
  }
  if (!get_cells(m.cells, written, base, in)) return false;
  if ((flags & flag_more) != 0) {
    m.arrivals = in.get(most_counted);
    m.lateness.sends = in.get(most_counted);
    m.lateness.worst = get_span(in, 0);
    m.lateness.total = get_span(in, 0);
  }
  if ((flags & flag_port) != 0) get_port(m.lateness, in);
  return in.good() && in.left() == 0;
}

}  // namespace

void Measures::serialise(std::vector<std::uint8_t>& bytes) const {
  VarintWriter out(bytes);
  const std::uint64_t flags = flags_of(*this);
  const Nanos base = from == never ? 0 : from;
  out.put(version);
  out.put(flags);
  out.put(runs);
  if (from != never) out.put(from, 0);
  out.put(until, base);
  out.put(links.size());
  for (const auto& link : links) put(link, out);
  out.put(nodes.size());
  for (const auto& node : nodes) put(node, out);
  if ((flags & flag_sum_of_nodes) == 0) put(all, out);
  out.put(topics.size());
  for (std::size_t i = 0; i < topics.size(); ++i) {
    // A name beyond what can be read back is cut; no bus description has one.
    const auto& name = topics[i];
    const auto size = std::min<std::size_t>(name.size(), most_name_bytes);
    out.put(size);
    out.bytes({reinterpret_cast<const std::uint8_t*>(name.data()), size});
    if ((flags & flag_one_topic) == 0) put(by_topic[i], out);
  }
  put(bursts, base, out);
  out.put(node_bursts.size());
  for (const auto& one : node_bursts) put(one, base, out);
  put_cells(cells, base, out);
  if ((flags & flag_more) != 0) {
    out.put(arrivals);
    out.put(lateness.sends);
    out.put(lateness.worst, 0);
    out.put(lateness.total, 0);
  }
  if ((flags & flag_port) != 0) put_port(lateness, out);
}

bool Measures::parse(std::span<const std::uint8_t> bytes, Measures& out) {
  out = Measures{};
  VarintReader in(bytes);
  if (get_all(out, in)) return true;
  out = Measures{};
  return false;
}

}  // namespace hopbench
