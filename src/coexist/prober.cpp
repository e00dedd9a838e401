#include "coexist/prober.h"

namespace hopbench {

Prober::Prober(const Protocol& protocol, const ChainDescription& chain, std::uint64_t seed)
    : protocol_(&protocol), log_(protocol), chain_(protocol, chain, seed, Way::events, Seat::in_time, log_) {
  chain_.listen(*this);
  const Nanos character = span_of_bits(protocol.line().char_half_bits(), period_of_baud(protocol.line().baud)) / 2;
  chain_.set_outlet([this, character](std::span<const Nanos> ends, std::span<const std::uint8_t> bytes,
                                      std::span<const std::uint8_t> flags, bool) {
    came_.insert(came_.end(), bytes.begin(), bytes.end());
    for (std::size_t i = 0; i < bytes.size(); ++i) {
      HeardChar heard;
      heard.byte = bytes[i];
      heard.framing_error = i < flags.size() && flags[i] != 0;
      heard.end = ends[i];
      heard.start = ends[i] - character;
      heard_.push_back(heard);
    }
  });
}

void Prober::send(const Content& content, Nanos patience) {
  passed_.clear();
  came_.clear();
  heard_.clear();
  WireBytes wire;
  protocol_->wrap(content.view(), wire);
  const Nanos now = chain_.now();
  chain_.arrive(now, false, wire.view(), {});
  (void)chain_.run_until(now + patience);
  frames_ += passed_.size();
}

std::optional<Frame> Prober::last_that_came() const {
  Decoder decoder(*protocol_, period_of_baud(protocol_->line().baud));
  std::vector<Finding> findings;
  for (const HeardChar& heard : heard_) decoder.push(heard, findings);
  decoder.silent_until(chain_.now(), findings);
  std::optional<Frame> last;
  for (const Finding& finding : findings) {
    if (finding.damage == Damage::none && !finding.framing_error) last = finding.frame;
  }
  return last;
}

void Prober::heard(const Sighting& sighting) {
  passed_.push_back({sighting.link, sighting.symptom == Symptom::none, *sighting.content});
}

}  // namespace hopbench
