#include "text/topic_check.h"

#include <fmt/format.h>

#include <algorithm>
#include <vector>

#include "text/suggest.h"

namespace hopbench {

void check_topic(const Spot& spot, const std::string& topic, const BusDescription* bus,
                 const std::vector<std::string>& among) {
  if (bus == nullptr) return;
  std::vector<std::string> known;
  for (const TopicSpec& spec : bus->topics) {
    if (spec.name == topic) return;
    if (among.empty() || std::find(among.begin(), among.end(), spec.name) != among.end()) known.push_back(spec.name);
  }
  spot.say(fmt::format("the bus {} has no topic {}{}", bus->name, in_quotes(topic), suggestion(topic, known)));
}

}  // namespace hopbench
