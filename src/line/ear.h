// An ear: what a station hears at one side. Levels become characters in the receiver, characters become frames or
// damage in the decoder. A frame that surely nothing touched may be handed over whole; what is heard is then the same.
#pragma once

#include <cstdint>
#include <optional>
#include <vector>

#include "base/time.h"
#include "bus/decoder.h"
#include "bus/protocol.h"
#include "line/levels.h"
#include "line/receiver.h"
#include "line/signal.h"
#include "line/spec.h"

namespace hopbench {

class Ear {
 public:
  /// `period`: one bit by the listening station's clock. The protocol must outlive the ear.
  Ear(const Protocol& protocol, const ReceiverSpec& spec, Period period);

  /// Nothing half heard: a transmission that begins at `start` is judged by itself.
  [[nodiscard]] bool idle_at(Nanos start) const;
  /// Whether a sender with bits of `sent` is surely heard well (low levels `stretch` longer than sent).
  [[nodiscard]] bool surely_in_step(Period sent, Nanos stretch) {
    if (!step_.known || step_.sent != sent || step_.stretch != stretch) {
      step_ = {true, sent, stretch, receiver_.surely_in_step(sent, stretch)};
    }
    return step_.in_step;
  }
  /// When a frame that arrives undisturbed with `timing` is surely heard well; `never` if bytes have to tell. See
  /// Receiver::decided_at().
  [[nodiscard]] Nanos decided_at(const Timing& timing, Nanos stretch, bool whole_chars) const {
    return receiver_.decided_at(timing, stretch, whole_chars);
  }
  /// The listening station's clock goes otherwise from now on.
  void set_period(Period period);
  [[nodiscard]] Period period() const { return receiver_.period(); }

  /// A whole frame came, every character as sent. Only if idle_at(timing.start()). `decided`: when the vote over its
  /// last character was over; later than timing.end() only on a bus whose frames no silence ends.
  void hear_clean(const Frame& frame, const Timing& timing, Nanos decided, std::uint32_t tag,
                  std::vector<Finding>& findings);

  /// Levels came; appends the characters that the receiver made of them (marked with `tag`). They go to hear() next,
  /// perhaps with some of them lost in between.
  void sample(const Levels& levels, const Timing& timing, std::uint32_t tag, std::vector<HeardChar>& chars);
  void hear(const std::vector<HeardChar>& chars, std::vector<Finding>& findings);
  /// What the receiver will make of what it holds if the line stays idle: appends it, and changes nothing. Each
  /// character ends with its last vote.
  void half_heard(std::vector<HeardChar>& chars) const;
  /// The station has no room for that.
  void miss_half_heard() { receiver_.reset(); }

  /// When something becomes clear by waiting; `never` if nothing would.
  [[nodiscard]] Nanos wants_wake() const;
  /// It is now `now` and nothing else came: appends what became clear.
  void wake(Nanos now, std::vector<Finding>& findings);

  void reset();
  /// What it goes on with when nothing is half heard. (A receiver that holds nothing begins anew with the next edge.)
  void keep(Archive& archive) { decoder_.keep(archive); }

 private:
  struct Clean {  // a frame heard whole, which only the silence after it will end, or whose last vote goes on
    Frame frame;
    Timing timing;
    std::uint32_t tag;
    Nanos decided;
    Nanos known_at;
    [[nodiscard]] bool half_heard() const { return decided > timing.end(); }
  };
  struct Step {  // what was last asked of the receiver: from frame to frame it seldom changes
    bool known = false;
    Period sent = 0;
    Nanos stretch = 0;
    bool in_step = false;
  };
  void tell_clean(std::vector<Finding>& findings);
  void break_clean(std::vector<Finding>& findings);
  void hold_clean();

  const Protocol* protocol_;
  Receiver receiver_;
  Step step_;
  Decoder decoder_;
  Nanos end_silence_;
  std::optional<Clean> clean_;
  std::uint32_t held_tag_ = 0;
  std::vector<SampledChar> sampled_;
  std::vector<HeardChar> settled_;
  std::vector<Finding> early_;  // made of a frame that was half heard when another one came; told with that
  Levels levels_;
};

}  // namespace hopbench
