#include "chain/outside.h"

#include <algorithm>

#include "line/signal.h"
#include "scenario/cells_told.h"
#include "chain/link.h"

namespace hopbench {

Outside::Outside(World& world) : world_(&world), hash_(name_hash("outside")) {}

std::vector<EntryInfo> Outside::entries_of(const ChainDescription& chain, const Protocol& protocol) {
  std::vector<EntryInfo> entries;
  for (const NodeSpec& node : chain.nodes) {
    std::uint32_t number = 0;
    for (const TopicSpec& topic : protocol.description().topics) {
      const CellsTold told = cells_told(protocol, chain.kinds[node.kind], number++);
      entries.push_back({"outside/" + node.name + "/" + topic.name, node.name, topic.name, told.first, told.cells});
    }
  }
  entries.push_back({"outside/other", "", "", 0, 0});
  return entries;
}

void Outside::begin(Nanos start) {
  if (Trace* before = world_->traces.find(exchange_); before != nullptr && !before->is_decided()) {
    // It asks again without having had an answer: the earlier exchange has come to nothing so far.
    before->attempts.back().outcome = before->outcome;
    world_->traces.decide(*before, start, before->outcome);
  }
  const auto other = static_cast<std::uint32_t>(world_->node_count() * world_->protocol.description().topics.size());
  Trace& trace = world_->traces.open(other, asks_++, nobody, start);
  trace.since_last = last_edge_ < 0 ? -1 : start - last_edge_;
  world_->traces.attempt(trace, start, start);
  exchange_ = trace.number;
  row_ = 0xffffffff;
  slots_ = 0;
}

void Outside::arrive(bool paced, std::span<const std::uint8_t> bytes, std::span<const std::uint8_t> flags) {
  Link& link = *world_->links.front();
  const Nanos start = paced ? world_->queue.now() : std::max(world_->queue.now(), link.free_from());
  if (exchange_ == no_exchange || link.ear_idle()) begin(start);
  Trace* trace = world_->traces.find(exchange_);
  if (trace == nullptr) {
    begin(start);
    trace = world_->traces.find(exchange_);
  }
  const Nanos end = paced ? start : start + link.char_span(bytes.size());
  trace->attempts.back().ask_end = end;
  last_edge_ = end;
  Parcel parcel;
  parcel.key = {hash_, trace->turn, 0, false, 0};
  parcel.exchange = exchange_;
  if (row_ != 0xffffffff && row_ < trace->rows.size()) {
    HopRow& row = trace->rows[row_];
    row.end = end;
    row.chars = static_cast<std::uint16_t>(row.chars + bytes.size());
  } else {
    row_ = world_->traces.add_row(
        exchange_, {start, end, 0, static_cast<std::uint16_t>(bytes.size()), 0, false, 0, Symptom::none, false});
  }
  link.send_bytes(bytes, flags, paced, parcel, row_, slots_);
  slots_ += static_cast<std::uint32_t>(bytes.size()) * slots_per_char(world_->protocol.line());
}

void Outside::ask_understood(const Finding& finding) {
  Trace* trace = world_->traces.find(exchange_);
  if (trace == nullptr || !trace->asked.empty()) return;
  world_->protocol.encode(finding.frame, trace->asked);
  const auto topic = world_->protocol.topic(finding.frame);
  const auto destination = world_->protocol.destination(finding.frame);
  if (!topic || !destination) return;
  for (std::size_t i = 0; i < world_->node_count(); ++i) {
    if (world_->chain.nodes[i].address != *destination) continue;
    trace->node = static_cast<std::uint16_t>(i);
    trace->entry = static_cast<std::uint32_t>(i * world_->protocol.description().topics.size() + *topic);
  }
}

void Outside::on_heard(Nanos now, std::uint16_t link, const Heard& heard) {
  const Finding& finding = *heard.finding;
  last_edge_ = finding.end;
  const std::uint64_t belongs = heard.flight == nullptr ? no_exchange : heard.flight->parcel.exchange;
  Trace* trace = world_->traces.find(belongs);
  if (heard.flight == nullptr || trace == nullptr) {
    world_->sink.stray({finding.end, link, finding.content.view(), heard.symptom, belongs});
    return;
  }
  if (!heard.good()) {
    trace->answered = finding.content;
    if (!trace->is_decided()) trace->outcome = Outcome::garbled;
    return;
  }
  const Parcel& parcel = heard.flight->parcel;
  if (!parcel.key.answering && trace->node != nobody) return;  // the ask itself came round
  world_->protocol.encode(finding.frame, trace->answered);
  Attempt& attempt = trace->attempts.back();
  // Where a pause ends a frame, the controller may have counted bytes and asked again before the pause was over.
  if (trace->is_decided() && finding.end > trace->decided) {
    if (trace->outcome == Outcome::lost || trace->outcome == Outcome::garbled) {
      trace->outcome = Outcome::late;
      attempt.outcome = Outcome::late;
      const Cause cause = parcel.held > 0 ? Cause::measuring : Cause::chain_time;
      world_->traces.blame(belongs, 0, {cause, trace->node, nobody, no_fault});
    }
    return;
  }
  Outcome outcome = finding.frame.role == Role::refusal ? Outcome::refused : Outcome::answered;
  const bool altered =
      parcel.key.answering && outcome == Outcome::answered && finding.frame.payload != trace->sent_payloads.front();
  if (parcel.fake || altered) outcome = Outcome::wrong;
  attempt.outcome = outcome;
  trace->round_trip = finding.end - attempt.start;
  world_->traces.decide(*trace, now, outcome);
}

}  // namespace hopbench
