#include "line/retime.h"

#include <algorithm>

#include "line/signal.h"

namespace hopbench {

void retime(std::span<const Nanos> heard, Nanos not_before, Nanos lag, std::uint32_t char_half_bits, Period out_period,
            std::uint32_t fifo, Retimed& result) {
  result.starts.clear();
  result.passed.clear();
  result.overrun = false;
  std::size_t oldest_waiting = 0;  // into starts: the first that had not gone out when the last one was heard
  Nanos run_start = 0;             // of the latest back-to-back run, so that edges are not summed up
  std::uint64_t in_run = 0;
  for (std::uint32_t i = 0; i < heard.size(); ++i) {
    while (oldest_waiting < result.starts.size() && result.starts[oldest_waiting] <= heard[i]) ++oldest_waiting;
    if (result.starts.size() - oldest_waiting >= fifo) {
      result.overrun = true;
      continue;
    }
    const Nanos ready = std::max(not_before, heard[i] + lag);
    const Nanos free = in_run == 0 ? ready : half_edge(run_start, in_run * char_half_bits, out_period);
    if (in_run == 0 || ready > free) {
      run_start = ready;
      in_run = 0;
    }
    result.starts.push_back(half_edge(run_start, in_run * char_half_bits, out_period));
    result.passed.push_back(i);
    ++in_run;
  }
}

}  // namespace hopbench
