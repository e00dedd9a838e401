// Frames sent into a chain by hand, and what becomes of each on its way.
#pragma once

#include <cstdint>
#include <optional>
#include <span>
#include <vector>

#include "bus/decoder.h"
#include "bus/protocol.h"
#include "chain/chain.h"
#include "chain/hop_listener.h"
#include "coexist/run_log.h"

namespace hopbench {

/// A frame as the station behind a link heard it.
struct PassedFrame {
  std::uint16_t link = 0;
  bool good = false;
  Content content;
};

class Prober final : private HopListener {
 public:
  /// All must outlive the prober.
  Prober(const Protocol& protocol, const ChainDescription& chain, std::uint64_t seed);

  /// Sends a frame, and waits for so long.
  void send(const Content& content, Nanos patience);
  /// Since the last send(): frames heard by nodes, in the order in which they were; bytes that came to the controller.
  [[nodiscard]] const std::vector<PassedFrame>& passed() const { return passed_; }
  [[nodiscard]] const std::vector<std::uint8_t>& came() const { return came_; }
  /// The last good frame among these bytes.
  [[nodiscard]] std::optional<Frame> last_that_came() const;
  [[nodiscard]] std::uint64_t frames() const { return frames_; }

 private:
  void sent(const Sighting&) override {}
  void heard(const Sighting& sighting) override;

  const Protocol* protocol_;
  RunLog log_;
  Chain chain_;
  std::vector<PassedFrame> passed_;
  std::vector<std::uint8_t> came_;
  std::vector<HeardChar> heard_;  // the same, with their times
  std::uint64_t frames_ = 0;
};

}  // namespace hopbench
