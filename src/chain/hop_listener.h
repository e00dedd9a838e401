// Hears what passes the hops of a chain, as a tap at each of them would: what was heard and when, and nothing that only
// a simulation knows.
#pragma once

#include "assembly/assembled.h"
#include "base/time.h"
#include "bus/decoder.h"
#include "bus/protocol.h"

namespace hopbench {

/// What a sighting points to is valid during the call; its mark is unset.
class HopListener {
 public:
  /// The controller puts this on its link. Told when it sets out, which may be before its first edge.
  virtual void sent(const Sighting& sighting) = 0;
  /// The station at the far end of a link heard this. What comes while it is off it does not hear.
  virtual void heard(const Sighting& sighting) = 0;

 protected:
  ~HopListener() = default;
};

/// A finding as a listener is told of it at `now`. `content` is filled if the finding has none.
Sighting sighting_of(const Protocol& protocol, Nanos now, std::uint16_t link, const Finding& finding, Symptom symptom,
                     Content& content);

}  // namespace hopbench
