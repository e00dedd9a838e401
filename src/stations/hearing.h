// What a station is told of what it heard: what the wire said, and when. Whose frame it was is not in it.
#pragma once

#include <cstdint>

#include "base/time.h"
#include "bus/frame.h"
#include "bus/protocol.h"
#include "seen/symptom.h"

namespace hopbench {

struct Hearing {
  std::uint16_t link = 0;
  Nanos first_edge = 0;
  Nanos end = 0;                     // of its last character
  Symptom symptom = Symptom::none;   // none: all checks passed
  const Frame* frame = nullptr;      // as read; if damaged, as far as it goes. Its role is as its bytes tell
  const Content* content = nullptr;  // bytes as heard; empty of a good frame that was not looked at byte by byte
  [[nodiscard]] bool good() const { return symptom == Symptom::none; }
};

/// A node or a controller.
class Station {
 public:
  virtual void on_hearing(Nanos now, const Hearing& hearing) = 0;

 protected:
  ~Station() = default;
};

}  // namespace hopbench
