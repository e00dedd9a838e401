#include "record/record_codec.h"

#include <google/protobuf/descriptor.pb.h>

#include <algorithm>
#include <limits>

#include "capture.pb.h"
#include "record/bounds.h"
#include "record/row_memo.h"
#include "seen/healthy.h"

namespace hopbench {
namespace {

constexpr std::uint32_t format_major = 1;
constexpr std::uint32_t format_minor = 4;

// Spans are kept as differences; damaged ones must wrap, not overflow.
Nanos plus(Nanos a, Nanos b) {
  return static_cast<Nanos>(static_cast<std::uint64_t>(a) + static_cast<std::uint64_t>(b));
}
Nanos minus(Nanos a, Nanos b) {
  return static_cast<Nanos>(static_cast<std::uint64_t>(a) - static_cast<std::uint64_t>(b));
}

const char* chars(std::span<const std::uint8_t> bytes) { return reinterpret_cast<const char*>(bytes.data()); }

void assign(std::vector<std::uint8_t>& to, const std::string& from) {
  const auto* bytes = reinterpret_cast<const std::uint8_t*>(from.data());
  to.assign(bytes, bytes + from.size());
}

std::string padded(const std::string& text, std::size_t size) {
  std::string result = text.substr(0, size);
  result.resize(size, ' ');
  return result;
}

std::string trimmed(const std::string& text) {
  const auto last = text.find_last_not_of(' ');
  return last == std::string::npos ? std::string() : text.substr(0, last + 1);
}

/// Files that the records' descriptions are made of, as bytes.
std::string describe_format() {
  google::protobuf::FileDescriptorSet set;
  capture::Head::descriptor()->file()->CopyTo(set.add_file());
  return set.SerializeAsString();
}

/// 0xffff stands for "none" in observations; on file it is 0, which takes no room.
std::uint32_t plus_1(std::uint16_t index) { return index == 0xffff ? 0 : std::uint32_t{index} + 1; }
std::uint32_t plus_1(std::uint32_t index) { return index + 1; }

/// Nothing in it would be written. More than that of a healthy exchange: a truth that names a place without a cause is
/// written, for what is read back is to be the same.
bool is_blank(const ExchangeTruth& truth) {
  return truth.rows.empty() && truth.strikes.empty() &&
         std::all_of(truth.attempts.begin(), truth.attempts.end(),
                     [](const AttemptTruth& attempt) { return attempt == AttemptTruth{}; });
}

void put_truth(const ExchangeTruth& truth, capture::Truth& message) {
  message.Clear();
  for (const auto& row : truth.rows) {
    message.add_row(row.row);
    message.add_row_cause(static_cast<std::uint32_t>(row.cause));
    message.add_row_fault_plus_1(plus_1(row.fault));
    message.add_row_bit_plus_1(plus_1(row.bit));
    message.add_row_undetected(row.undetected);
  }
  for (const auto& strike : truth.strikes) {
    message.add_strike_fault(strike.fault);
    message.add_strike_link_plus_1(plus_1(strike.link));
    message.add_strike_frame(strike.attempt | (strike.answering ? 0x100U : 0U) | std::uint32_t{strike.copy} << 9U);
  }
  if (is_blank({{}, truth.attempts, {}})) return;
  for (const auto& attempt : truth.attempts) {
    message.add_attempt_cause(static_cast<std::uint32_t>(attempt.cause));
    message.add_attempt_station_plus_1(plus_1(attempt.station));
    message.add_attempt_link_plus_1(plus_1(attempt.link));
    message.add_attempt_fault_plus_1(plus_1(attempt.fault));
  }
}

/// Before anything is made for each of them: a name costs more room here than in the file.
bool too_many(const capture::Head& message) {
  const auto more = [](int size, std::size_t most) { return static_cast<std::size_t>(size) > most; };
  return more(message.link_size(), Bounds::most_links) || more(message.node_size(), Bounds::most_nodes) ||
         more(message.entry_size(), Bounds::most_entries) || more(message.fault_size(), Bounds::most_faults);
}

bool read_head(const capture::Head& message, CaptureHead& head) {
  head.major = message.major();
  head.minor = message.minor();
  head.run_id = message.run_id();
  head.segment = message.segment();
  head.scenario_text = message.scenario_text();
  head.bus_text = message.bus_text();
  head.descriptors = message.descriptors();
  RunInfo run;
  run.scenario = message.scenario();
  run.seed = message.seed();
  run.simulated = message.simulated();
  run.truth_known = message.truth_known();
  run.granted_time = message.granted_time();
  run.controller = message.controller();
  if (message.has_time_out_ns()) run.time_out = message.time_out_ns();
  for (const auto& node : message.node()) {
    run.nodes.push_back(node.name());
    run.cells.push_back(node.cells());
  }
  for (const auto& link : message.link()) {
    if (link.hop() > 0xffff || link.vantage() > 0xff) return false;
    run.links.push_back({static_cast<std::uint16_t>(link.hop()), link.from(), link.to(), link.homeward(),
                         static_cast<Vantage>(link.vantage())});
  }
  for (const auto& entry : message.entry()) {
    run.entries.push_back({entry.name(), entry.node(), entry.topic(), entry.first_cell(), entry.cells()});
  }
  for (const auto& fault : message.fault()) run.faults.push_back(fault);
  head.run = std::move(run);
  return true;
}

bool read_damage(const capture::Exchange& message, ExchangeRecord& record) {
  record.damage.clear();
  const auto& numbers = message.damage();
  if (numbers.size() % 3 != 0) return false;
  for (int i = 0; i < numbers.size(); i += 3) {
    if (numbers[i + 1] == 0 || numbers[i + 1] > 0xffff || numbers[i + 2] > 0xff) return false;
    const RowDamage damage{numbers[i], static_cast<std::uint16_t>(numbers[i + 1]),
                           static_cast<std::uint8_t>(numbers[i + 2])};
    const bool rising = record.damage.empty() || record.damage.back().row < damage.row;
    if (!rising || damage.row >= record.rows.size()) return false;
    record.damage.push_back(damage);
  }
  return true;
}

bool read_exchange(const capture::Exchange& message, RowMemo& rows, ExchangeRecord& record) {
  ExchangeObs obs;
  obs.number = message.number();
  obs.entry = message.entry();
  obs.turn = message.turn();
  if (message.node_plus_1() > 0xffff || message.outcome() > 0xff) return false;
  obs.node = static_cast<std::uint16_t>(message.node_plus_1() - 1);
  obs.start = message.start_ns();
  obs.decided = plus(obs.start, message.decided_after_ns());
  obs.closed = plus(obs.decided, message.closed_after_ns());
  obs.round_trip = message.has_round_trip_ns() ? message.round_trip_ns() : -1;
  obs.since_last = message.has_since_last_ns() ? message.since_last_ns() : -1;
  obs.outcome = static_cast<Outcome>(message.outcome());
  obs.kept_one_in = message.kept_one_in() == 0 ? 1 : message.kept_one_in();
  obs.ambiguous = message.ambiguous();
  obs.doubtful = message.doubtful();
  obs.port_late = message.port_late_ns();
  record.fixed = obs;
  record.attempts.clear();
  for (const auto& attempt : message.attempt()) {
    if (attempt.outcome() > 0xff) return false;
    const Nanos start = plus(obs.start, attempt.after_ns());
    record.attempts.push_back({start, plus(start, attempt.ask_took_ns()), static_cast<Outcome>(attempt.outcome())});
  }
  assign(record.asked, message.asked());
  assign(record.answered, message.answered());
  assign(record.replied, message.replied());
  return rows.rows_of(message.rows(), obs.start, record.rows) && read_damage(message, record);
}

bool read_state(const capture::State& message, StateRecord& record) {
  const int nodes = message.board_mdegc_size();
  if (message.supply_mv_size() != nodes || message.clock_ppb_size() != nodes || message.flags_size() != nodes) {
    return false;
  }
  record.fixed = {message.at_ns(), message.cells_balancing(), message.charge_ma(), {}};
  record.nodes.clear();
  for (int i = 0; i < nodes; ++i) {
    record.nodes.push_back({message.board_mdegc(i), message.supply_mv(i), message.clock_ppb(i), message.flags(i)});
  }
  return true;
}

}  // namespace

struct RecordEncoder::Messages {
  std::vector<capture::Exchange> exchange{RowMemo::places};
  capture::Truth truth;
  capture::Tally tally;
  capture::State state;
  RowMemo rows;
  std::vector<std::uint8_t> buffer;

  std::span<const std::uint8_t> bytes_of(const google::protobuf::MessageLite& message) {
    const std::size_t size = message.ByteSizeLong();
    if (buffer.size() < size) buffer.resize(size);
    message.SerializeWithCachedSizesToArray(buffer.data());
    return std::span(buffer).first(size);
  }
};

RecordEncoder::RecordEncoder() : messages_(std::make_unique<Messages>()) {}
RecordEncoder::~RecordEncoder() = default;

std::span<const std::uint8_t> RecordEncoder::head(const CaptureHead& head) {
  capture::Head message;
  message.set_major(format_major);
  message.set_minor(format_minor);
  message.set_run_id(head.run_id);
  message.set_segment(head.segment);
  message.set_scenario_text(head.scenario_text);
  message.set_bus_text(head.bus_text);
  message.set_descriptors(describe_format());
  message.set_scenario(head.run.scenario);
  message.set_seed(head.run.seed);
  message.set_simulated(head.run.simulated);
  message.set_truth_known(head.run.truth_known);
  message.set_granted_time(head.run.granted_time);
  message.set_controller(head.run.controller);
  if (head.run.time_out) message.set_time_out_ns(*head.run.time_out);
  for (std::size_t i = 0; i < head.run.nodes.size(); ++i) {
    auto* node = message.add_node();
    node->set_name(head.run.nodes[i]);
    node->set_cells(i < head.run.cells.size() ? head.run.cells[i] : 0);
  }
  for (const auto& link : head.run.links) {
    auto* row = message.add_link();
    row->set_hop(link.hop);
    row->set_from(link.from);
    row->set_to(link.to);
    row->set_homeward(link.homeward);
    row->set_vantage(static_cast<std::uint32_t>(link.vantage));
  }
  for (const auto& entry : head.run.entries) {
    auto* row = message.add_entry();
    row->set_name(entry.name);
    row->set_node(entry.node);
    row->set_topic(entry.topic);
    row->set_first_cell(entry.first_cell);
    row->set_cells(entry.cells);
  }
  for (const auto& fault : head.run.faults) message.add_fault(fault);
  return messages_->bytes_of(message);
}

std::span<const std::uint8_t> RecordEncoder::build(const BuildInfo& build) {
  capture::Build message;
  message.set_version(padded(build.version, 32));
  message.set_compiler(padded(build.compiler, 64));
  message.set_host(padded(build.host, 64));
  message.set_wall_start_ns(build.wall_start);
  return messages_->bytes_of(message);
}

std::span<const std::uint8_t> RecordEncoder::exchange(const ExchangeObs& obs, const ExchangeTruth* truth) {
  // A message for each entry: most of it is as it was the last time. Every field is set or cleared all the same.
  auto& message = messages_->exchange[obs.entry % RowMemo::places];
  message.set_number(obs.number);
  message.set_entry(obs.entry);
  message.set_turn(obs.turn);
  message.set_node_plus_1(plus_1(obs.node));
  message.set_start_ns(obs.start);
  message.set_decided_after_ns(minus(obs.decided, obs.start));
  message.set_closed_after_ns(minus(obs.closed, obs.decided));
  message.clear_round_trip_ns();
  if (obs.round_trip != -1) message.set_round_trip_ns(obs.round_trip);
  message.clear_since_last_ns();
  if (obs.since_last != -1) message.set_since_last_ns(obs.since_last);
  message.set_outcome(static_cast<std::uint32_t>(obs.outcome));
  const auto attempts = static_cast<int>(obs.attempts.size());
  if (message.attempt_size() > attempts) message.clear_attempt();
  while (message.attempt_size() < attempts) message.add_attempt();
  for (int i = 0; i < attempts; ++i) {
    const Attempt& attempt = obs.attempts[static_cast<std::size_t>(i)];
    auto* row = message.mutable_attempt(i);
    row->set_after_ns(minus(attempt.start, obs.start));
    row->set_ask_took_ns(minus(attempt.ask_end, attempt.start));
    row->set_outcome(static_cast<std::uint32_t>(attempt.outcome));
  }
  const auto rows = messages_->rows.columns_of(obs.rows, obs.start, obs.entry);
  // Into the strings that are there: set_...() would make another one each time.
  if (message.rows() != rows) message.mutable_rows()->assign(rows);
  message.mutable_asked()->assign(chars(obs.asked), obs.asked.size());
  message.mutable_answered()->assign(chars(obs.answered), obs.answered.size());
  message.mutable_replied()->assign(chars(obs.replied), obs.replied.size());
  message.clear_damage();
  for (const RowDamage& each : obs.damage) {
    for (const std::uint32_t number : {each.row, std::uint32_t{each.at}, std::uint32_t{each.bits}})
      message.add_damage(number);
  }
  message.set_kept_one_in(obs.kept_one_in == 1 ? 0 : obs.kept_one_in);
  message.set_ambiguous(obs.ambiguous);
  message.set_doubtful(obs.doubtful);
  message.set_port_late_ns(obs.port_late);
  message.clear_truth();
  if (truth != nullptr) {
    std::string& bytes = *message.mutable_truth();  // of a message without anything in it there are none
    if (!is_blank(*truth)) {
      put_truth(*truth, messages_->truth);
      messages_->truth.SerializeToString(&bytes);
    }
  }
  exchange_kind_ = looks_healthy(obs) ? RecordKind::clean_exchange : RecordKind::touched_exchange;
  const auto bytes = messages_->bytes_of(message);
  constexpr std::size_t large = 64 * 1024;
  if (bytes.size() > large) message = capture::Exchange();  // its memory is not kept
  return bytes;
}

std::span<const std::uint8_t> RecordEncoder::stray(const Stray& stray) {
  capture::Stray message;
  message.set_at_ns(stray.at);
  message.set_link(stray.link);
  message.set_heard(chars(stray.heard), stray.heard.size());
  message.set_symptom(static_cast<std::uint32_t>(stray.symptom));
  if (stray.belongs_to != ~std::uint64_t{0}) message.set_belongs_to(stray.belongs_to);
  return messages_->bytes_of(message);
}

std::span<const std::uint8_t> RecordEncoder::arrival(const Arrival& arrival) {
  capture::Arrival message;
  message.set_at_ns(arrival.at);
  message.set_paced(arrival.paced);
  message.set_heard(chars(arrival.bytes), arrival.bytes.size());
  message.set_flags(chars(arrival.flags), arrival.flags.size());
  message.set_late_from_ns(arrival.late_from);
  message.set_late_to_ns(arrival.late_to);
  return messages_->bytes_of(message);
}

std::span<const std::uint8_t> RecordEncoder::end(const EndRecord& end) {
  capture::End message;
  message.set_until_ns(end.until);
  message.set_sends(end.lateness.sends);
  message.set_late_worst_ns(end.lateness.worst);
  message.set_late_total_ns(end.lateness.total);
  message.set_stalls(end.lateness.stalls);
  message.set_worst_stall_ns(end.lateness.worst_stall);
  message.set_stalled_ns(end.lateness.stalled);
  message.set_not_fetched_bytes(end.lateness.not_fetched);
  message.set_nobody_there_bytes(end.lateness.nobody_there);
  message.set_port_median_ns(end.lateness.port_median);
  message.set_port_99_ns(end.lateness.port_99);
  message.set_records(end.records);
  message.set_crc_of_crcs(end.crc_of_crcs);
  message.set_goes_on(end.goes_on);
  return messages_->bytes_of(message);
}

std::span<const std::uint8_t> RecordEncoder::tally(const Tally& tally) {
  auto& message = messages_->tally;
  message.Clear();
  message.set_from_ns(tally.from);
  message.set_took_ns(minus(tally.to, tally.from));
  message.set_exchanges(tally.exchanges);
  message.set_first_number(tally.first_number);
  message.set_last_number(tally.last_number);
  message.set_measures(chars(tally.measures), tally.measures.size());
  return messages_->bytes_of(message);
}

std::span<const std::uint8_t> RecordEncoder::state(const State& state) {
  auto& message = messages_->state;
  message.Clear();
  message.set_at_ns(state.at);
  message.set_cells_balancing(state.cells_balancing);
  message.set_charge_ma(state.charge_ma);
  for (const auto& node : state.nodes) {
    message.add_board_mdegc(node.board_mc);
    message.add_supply_mv(node.supply_mv);
    message.add_clock_ppb(node.clock_ppb);
    message.add_flags(node.flags);
  }
  return messages_->bytes_of(message);
}

std::span<const std::uint8_t> RecordEncoder::gap(const Gap& gap) {
  capture::Gap message;
  message.set_from_ns(gap.from);
  message.set_took_ns(minus(gap.to, gap.from));
  message.set_why(gap.why.data(), gap.why.size());
  return messages_->bytes_of(message);
}

std::span<const std::uint8_t> RecordEncoder::dropped(const Dropped& dropped) {
  capture::Dropped message;
  message.set_from_ns(dropped.from);
  message.set_took_ns(minus(dropped.to, dropped.from));
  message.set_records(dropped.records);
  message.set_why(dropped.why.data(), dropped.why.size());
  return messages_->bytes_of(message);
}

std::span<const std::uint8_t> RecordEncoder::remark(const Remark& remark) {
  capture::Remark message;
  message.set_at_ns(remark.at);
  message.set_text(remark.text.data(), remark.text.size());
  return messages_->bytes_of(message);
}

struct RecordDecoder::Messages {
  Bounds bounds;
  capture::Exchange exchange;
  capture::Tally tally;
  capture::State state;
  RowMemo rows;
};

RecordDecoder::RecordDecoder() : messages_(std::make_unique<Messages>()) {}
RecordDecoder::~RecordDecoder() = default;

RecordDecoder::Result RecordDecoder::decode(std::uint8_t kind, std::span<const std::uint8_t> payload, Record& record) {
  const auto parse = [&](google::protobuf::MessageLite& message) {
    return payload.size() <= max_record_bytes &&
           message.ParseFromArray(payload.data(), static_cast<int>(payload.size()));
  };
  switch (static_cast<RecordKind>(kind)) {
    case RecordKind::head: {
      capture::Head message;
      if (!parse(message) || too_many(message) || !read_head(message, record.head)) return Result::unreadable;
      if (!messages_->bounds.take(record.head.run)) return Result::unreadable;
      break;
    }
    case RecordKind::build: {
      capture::Build message;
      if (!parse(message)) return Result::unreadable;
      record.build = {trimmed(message.version()), trimmed(message.compiler()), trimmed(message.host()),
                      message.wall_start_ns()};
      break;
    }
    case RecordKind::clean_exchange:
    case RecordKind::touched_exchange: {
      auto& message = messages_->exchange;
      if (!parse(message) || !read_exchange(message, messages_->rows, record.exchange)) return Result::unreadable;
      if (message.has_truth()) {
        record.exchange.truth_ = message.truth();
      } else {
        record.exchange.truth_.reset();
      }
      break;
    }
    case RecordKind::stray: {
      capture::Stray message;
      if (!parse(message) || message.link() > 0xffff || message.symptom() > 0xff) return Result::unreadable;
      record.stray.fixed = {message.at_ns(),
                            static_cast<std::uint16_t>(message.link()),
                            {},
                            static_cast<Symptom>(message.symptom()),
                            message.has_belongs_to() ? message.belongs_to() : ~std::uint64_t{0}};
      assign(record.stray.heard, message.heard());
      break;
    }
    case RecordKind::arrival: {
      capture::Arrival message;
      if (!parse(message)) return Result::unreadable;
      record.arrival.fixed = {message.at_ns(), message.paced(), {}, {}, message.late_from_ns(), message.late_to_ns()};
      assign(record.arrival.bytes, message.heard());
      assign(record.arrival.flags, message.flags());
      break;
    }
    case RecordKind::end: {
      capture::End message;
      if (!parse(message)) return Result::unreadable;
      record.end = {message.until_ns(),
                    {message.sends(), message.late_worst_ns(), message.late_total_ns(), message.stalls(),
                     message.worst_stall_ns(), message.stalled_ns(), message.not_fetched_bytes(),
                     message.nobody_there_bytes(), message.port_median_ns(), message.port_99_ns()},
                    message.records(),
                    message.crc_of_crcs(),
                    message.goes_on()};
      break;
    }
    case RecordKind::tally: {
      auto& message = messages_->tally;
      if (!parse(message)) return Result::unreadable;
      record.tally.fixed = {message.from_ns(),     plus(message.from_ns(), message.took_ns()),
                            message.exchanges(),   message.first_number(),
                            message.last_number(), {}};
      assign(record.tally.measures, message.measures());
      break;
    }
    case RecordKind::state: {
      auto& message = messages_->state;
      if (!parse(message) || !read_state(message, record.state)) return Result::unreadable;
      break;
    }
    case RecordKind::gap: {
      capture::Gap message;
      if (!parse(message)) return Result::unreadable;
      record.gap = {message.from_ns(), plus(message.from_ns(), message.took_ns()), message.why()};
      break;
    }
    case RecordKind::dropped: {
      capture::Dropped message;
      if (!parse(message)) return Result::unreadable;
      record.dropped = {message.from_ns(), plus(message.from_ns(), message.took_ns()), message.records(),
                        message.why()};
      break;
    }
    case RecordKind::command:
    case RecordKind::note: {
      capture::Remark message;
      if (!parse(message)) return Result::unreadable;
      record.remark = {message.at_ns(), message.text()};
      break;
    }
    case RecordKind::hole:
    default:
      return Result::unknown_kind;
  }
  record.kind = static_cast<RecordKind>(kind);
  return messages_->bounds.hold(record) ? Result::good : Result::unreadable;
}

}  // namespace hopbench
