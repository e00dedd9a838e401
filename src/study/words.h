// Small pieces of sentences: counts, shares, spans and names as a reader expects them.
#pragma once

#include <cstdint>
#include <string>
#include <string_view>
#include <vector>

#include "base/time.h"
#include "seen/mechanism.h"
#include "study/cases.h"
#include "study/evidence.h"

namespace hopbench::words {

/// 4812 as "4,812".
std::string count(std::uint64_t number);
/// "1 frame", "4,812 frames".
std::string counted(std::uint64_t number, const std::string& noun);
/// So many of those that were looked at: as they are, or "about 8,000", scaled up from the sample.
std::string of_failures(const Evidence& evidence, std::uint64_t looked_at);
/// A share of 0..1 in percent with two digits that count, sign included: "0.24 %".
std::string share(double value);
/// A difference of shares in hundredths, signed, two digits that count: "-0.31".
std::string points(double difference);
/// "0.24 % (0.21 to 0.27 %)" with exact limits of 95 %.
std::string share_with_limits(std::uint64_t hits, std::uint64_t trials);
/// "30 ms", "1.2 s", "4.0 h".
std::string span(Nanos length);
/// A span that may be longer than any run: ns.
std::string long_span(double length);
/// An instant of the capture, in whole seconds: "12:16:55", "2 d 13:01:05".
std::string instant(Nanos at);
/// A chance: "0.02", "below 0.0001".
std::string chance(double p);
/// A name of the code as words: "no_room" as "no room".
std::string spaced(std::string_view name);
/// "a, b and c".
std::string list(const std::vector<std::string>& parts, const char* last = "and");

/// "hop 35 (a34 -> b1)".
std::string hop(const RunInfo& run, std::uint16_t link);
/// "n07", "the controller".
std::string station(const RunInfo& run, std::uint16_t node);
/// A mechanism behind "looks like".
std::string mechanism(Mechanism mechanism);
/// Where a case is, in words: "on hop 35 (a34 -> b1)", "at n07", "on 12 hops".
std::string place(const Evidence& evidence, const Case& which);
/// What is known of a condition that was read from the traffic: "the charge current is not told on this bus", "the
/// number of cells balancing up to 8 min old". `exchanges`: all that were looked at.
std::string as_told(Condition condition, const Known& known, std::uint64_t exchanges);
/// That so many doubtful exchanges are left out, in one sentence.
std::string left_out(std::uint64_t doubtful);
/// What one case's failures look like, in words.
std::string look(Family family);

}  // namespace hopbench::words
