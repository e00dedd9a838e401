// Lengths of time that divide a minute, an hour and a day evenly, so that days can stand under each other.
#pragma once

#include <array>
#include <cstddef>

#include "base/time.h"

namespace hopbench {

inline constexpr Nanos one_minute = 60 * second;
inline constexpr Nanos one_hour = 60 * one_minute;
inline constexpr Nanos one_day = 24 * one_hour;

/// Lengths of slices. Each is a multiple of the one before, so that slices can be put together exactly.
inline constexpr std::array slice_spans{
    millisecond,     5 * millisecond, 10 * millisecond, 50 * millisecond, 100 * millisecond, 500 * millisecond,
    second,          5 * second,      10 * second,      30 * second,      one_minute,        5 * one_minute,
    10 * one_minute, 30 * one_minute, one_hour,         2 * one_hour,     6 * one_hour,      12 * one_hour,
    one_day,         7 * one_day,     28 * one_day,     364 * one_day,    3640 * one_day,    36'400 * one_day,
};

/// Lengths that a column of the map may have.
inline constexpr std::array column_spans{
    millisecond,       2 * millisecond,   5 * millisecond,   10 * millisecond, 20 * millisecond, 50 * millisecond,
    100 * millisecond, 200 * millisecond, 500 * millisecond, second,           2 * second,       5 * second,
    10 * second,       30 * second,       one_minute,        2 * one_minute,   5 * one_minute,   10 * one_minute,
    30 * one_minute,   one_hour,          2 * one_hour,      6 * one_hour,     12 * one_hour,    one_day,
    2 * one_day,       7 * one_day,       28 * one_day,      84 * one_day,     364 * one_day,    3640 * one_day,
    36'400 * one_day,
};

/// The next longer slice; the longest stays as it is.
Nanos longer_slice(Nanos span);
/// Whether slices may be so long.
bool is_slice_span(Nanos span);

/// The next shorter or longer column; the shortest and the longest stay as they are.
Nanos shorter_column(Nanos span);
Nanos longer_column(Nanos span);
/// The shortest column of which `columns`, begun at a multiple of it, reach from `from` to `until`.
Nanos column_for(Nanos from, Nanos until, std::size_t columns);

/// The slot where an instant falls among spans of this length; below zero as well.
constexpr std::int64_t slot_of(Nanos at, Nanos span) { return at >= 0 ? at / span : -((-at + span - 1) / span); }

}  // namespace hopbench
