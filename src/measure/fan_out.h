// One run, several listeners.
#pragma once

#include <initializer_list>

#include "seen/forwarding_sink.h"

namespace hopbench {

/// Tells each sink everything, in the order given. The sinks must outlive it.
class FanOut final : public ForwardingSink {
 public:
  FanOut(std::initializer_list<Sink*> sinks) : ForwardingSink(sinks) {}
  void add(Sink& sink) { add_listener(sink); }
};

}  // namespace hopbench
