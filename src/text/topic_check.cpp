#include "text/topic_check.h"

#include <fmt/format.h>

#include <vector>

#include "text/suggest.h"

namespace hopbench {

void check_topic(const Spot& spot, const std::string& topic, const BusDescription* bus) {
  if (bus == nullptr) return;
  std::vector<std::string> known;
  for (const TopicSpec& spec : bus->topics) {
    if (spec.name == topic) return;
    known.push_back(spec.name);
  }
  spot.say(fmt::format("the bus {} has no topic {}{}", bus->name, in_quotes(topic), suggestion(topic, known)));
}

}  // namespace hopbench
