#include "record/capture_writer.h"

#include "base/luck.h"

namespace hopbench {

std::uint64_t run_id_of(const std::string& scenario_text, const std::string& bus_text, std::uint64_t seed) {
  // Lengths go in too: where one text ends and the next begins is part of what they say.
  std::uint64_t hash = name_hash(scenario_text, name_hash(std::uint64_t{scenario_text.size()}, name_hash("run")));
  hash = name_hash(bus_text, name_hash(std::uint64_t{bus_text.size()}, hash));
  return name_hash(seed, hash);
}

CaptureWriter::CaptureWriter(FileOps& ops, const std::string& path, CaptureOrigin origin)
    : blocks_(ops, path, origin.run_id), origin_(std::move(origin)) {}

void CaptureWriter::begin(const RunInfo& run) {
  CaptureHead head;
  head.run_id = origin_.run_id;
  head.scenario_text = origin_.scenario_text;
  head.bus_text = origin_.bus_text;
  head.run = run;
  blocks_.append(RecordKind::head, encoder_.head(head), 0);
  blocks_.append(RecordKind::build, encoder_.build(origin_.build), 0);
}

void CaptureWriter::exchange(const ExchangeObs& obs, const ExchangeTruth* truth) {
  blocks_.append(kind_of(obs), encoder_.exchange(obs, truth), obs.closed);
}

void CaptureWriter::stray(const Stray& stray) { blocks_.append(RecordKind::stray, encoder_.stray(stray), 0); }

void CaptureWriter::arrival(const Arrival& arrival) {
  blocks_.append(RecordKind::arrival, encoder_.arrival(arrival), 0);
}

void CaptureWriter::end(Nanos until, const Lateness& lateness) {
  blocks_.append(RecordKind::end, encoder_.end({until, lateness, blocks_.records(), blocks_.crc_of_crcs()}), 0);
  blocks_.sync();
}

void CaptureWriter::tally(const Tally& tally) { blocks_.append(RecordKind::tally, encoder_.tally(tally), tally.to); }

void CaptureWriter::state(const State& state) { blocks_.append(RecordKind::state, encoder_.state(state), 0); }

void CaptureWriter::gap(const Gap& gap) { blocks_.append(RecordKind::gap, encoder_.gap(gap), 0); }

void CaptureWriter::dropped(const Dropped& dropped) {
  blocks_.append(RecordKind::dropped, encoder_.dropped(dropped), 0);
}

void CaptureWriter::command(const Remark& command) { blocks_.append(RecordKind::command, encoder_.remark(command), 0); }

void CaptureWriter::note(const Remark& note) { blocks_.append(RecordKind::note, encoder_.remark(note), 0); }

void CaptureWriter::tick(Nanos now, Nanos interval) {
  if (now - last_flush_ < interval) return;
  last_flush_ = now;
  flush();
}

}  // namespace hopbench
