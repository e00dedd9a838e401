#include "view/port_notes.h"

#include <fmt/format.h>

#include "view/number_text.h"
#include "view/paragraph.h"

namespace hopbench {

std::string port_notes(const Lateness& late, std::size_t indent) {
  std::string out;
  const auto add = [&](const std::string& text) { out += paragraph(indent, "", text); };
  if (static_cast<Nanos>(late.sends) > 0) {
    add(fmt::format("Sending was late by {} on average and {} at worst, over {} sends.",
                    short_span(late.total / static_cast<Nanos>(late.sends)), short_span(late.worst),
                    grouped(late.sends)));
  }
  if (late.stalls > 0) {
    add(fmt::format("The bench was held up {}, for {} at worst and {} in all: bytes that came in then were read late.",
                    times(late.stalls), short_span(late.worst_stall), short_span(late.stalled)));
  }
  if (late.port_median > 0) {
    add(fmt::format("The port itself adds {} (median), {} (99 %), each way.", short_span(late.port_median),
                    short_span(late.port_99)));
  }
  if (late.not_fetched > 0)
    add(fmt::format("{} bytes were thrown away: the controller did not read them.", grouped(late.not_fetched)));
  if (late.nobody_there > 0)
    add(fmt::format("{} bytes were thrown away: nobody had the port open.", grouped(late.nobody_there)));
  return out;
}

}  // namespace hopbench
