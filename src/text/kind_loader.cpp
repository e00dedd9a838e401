#include "text/kind_loader.h"

#include <fmt/format.h>

#include <algorithm>
#include <vector>

#include "bus/frame.h"
#include "line/clock.h"
#include "text/flaw_loader.h"
#include "text/pack_loader.h"
#include "text/readers.h"
#include "text/suggest.h"
#include "text/topic_check.h"

namespace hopbench {
namespace {

constexpr std::uint64_t most_oscillator_hz = 1'000'000'000;
constexpr std::uint32_t most_clocks = 64;  // a bit
constexpr int most_topics = 256;
constexpr int most_duties = 32;

static_assert(static_cast<int>(MeasureWhen::free_running) == text::Measurement::FREE_RUNNING);
static_assert(static_cast<int>(BleedWhile::kept_on) == text::Measurement::KEPT_ON);
static_assert(static_cast<int>(OnBadCheck::pass_on) == text::BadCheck::PASS_ON);
static_assert(static_cast<int>(OnBadCheck::refuse) == text::BadCheck::REFUSE);
static_assert(static_cast<int>(OnUnknownTopic::refuse) == text::UnknownTopic::REFUSE);

ForwardingSpec forwarding_from(const text::Forwarding& forwarding, const Spot& spot) {
  ForwardingSpec result;
  switch (forwarding.way_case()) {
    case text::Forwarding::kWhole:
      read_span(spot.in("whole"), "after", forwarding.whole().after(), result.after);
      break;
    case text::Forwarding::kByCharacter: {
      const text::ByCharacter& way = forwarding.by_character();
      const Spot here = spot.in("by_character");
      result.kind = Forwarding::by_character;
      if (way.has_lag_half_bits()) result.lag_half_bits = way.lag_half_bits();
      if (way.has_fifo_chars()) result.fifo_chars = way.fifo_chars();
      check_range(here, "lag_half_bits", result.lag_half_bits, 0, 1000);
      check_range(here, "fifo_chars", result.fifo_chars, 1, max_frame_bytes);
      break;
    }
    case text::Forwarding::kElectrical:
      result.kind = Forwarding::electrical;
      read_span(spot.in("electrical"), "delay", forwarding.electrical().delay(), result.delay);
      break;
    case text::Forwarding::WAY_NOT_SET:
      spot.say("forwarding needs one of whole { ... }, by_character { ... } and electrical { ... }");
      break;
  }
  return result;
}

MeasurementSpec measurement_from(const text::Measurement& measurement, std::uint32_t cells, const Spot& spot) {
  MeasurementSpec result;
  result.when = static_cast<MeasureWhen>(measurement.when());
  result.bleed = static_cast<BleedWhile>(measurement.bleed());
  read_span(spot, "settle", measurement.settle(), result.settle);
  read_span(spot, "snapshot", measurement.snapshot(), result.snapshot);
  read_span(spot, "per_cell", measurement.per_cell(), result.per_cell);
  read_span(spot, "period", measurement.period(), result.period, Zero::refused);
  if (result.when == MeasureWhen::on_ask) {
    if (spot.has("period")) spot.in("period").say("period goes with when: FREE_RUNNING only");
    return result;
  }
  if (!spot.has("period")) {
    spot.say("a free running measurement needs a period");
  } else if (result.period > 0 &&
             result.period < result.settle + result.snapshot + result.per_cell * std::min(cells, 16U)) {
    spot.in("period").say("period is shorter than one measurement (settle, snapshot, and per_cell for every cell)");
  }
  return result;
}

CellLevels levels_from(const text::Levels& levels, const Spot& spot) {
  CellLevels result;
  read_voltage(spot, "level", levels.level(), result.level_uv);
  read_voltage(spot, "spread", levels.spread(), result.spread_uv);
  read_voltage(spot, "swing", levels.swing(), result.swing_uv);
  read_span(spot, "swing_period", levels.swing_period(), result.swing_period, Zero::refused);
  return result;
}

}  // namespace

ClockSpec clock_from(const text::Clock& clock, const Spot& spot, const BusDescription* bus) {
  ClockSpec result;
  read_clock_error(spot, "error", clock.error(), result.error_ppb);
  read_clock_error(spot, "spread", clock.spread(), result.spread_ppb);
  if (result.spread_ppb < 0) spot.in("spread").say("spread cannot be negative");
  result.oscillator_hz = clock.oscillator_hz();
  if (clock.has_oversampling()) result.oversampling = clock.oversampling();
  result.divisor = clock.divisor();
  check_range(spot, "oversampling", result.oversampling, 1, most_clocks);
  if (result.oscillator_hz == 0) {
    for (const char* field : {"divisor", "oversampling"}) {
      if (spot.has(field)) spot.in(field).say(fmt::format("{} means nothing without oscillator_hz", field));
    }
    return result;
  }
  check_range(spot, "oscillator_hz", result.oscillator_hz, 1, most_oscillator_hz);
  if (bus == nullptr || result.oversampling == 0 || result.oversampling > most_clocks || bus->line.baud == 0)
    return result;
  const std::uint64_t divisor =
      result.divisor != 0 ? result.divisor : nearest_divisor(result.oscillator_hz, result.oversampling, bus->line.baud);
  const std::uint64_t made = result.oscillator_hz / (divisor * result.oversampling);
  const std::uint64_t wanted = bus->line.baud;
  // Beyond this no receiver follows, and it is a slip of the pen rather than a clock.
  if (made * 5 < wanted * 4 || made * 5 > wanted * 6) {
    spot.in(result.divisor != 0 ? "divisor" : "oscillator_hz")
        .say(fmt::format("oscillator {} Hz over divisor {} and {} clocks a bit makes {} Bd, more than 20% off {} Bd",
                         result.oscillator_hz, divisor, result.oversampling, made, wanted));
  }
  return result;
}

ReceiverSpec receiver_from(const text::Receiver& receiver, const Spot& spot) {
  ReceiverSpec result;
  if (receiver.has_oversampling()) result.oversampling = receiver.oversampling();
  if (receiver.has_votes()) result.votes = receiver.votes();
  check_range(spot, "oversampling", result.oversampling, 4, most_clocks);
  if (result.votes != 1 && result.votes != 3)
    spot.in("votes").say(fmt::format("votes must be 1 or 3, not {}", result.votes));
  // The middle of the bit, unless told otherwise: with 16 samples and 3 votes that is sample 8, as the default says.
  result.first_vote = result.oversampling / 2 + (result.votes == 1 ? 1 : 0);
  if (receiver.has_first_vote()) result.first_vote = receiver.first_vote();
  if (result.oversampling >= 4 && result.oversampling <= most_clocks && (result.votes == 1 || result.votes == 3)) {
    check_range(spot, "first_vote", result.first_vote, 1, result.oversampling - result.votes + 1);
  }
  return result;
}

ProcessorSpec processor_from(const text::Processor& processor, const Spot& spot, bool of_node) {
  ProcessorSpec result;
  result.fifo_chars = processor.fifo_chars();
  check_range(spot, "fifo_chars", result.fifo_chars, 0, max_frame_bytes);
  read_span(spot, "watchdog", processor.watchdog(), result.watchdog);
  if (!of_node && spot.has("watchdog")) spot.in("watchdog").say("a watchdog goes with nodes only");
  if (too_many(spot, "duty", processor.duty_size(), most_duties)) return result;
  for (int i = 0; i < processor.duty_size(); ++i) {
    const text::Duty& duty = processor.duty(i);
    const Spot here = spot.in("duty", i);
    DutySpec each;
    check_name(here, duty.name(), "duty");
    each.name = duty.name();
    const bool taken = std::any_of(result.duties.begin(), result.duties.end(),
                                   [&](const DutySpec& other) { return other.name == each.name; });
    if (taken) here.in("name").say(fmt::format("there are two duties {}", in_quotes(each.name)));
    if (!here.has("every")) here.say("a duty needs every: from start to start, for example every: \"1s\"");
    read_span(here, "every", duty.every(), each.every);
    read_span(here, "takes", duty.takes(), each.takes);
    read_span(here, "takes_up_to", duty.takes_up_to(), each.takes_up_to);
    read_span(here, "per_bleeding_cell", duty.per_bleeding_cell(), each.per_bleeding_cell);
    read_span(here, "jitter", duty.jitter(), each.jitter);
    each.masks = duty.masks();
    if (!of_node && here.has("per_bleeding_cell"))
      here.in("per_bleeding_cell").say("per_bleeding_cell goes with nodes only");
    if (here.has("takes_up_to") && each.takes_up_to < each.takes)
      here.in("takes_up_to").say("takes_up_to is shorter than takes");
    if (here.has("every") && each.every < millisecond)
      here.in("every").say(fmt::format("every must be at least 1ms, not {}", duty.every()));
    const Nanos most =
        std::max(each.takes, each.takes_up_to) + each.jitter + (of_node ? 16 : 0) * each.per_bleeding_cell;
    if (each.every > 0 && most > each.every / 2)
      here.say(
          "the duty may take more than half of every (with jitter, and 16 cells being bled): nothing else would get "
          "done");
    if (each.every <= 0) each.every = second;
    result.duties.push_back(each);
  }
  return result;
}

KindSpec kind_from(const text::Kind& kind, const Spot& spot, const BusDescription* bus) {
  KindSpec result;
  check_name(spot, kind.name(), "kind");
  result.name = kind.name();
  if (kind.has_cells()) result.cells = kind.cells();
  check_range(spot, "cells", result.cells, 1, 16);
  if (kind.has_forwarding()) result.forwarding = forwarding_from(kind.forwarding(), spot.in("forwarding"));
  read_span(spot, "answer_after", kind.answer_after(), result.answer_after);
  result.buffer_bytes = kind.buffer_bytes();
  if (kind.has_measurement())
    result.measurement = measurement_from(kind.measurement(), result.cells, spot.in("measurement"));
  if (too_many(spot, "topics", kind.topics_size(), most_topics) ||
      too_many(spot, "measured_topics", kind.measured_topics_size(), most_topics)) {
    return result;
  }
  for (int i = 0; i < kind.topics_size(); ++i) {
    check_topic(spot.in("topics", i), kind.topics(i), bus);
    result.topics.push_back(kind.topics(i));
  }
  for (int i = 0; i < kind.measured_topics_size(); ++i) {
    const std::string& topic = kind.measured_topics(i);
    check_topic(spot.in("measured_topics", i), topic, bus, result.topics);
    const bool known =
        result.topics.empty() || std::find(result.topics.begin(), result.topics.end(), topic) != result.topics.end();
    if (!known) spot.in("measured_topics", i).say(fmt::format("{} is not among this kind's topics", in_quotes(topic)));
    result.measured_topics.push_back(topic);
  }
  result.on_bad_check = static_cast<OnBadCheck>(kind.on_bad_check());
  result.on_unknown_topic = static_cast<OnUnknownTopic>(kind.on_unknown_topic());
  result.enrols = kind.enrols();
  if (result.enrols && bus != nullptr && !bus->roles.first_unenrolled) {
    spot.in("enrols").say(
        fmt::format("the bus {} has no address for nodes that are not enrolled (roles.first_unenrolled)", bus->name));
  }
  result.keeps_address = kind.keeps_address();
  if (result.keeps_address && !result.enrols)
    spot.in("keeps_address").say("keeps_address means nothing without enrols: true");
  read_span(spot, "start_up", kind.start_up(), result.start_up);
  if (kind.has_clock()) result.clock = clock_from(kind.clock(), spot.in("clock"), bus);
  if (kind.has_receiver()) result.receiver = receiver_from(kind.receiver(), spot.in("receiver"));
  if (kind.has_levels()) result.levels = levels_from(kind.levels(), spot.in("levels"));
  result.board = board_from(kind, spot, result.cells);
  if (kind.has_processor()) result.processor = processor_from(kind.processor(), spot.in("processor"), true);
  read_span(spot, "sleep_after", kind.sleep_after(), result.sleep_after);
  read_span(spot, "wake_up", kind.wake_up(), result.wake_up);
  if (spot.has("wake_up") && result.sleep_after == 0)
    spot.in("wake_up").say("wake_up means nothing without sleep_after");
  result.holds_line = kind.holds_line();
  if (kind.has_flaw()) result.flaw = flaw_from(kind.flaw(), spot.in("flaw"), result, bus);
  return result;
}

}  // namespace hopbench
