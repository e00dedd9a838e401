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

struct AgreedShare {
  std::uint64_t same = 0;
  std::uint64_t of = 0;
  void count(bool agrees) {
    same += agrees ? 1U : 0U;
    ++of;
  }
  [[nodiscard]] double share() const { return of == 0 ? 1 : static_cast<double>(same) / static_cast<double>(of); }
  AgreedShare& operator+=(const AgreedShare& other) {
    same += other.same;
    of += other.of;
    return *this;
  }
};

/// Why the assembled exchange may differ from what the simulated controller's run recorded.
namespace kinds {
inline constexpr const char* forged = "a frame was changed, and its checks passed";
inline constexpr const char* earlier_answer = "the controller took an earlier answer";
inline constexpr const char* answers_cross = "no number tells the answers of two exchanges apart";
inline constexpr const char* no_time_out = "the time-out is not known";
inline constexpr const char* record_closed = "the simulated run closed its record before the answer came";
inline constexpr const char* between_tries = "an answer came between two tries";
inline constexpr const char* which_try = "an answer may be of either of two tries";
inline constexpr const char* next_round = "the next round of a plan of one entry looks like a retry";
inline constexpr const char* retry_as_round = "a retry of a plan of one entry looks like its next round";
inline constexpr const char* unknown = "not known why";
}  // namespace kinds

struct Judgement {
  AgreedShare groups;        // exchanges with the same tries
  AgreedShare tries;         // with the same outcome
  AgreedShare exchanges;     // with the same outcome
  AgreedShare rows;          // good frames on a hop with the same exchange, try and leg
  AgreedShare damaged_rows;  // the same of damage
  std::uint64_t rows_left_out = 0;
  std::uint64_t rows_of_another = 0;
  AgreedShare strays;  // what came home is a stray for both, or for neither
  std::uint64_t ambiguous = 0;
  std::map<std::string, std::uint64_t> kinds;   // exchanges that differ, by why
  std::map<std::string, std::uint64_t> marked;  // of these, those that the assembler marked as ambiguous
  Judgement& operator+=(const Judgement& other);
};

/// Runs so many exchanges of the scenario and judges. `stated`: the assembler is told the controller's time-out.
Judgement judged(const BusDescription& bus, const ChainDescription& chain, std::uint64_t exchanges, bool stated);

}  // namespace hopbench
