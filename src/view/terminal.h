// What may be written to a stream.
#pragma once

namespace hopbench {

/// True if the stream is a terminal that can do more than a line printer (TERM is not "dumb").
bool is_terminal(int file);
/// The same, and the user has not asked for no colours (NO_COLOR set to anything but nothing).
bool colour_wanted(int file);
/// The user's locale (LC_ALL, LC_CTYPE, LANG, the first that is set) writes UTF-8.
bool writes_utf8();

}  // namespace hopbench
