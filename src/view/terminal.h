// What may be written to a stream.
#pragma once

namespace hopbench {

/// True if the stream is a terminal that can do more than a line printer (TERM is not "dumb").
bool is_terminal(int file);
/// The same, and the user has not asked for no colours (NO_COLOR set to anything but nothing).
bool colour_wanted(int file);

}  // namespace hopbench
