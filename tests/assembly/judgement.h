// The assembler judged: a simulated chain, heard at every hop and put together without truth, beside what its own
// controller's run recorded.
#pragma once

#include <cstdint>
#include <map>
#include <memory>
#include <optional>
#include <string>
#include <vector>

#include "assembly/assembler.h"
#include "bus/description.h"
#include "chain/hop_listener.h"
#include "scenario/description.h"
#include "support/collector.h"

namespace hopbench {

/// Keeps what passes every hop.
class Taps final : public HopListener {
 public:
  void sent(const Sighting& sighting) override { keep(true, sighting); }
  void heard(const Sighting& sighting) override { keep(false, sighting); }

  struct Passed {
    bool sent = false;
    Sighting sighting;  // its mark is its place in `all`
    Frame frame;
    Content content;
  };
  std::vector<std::unique_ptr<Passed>> all;

 private:
  void keep(bool sent, const Sighting& sighting);
};

struct Assembly final : AssemblyTaker {
  std::vector<AssembledExchange> exchanges;  // in the order of asking
  std::vector<std::uint64_t> strays;         // marks
  std::uint64_t ambiguous = 0;
  void assembled(const AssembledExchange& exchange) override { exchanges.push_back(exchange); }
  void stray(const Sighting& sighting) override { strays.push_back(sighting.mark); }
};

struct Share {
  std::uint64_t same = 0;
  std::uint64_t of = 0;
  void count(bool agrees) {
    same += agrees ? 1U : 0U;
    ++of;
  }
  [[nodiscard]] double share() const { return of == 0 ? 1 : static_cast<double>(same) / static_cast<double>(of); }
  Share& operator+=(const Share& other) {
    same += other.same;
    of += other.of;
    return *this;
  }
};

struct Judgement {
  Share groups;     // exchanges with the same tries
  Share tries;      // with the same outcome
  Share exchanges;  // with the same outcome
  Share rows;       // with the same exchange, try and leg
  Share strays;     // what came home and is nobody's
  std::uint64_t ambiguous = 0;
  std::map<std::string, std::uint64_t> kinds;  // of disagreement
  std::map<std::string, std::uint64_t> marked;  // of these, those that the assembler marked as ambiguous
  Judgement& operator+=(const Judgement& other);
};

/// Runs so many exchanges of the scenario and judges. `stated`: the assembler is told the controller's time-out.
Judgement judged(const BusDescription& bus, const ChainDescription& chain, std::uint64_t exchanges, bool stated);

}  // namespace hopbench
