// Bytes that a person wrote down, or a tool dumped, in hexadecimal.
#pragma once

#include <cstdint>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

namespace hopbench {

/// Bytes that came without a pause.
using HexRun = std::vector<std::uint8_t>;

/// Reads pairs of digits, in any case, with or without spaces, commas, colons, semicolons or 0x between them. Each line
/// is a run of its own, unless lines begin with an offset, as dumps do: "00000010: b5 10" or "00000010  b5 10  |..|";
/// text at the end of such lines is passed over. At most 1 MiB of bytes. None if something is no byte; `problem` then
/// says where and what, after `name`: "name:line:column: what".
[[nodiscard]] std::optional<std::vector<HexRun>> hex_runs(std::string_view name, std::string_view text,
                                                          std::string& problem);

/// Text with \r, \n, \t, \\ and \xhh in it as bytes. None if an escape is none of these.
[[nodiscard]] std::optional<HexRun> bytes_of_text(std::string_view text, std::string& problem);

}  // namespace hopbench
