#include <fmt/format.h>

#include "view/file_trouble.h"
#include "view/number_text.h"
#include "view/paragraph.h"
#include "view/port_notes.h"
#include "view/summary_parts.h"

namespace hopbench {
std::string trouble_text(const Summary& summary) {
  std::string out;
  const auto& capture = summary.capture;
  CaptureDamage files;
  files.segments_missing = capture.files_missing;
  files.segments_misplaced = capture.files_misplaced;
  files.segments_cut = capture.files_cut;
  if (files.bad_segments() > 0)
    out += paragraph(0, "", fmt::format("The capture is damaged: {}.", file_trouble(files)));
  if (capture.bytes_skipped > 0 || capture.records_missing > 0) {
    const auto missing = records_missing(capture.bytes_skipped, capture.records_missing);
    out += paragraph(
        0, "",
        fmt::format("The capture is damaged: {} {} skipped{}.", counted(capture.bytes_skipped, "byte"),
                    were(capture.bytes_skipped),
                    missing ? fmt::format(" and at least {} {} missing", counted(*missing, "record"), are(*missing))
                            : ", and how many records they held cannot be told"));
  }
  if (capture.causes_unreadable > 0) {
    out += paragraph(0, "",
                     fmt::format("The causes of {} cannot be read.", counted(capture.causes_unreadable, "exchange")));
  }
  const auto& coverage = summary.coverage;
  if (coverage.tallied > 0) {
    out += paragraph(
        0, "",
        coverage.tallied_unanswered == 0
            ? fmt::format("{} of the exchanges come from tallies; all were answered, and count in every figure.",
                          grouped(coverage.tallied))
            : fmt::format("{} of the exchanges come from tallies, and {} of these failed. They count in every "
                          "figure, but the causes are those of the other failures only.",
                          grouped(coverage.tallied), grouped(coverage.tallied_unanswered)));
  }
  if (coverage.unreadable > 0) {
    out += paragraph(0, "",
                     fmt::format("Tallies of {} cannot be read; nothing of them is in any figure.",
                                 counted(coverage.unreadable, "exchange")));
  }
  if (coverage.dropped > 0) {
    out += paragraph(
        0, "",
        fmt::format("{} {} missing from the capture.", counted(coverage.dropped, "record"), are(coverage.dropped)));
  }
  if (coverage.holes > 0) {
    out += paragraph(0, "",
                     fmt::format("{} in {} {} missing from the capture: what happened then is in no figure.",
                                 long_span(coverage.hole_time), counted(coverage.holes, "place"), are(coverage.holes)));
  }
  if (coverage.gaps > 0) {
    out += paragraph(0, "",
                     fmt::format("Nothing was seen for {} in {}; bursts go on across, times without a reading do not.",
                                 long_span(coverage.gap_time), counted(coverage.gaps, "gap")));
  }
  if (coverage.ambiguous > 0) {
    out += paragraph(0, "",
                     fmt::format("In {} what was heard fits another one as well: which it belongs to is a guess there.",
                                 counted(coverage.ambiguous, "exchange")));
  }
  if (coverage.doubtful > 0) {
    out += paragraph(0, "",
                     fmt::format("In {} the bench was so late at the port that this may have decided the outcome; "
                                 "no verdict rests on these.",
                                 counted(coverage.doubtful, "exchange")));
  }
  if (!summary.run.simulated) out += port_notes(summary.measures.lateness, 0);
  return out;
}

}  // namespace hopbench
