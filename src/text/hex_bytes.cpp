#include "text/hex_bytes.h"

#include <fmt/format.h>

#include <algorithm>
#include <cctype>

#include "base/plain_text.h"
#include "text/suggest.h"

namespace hopbench {
namespace {

constexpr std::size_t most_bytes = std::size_t{1} << 20U;
constexpr std::size_t least_offset = 7;  // digits

bool is_digit(char c) { return std::isxdigit(static_cast<unsigned char>(c)) != 0; }

std::uint8_t digit(char c) {
  return static_cast<std::uint8_t>(c <= '9' ? c - '0' : std::tolower(static_cast<unsigned char>(c)) - 'a' + 10);
}

bool parts_bytes(char c) { return c == ' ' || c == '\t' || c == ',' || c == ':' || c == ';' || c == '\r'; }

/// Where the bytes of a dump's line begin; 0 if it has no offset.
std::size_t after_offset(std::string_view line) {
  std::size_t digits = 0;
  while (digits < line.size() && is_digit(line[digits])) ++digits;
  if (digits < least_offset) return 0;
  const std::string_view rest = line.substr(digits);
  if (rest.starts_with(": ")) return digits + 1;
  // The last line of a dump is an offset alone.
  return rest.starts_with("  ") || (rest.empty() && digits == least_offset + 1) ? digits : 0;
}

/// Where the text beside the bytes of a dump's line begins.
std::size_t before_text(std::string_view line, std::size_t from) {
  if (const std::size_t bar = line.find('|', from); bar != std::string_view::npos) return bar;
  if (line[from - 1] != ':') return line.size();
  while (from < line.size() && line[from] == ' ') ++from;
  return std::min(line.find("  ", from), line.size());
}

/// The bytes of one line behind those of `run`. False if something is none; `at` is then its place.
bool take_line(std::string_view line, std::size_t& at, std::size_t end, HexRun& run) {
  while (at < end) {
    if (parts_bytes(line[at])) {
      ++at;
      continue;
    }
    if (line[at] == '0' && at + 1 < end && (line[at + 1] == 'x' || line[at + 1] == 'X')) {
      at += 2;
      if (at == end || !is_digit(line[at])) return false;
    }
    if (!is_digit(line[at]) || at + 1 >= end || !is_digit(line[at + 1])) return false;
    run.push_back(static_cast<std::uint8_t>(digit(line[at]) << 4U | digit(line[at + 1])));
    at += 2;
  }
  return true;
}

}  // namespace

std::optional<std::vector<HexRun>> hex_runs(std::string_view name, std::string_view text, std::string& problem) {
  std::vector<HexRun> runs;
  std::size_t total = 0;
  bool goes_on = false;
  for (std::size_t number = 1; !text.empty(); ++number) {
    const std::size_t break_at = text.find('\n');
    const std::string_view line = text.substr(0, break_at);
    text = break_at == std::string_view::npos ? std::string_view{} : text.substr(break_at + 1);
    const std::size_t offset = after_offset(line);
    if (offset == 0 || !goes_on) runs.emplace_back();
    goes_on = offset != 0;
    std::size_t at = offset;
    const std::size_t end = offset == 0 ? line.size() : before_text(line, offset);
    if (!take_line(line, at, end, runs.back())) {
      const std::string_view there = line.substr(at, at + 1 < end && !parts_bytes(line[at + 1]) ? 2 : 1);
      problem = fmt::format("{}:{}:{}: {} is no byte; write two hexadecimal digits for each, for example \"b5 01\"",
                            name, number, at + 1, in_quotes(there));
      return std::nullopt;
    }
    if (runs.back().empty()) runs.pop_back();
    total += line.size();
    if (total / 2 > most_bytes) {
      problem = fmt::format("{}:{}:1: more than 1 MiB of bytes; give a part of them", name, number);
      return std::nullopt;
    }
  }
  if (runs.empty()) {
    problem = fmt::format("{}:1:1: no bytes; write them as hexadecimal digits, for example \"b5 01\"", name);
    return std::nullopt;
  }
  return runs;
}

std::optional<HexRun> bytes_of_text(std::string_view text, std::string& problem) {
  HexRun bytes;
  for (std::size_t at = 0; at < text.size(); ++at) {
    if (text[at] != '\\') {
      bytes.push_back(static_cast<std::uint8_t>(text[at]));
      continue;
    }
    const char escaped = at + 1 < text.size() ? text[at + 1] : '\0';
    const std::size_t which = std::string_view("rnt\\").find(escaped);
    if (escaped != '\0' && which != std::string_view::npos) {
      bytes.push_back(static_cast<std::uint8_t>("\r\n\t\\"[which]));
      ++at;
    } else if (escaped == 'x' && at + 3 < text.size() && is_digit(text[at + 2]) && is_digit(text[at + 3])) {
      bytes.push_back(static_cast<std::uint8_t>(digit(text[at + 2]) << 4U | digit(text[at + 3])));
      at += 3;
    } else {
      problem = fmt::format("text:1:{}: {} is no escape; known are \\r, \\n, \\t, \\\\ and \\xhh", at + 1,
                            in_quotes(text.substr(at, 2)));
      return std::nullopt;
    }
  }
  return bytes;
}

}  // namespace hopbench
