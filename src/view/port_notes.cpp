#include "view/port_notes.h"

#include <fmt/format.h>

#include "base/counted.h"
#include "view/number_text.h"
#include "view/paragraph.h"

namespace hopbench {
namespace {

const char* were(std::uint64_t count) { return count == 1 ? "was" : "were"; }

}  // namespace

std::string port_notes(const Lateness& late, std::size_t indent) {
  std::string out;
  const auto add = [&](const std::string& text) { out += paragraph(indent, "", text); };
  if (static_cast<Nanos>(late.sends) > 0) {
    add(fmt::format("Sending was late by {} on average and {} at worst, over {}.",
                    short_span(late.total / static_cast<Nanos>(late.sends)), short_span(late.worst),
                    counted(late.sends, "send")));
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
    add(fmt::format("{} {} thrown away: the controller did not read them.", counted(late.not_fetched, "byte"),
                    were(late.not_fetched)));
  if (late.nobody_there > 0)
    add(fmt::format("{} {} thrown away: nobody had the port open.", counted(late.nobody_there, "byte"),
                    were(late.nobody_there)));
  return out;
}

}  // namespace hopbench
