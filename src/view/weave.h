// The inspector's main picture: the chain across, time running down.
#pragma once

#include <span>
#include <string>
#include <vector>

#include "picture/picture.h"
#include "view/screen.h"

namespace hopbench {

/// What the main picture shows, as values.
struct WeaveScene {
  const RunInfo* run = nullptr;
  Nanos from = 0;
  Nanos span = second;               // of one row
  std::span<const RowSlice> rows;    // as many as fit: WeaveLayout.rows
  const RunPart* stretch = nullptr;  // measures of all rows together
  Slice sum;                         // of all rows
  Nanos until = 0;                   // last instant of the capture, as far as known
  std::string capture;               // its name
  std::string state;                 // "live", "held", "complete", ...
  std::string filter;
  std::string message;         // last line
  std::vector<Nanos> notes;    // marked spots
  std::size_t first_link = 0;  // leftmost hop shown
  std::size_t cursor_link = 0;
  std::size_t cursor_row = 0;
};

/// How a screen of this size is shared out.
struct WeaveLayout {
  bool fits = false;     // false: too small
  int column = 4;        // width of a hop
  std::size_t hops = 0;  // shown at once
  bool strip = false;    // not all fit: an overview of all of them
  bool names = false;    // rows of the band that are left out where there is little room
  bool conditions = false;
  bool legend = false;
  int band_top = 2;
  int weave_top = 0;
  std::size_t rows = 0;
};
inline constexpr int least_width = 80;
inline constexpr int least_height = 24;
WeaveLayout weave_layout(const RunInfo& run, int width, int height);

Screen weave_screen(const WeaveScene& scene, int width, int height);

/// The letter for the worst that was seen, small if under a tenth of the frames had trouble; '.' as U'·' for frames
/// without trouble, a space for no frames, and marks for what was not seen: nothing is known of a hole.
ScreenCell weave_cell(const LinkCell& cell, const LinkInfo& link, const RowSlice& row);
/// What a weave's letter means, in words; "" for none.
std::string mark_words(std::uint16_t marks);
/// What of a row is not all there, in words; "" for nothing.
std::string missing_words(std::uint8_t missing);
/// One letter for the worst outcome of these.
ScreenCell outcome_cell(std::uint16_t outcomes);

/// "1.2", "47", "all": a share in per cent in at most four places.
std::string tiny_share(std::uint64_t hits, std::uint64_t trials);
/// Milliseconds in at most four places.
std::string tiny_ms(std::optional<Nanos> span);
/// An instant of the run, as fine as a row of this length needs.
std::string row_time(Nanos at, Nanos span);
/// An instant by itself, with its day and hour, to the millisecond where rows are shorter than a second.
std::string whole_time(Nanos at, Nanos span);
/// From one instant to another; the day is not said twice.
std::string stretch_text(Nanos from, Nanos to, Nanos span);

}  // namespace hopbench
