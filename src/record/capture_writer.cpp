#include "record/capture_writer.h"

#include <system_error>

#include "base/luck.h"

namespace hopbench {
namespace {

/// The clock is looked at for one record in so many: to ask it each time would cost a tenth of the record.
constexpr std::uint64_t records_per_look = 128;

}  // namespace

std::uint64_t run_id_of(const std::string& scenario_text, const std::string& bus_text, std::uint64_t seed) {
  // Lengths go in too: where one text ends and the next begins is part of what they say.
  std::uint64_t hash = name_hash(scenario_text, name_hash(std::uint64_t{scenario_text.size()}, name_hash("run")));
  hash = name_hash(bus_text, name_hash(std::uint64_t{bus_text.size()}, hash));
  return name_hash(seed, hash);
}

CaptureWriter::CaptureWriter(FileOps& ops, const std::string& path, CaptureOrigin origin, const WritePlan& plan)
    : clock_(plan.clock),
      hand_over_every_(plan.hand_over_every),
      origin_(std::move(origin)),
      segments_(ops, path, origin_, plan),
      last_flush_(clock_()) {
  try {
    thread_.emplace(segments_, plan);
  } catch (const std::system_error& trouble) {
    thread_error_ = trouble.code().value();
  }
}

void CaptureWriter::append(RecordKind kind, std::span<const std::uint8_t> payload, Nanos from, Nanos to, Nanos closed) {
  ++records_;
  bytes_ += fragment_header_bytes + payload.size();
  if (!thread_) return;
  thread_->append({kind, static_cast<std::uint32_t>(payload.size()), from, to, closed}, payload);
  if (records_ % records_per_look == 0) tick();
}

void CaptureWriter::begin(const RunInfo& run) {
  CaptureHead head;
  head.run_id = origin_.run_id;
  head.scenario_text = origin_.scenario_text;
  head.bus_text = origin_.bus_text;
  head.run = run;
  // The writing thread does not look at it before the first record comes to it.
  segments_.set_run(run);
  append(RecordKind::head, encoder_.head(head), 0, 0);
  append(RecordKind::build, encoder_.build(origin_.build), 0, 0);
}

void CaptureWriter::exchange(const ExchangeObs& obs, const ExchangeTruth* truth) {
  const auto payload = encoder_.exchange(obs, truth);
  append(encoder_.exchange_kind(), payload, obs.start, obs.closed, obs.closed);
}

void CaptureWriter::stray(const Stray& stray) { append(RecordKind::stray, encoder_.stray(stray), stray.at, stray.at); }

void CaptureWriter::arrival(const Arrival& arrival) {
  append(RecordKind::arrival, encoder_.arrival(arrival), arrival.at, arrival.at);
}

void CaptureWriter::end(Nanos until, const Lateness& lateness) {
  ++records_;
  if (thread_) thread_->end({until, lateness, 0, 0});
}

void CaptureWriter::tally(const Tally& tally) {
  append(RecordKind::tally, encoder_.tally(tally), tally.from, tally.to, tally.to);
}

void CaptureWriter::state(const State& state) { append(RecordKind::state, encoder_.state(state), state.at, state.at); }

void CaptureWriter::gap(const Gap& gap) { append(RecordKind::gap, encoder_.gap(gap), gap.from, gap.to); }

void CaptureWriter::dropped(const Dropped& dropped) {
  append(RecordKind::dropped, encoder_.dropped(dropped), dropped.from, dropped.to);
}

void CaptureWriter::command(const Remark& command) {
  append(RecordKind::command, encoder_.remark(command), command.at, command.at);
}

void CaptureWriter::note(const Remark& note) { append(RecordKind::note, encoder_.remark(note), note.at, note.at); }

void CaptureWriter::tick() {
  const Nanos now = clock_();
  if (now - last_flush_ < hand_over_every_) return;
  last_flush_ = now;
  flush();
}

void CaptureWriter::flush() {
  if (thread_) thread_->flush();
}

void CaptureWriter::drain() {
  if (thread_) thread_->drain();
}

WriterThread::Counts CaptureWriter::counts() const {
  if (thread_) return thread_->counts();
  return {records_, {}, records_};
}

int CaptureWriter::error() const { return thread_ ? thread_->counts().files.error : thread_error_; }

}  // namespace hopbench
