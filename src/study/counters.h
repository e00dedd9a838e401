// What nodes say of themselves: frames heard and check failures, as they count them and tell when they are asked. A
// controller can read them, and they say into which node frames arrive damaged.
#pragma once

#include <algorithm>
#include <cstdint>
#include <vector>

#include "bus/protocol.h"
#include "study/observed.h"

namespace hopbench {

struct NodeCounters {
  std::uint64_t told = 0;      // how often it told
  std::uint64_t heard = 0;     // between the first and the last time
  std::uint64_t damaged = 0;   // the same
  std::uint64_t restarts = 0;  // times that its counters, or the time since its start, went back
};

/// Whether any node told its counters: to ask for them is no advice any more. Null: it is not known.
inline bool told_already(const std::vector<NodeCounters>* counters) {
  return counters != nullptr &&
         std::any_of(counters->begin(), counters->end(), [](const NodeCounters& each) { return each.told > 0; });
}

/// Reads answers whose topic has the quantities frames_heard and check_failures. Counters that went back have begun
/// anew (one that went round would be taken for that, too).
class CounterFold final : public Observer {
 public:
  /// It must outlive this.
  explicit CounterFold(const Protocol& protocol) : protocol_(&protocol) {}

  void begin(const RunInfo& run) override;
  void exchange(const ExchangeObs& obs) override;
  // Nodes tell of themselves in their answers only, and count on over what is missing.
  void stray(const Stray&) override {}
  void arrival(const Arrival&) override {}
  void tally(const Tally&) override {}
  void conditions(const ConditionValues&) override {}
  void gap(const Gap&) override {}
  void dropped(const Dropped&) override {}
  void command(const Remark&) override {}
  void note(const Remark&) override {}
  void end(Nanos) override {}

  [[nodiscard]] const std::vector<NodeCounters>& counters() const { return counters_; }

 private:
  struct Last {
    bool known = false;
    std::uint64_t heard = 0;
    std::uint64_t damaged = 0;
    std::uint64_t up = 0;
  };
  struct Fields {
    int heard = -1;  // item of the answer's layout
    int damaged = -1;
    int up = -1;
  };
  [[nodiscard]] Fields fields_of(std::uint32_t topic) const;

  const Protocol* protocol_;
  std::vector<std::uint8_t> tells_;  // by entry
  std::vector<NodeCounters> counters_;
  std::vector<Last> last_;
  std::vector<PayloadValue> values_;
  Frame frame_;
};

}  // namespace hopbench
