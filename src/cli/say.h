// One line for whoever watches, in which nothing that stands in a file, or in its name, can act on a terminal.
#pragma once

#include <fmt/format.h>

#include <cstdio>
#include <string>
#include <string_view>
#include <type_traits>
#include <utility>

#include "base/plain_text.h"

namespace hopbench {

/// Texts as harmless() shows them, anything else as it is.
template <class T>
auto shown(const T& value) {
  if constexpr (std::is_convertible_v<const T&, std::string_view>) {
    return harmless(value);
  } else {
    return value;
  }
}

/// To the standard error. `format` is the program's own; what it is filled with may come from anywhere. A terminal that
/// has gone away ends nothing.
template <class... T>
void say_line(fmt::format_string<std::decay_t<decltype(shown(std::declval<const T&>()))>...> format,
              const T&... values) {
  const std::string line = fmt::format(format, shown(values)...);
  (void)std::fwrite(line.data(), 1, line.size(), stderr);
}

}  // namespace hopbench
