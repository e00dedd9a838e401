#include "chain/hop_listener.h"

namespace hopbench {

Sighting sighting_of(const Protocol& protocol, Nanos now, std::uint16_t link, const Finding& finding, Symptom symptom,
                     Content& content) {
  content = finding.content;
  if (content.empty()) protocol.encode(finding.frame, content);
  return {link, finding.first_edge, finding.end, finding.chars, symptom, &finding.frame, &content, no_mark, now};
}

}  // namespace hopbench
