// When things happen in an exchange that goes the way of a recording, at another time and by the clocks as they are
// now.
//
// A recording says of each row which one its sender heard before, and how long after that it was sent. That a frame
// takes its characters by its sender's clock, when its receiver has heard it and when a processor is free is asked of
// links and processors themselves. So nothing of what nodes do is said twice; and where the instants so found are not
// those of the recording itself, it is not re-timed.
#pragma once

#include <memory>
#include <vector>

#include "chain/controller_post.h"
#include "chain/recording.h"
#include "chain/repeat_counts.h"
#include "wires/works.h"

namespace hopbench {

class Retimer {
 public:
  using Links = std::vector<std::unique_ptr<Link>>;
  using Posts = std::vector<std::unique_ptr<NodePost>>;
  /// All must outlive it.
  Retimer(Works& works, const Links& links, const Posts& posts, ControllerPost& controller);

  /// Finds out how the instants of a recording follow from each other; `timed` tells whether they were all explained.
  void learn(Recording& recording);
  /// Whether an exchange that begins at `at` has the instants of the recording, each as far after its start.
  [[nodiscard]] bool holds(const Recording& recording, Nanos at);
  /// Gives the recording the instants of an exchange that begins at `at`. `clocks`: a clock has moved. False if that
  /// would not go the way of the recording, and why; the recording is then as it was.
  [[nodiscard]] bool retime(Recording& recording, Nanos at, bool clocks, ByEvents& why);
  /// Processors may have more or less to do than before.
  void look_anew();
  /// A clock at one end of this link goes otherwise than before.
  void clock_moved(std::size_t link) { paces_[link].known = false; }

 private:
  struct Calm {  // a processor surely has nothing to do from one instant up to the other
    Nanos from = 0;
    Nanos until = 0;
  };
  struct Pace {  // what the clocks at both ends make of any frame; as in RecordedHop
    bool known = false;
    bool loose = false;
    Nanos silence = 0;
    Nanos arrives = 0;
    Nanos books = 0;
  };
  [[nodiscard]] bool explain(Recording& recording);
  [[nodiscard]] bool place(Recording& recording, Nanos at, bool clocks, ByEvents& why);
  [[nodiscard]] bool calm(std::uint16_t node, const Processor& processor, Nanos from, Nanos to);
  [[nodiscard]] Nanos free_at(const RecordedHop& hop, Nanos at);
  [[nodiscard]] const Pace& pace_of(std::uint16_t index);
  [[nodiscard]] bool fetches(const HopRow& row);

  Works* works_;
  const Links* links_;
  const Posts* posts_;
  Controller* controller_;
  bool whole_frames_only_;   // no node passes anything on while it comes in
  std::vector<Calm> calm_;   // by node
  std::vector<Pace> paces_;  // by link
  std::vector<bool> used_;   // scratch, by link
};

}  // namespace hopbench
