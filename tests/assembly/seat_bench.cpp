#include "assembly/seat_bench.h"

#include <algorithm>

#include "support/catch.h"

namespace hopbench {
namespace {

constexpr Nanos frame_takes = millisecond;
constexpr std::uint64_t passes = 8;

Assembler::Setup set_up(const Protocol& protocol, const LinkTable& table, const SeatBench::Options& options) {
  Assembler::Setup setup{protocol, table, {}, {}, options.time_out, options.told_when_over};
  for (std::size_t i = 0; i < options.nodes; ++i) setup.addresses.push_back(i + 1);
  setup.heard.assign(table.size(), options.heard_everywhere);
  setup.heard[table.home()] = true;
  return setup;
}

/// Cell i of address a has a * 256 + i; all else is what was asked, or 7.
struct Values final : PayloadSource {
  std::uint64_t address = 0;
  std::map<std::string, std::uint64_t> arguments;
  std::optional<std::int64_t> quantity(std::string_view name, std::uint32_t index) override {
    for (const auto& [field, value] : arguments) {
      if (field == name) return static_cast<std::int64_t>(value);
    }
    return name == "cell_mv" ? static_cast<std::int64_t>(address * 256 + index) : 7;
  }
  std::optional<std::uint64_t> argument(std::string_view field) override {
    const auto found = arguments.find(std::string(field));
    return found == arguments.end() ? std::nullopt : std::optional(found->second);
  }
};

}  // namespace

SeatBench::SeatBench(BusDescription bus, const Options& options)
    : protocol(std::move(bus)),
      table(options.shape, options.nodes),
      assembler(set_up(protocol, table, options), *this) {}

Frame SeatBench::ask_of(std::uint64_t address, const std::string& topic, std::uint64_t number,
                        const std::map<std::string, std::uint64_t>& arguments) const {
  Frame ask = protocol.ask(protocol.topic_named(topic).value(), address, number, passes);
  Values values;
  values.arguments = arguments;
  REQUIRE_FALSE(protocol.fill(ask, Protocol::Side::ask, {}, values));
  return protocol.as_read(ask).value();
}

Frame SeatBench::answer_to(const Frame& ask, std::uint64_t address) const {
  Frame answer = protocol.answer_to(ask, address, passes);
  Values values;
  values.address = address;
  REQUIRE_FALSE(protocol.fill(answer, Protocol::Side::answer, ask.payload.view(), values));
  return protocol.as_read(answer).value();
}

Frame SeatBench::refusal_of(const Frame& ask, std::uint64_t address) const {
  return protocol.as_read(protocol.refusal_of(ask, address, passes, Refusal::bad_value)).value();
}

std::uint64_t SeatBench::asks(const Frame& frame, Nanos at_ms) {
  Content content;
  protocol.encode(frame, content);
  const Nanos at = at_ms * millisecond;
  assembler.asked({table.first(), at, at + frame_takes, 8, Symptom::none, &frame, &content, next_mark_});
  return next_mark_++;
}

std::uint64_t SeatBench::asks_badly(Symptom symptom, std::vector<std::uint8_t> bytes, Nanos at_ms) {
  Content content;
  content.assign(bytes);
  const Frame frame{};
  const Nanos at = at_ms * millisecond;
  assembler.asked({table.first(), at, at + frame_takes, 8, symptom, &frame, &content, next_mark_});
  return next_mark_++;
}

std::uint64_t SeatBench::see(std::uint16_t link, Symptom symptom, const Frame& frame, const Content& content,
                             Nanos at_ms) {
  const Nanos at = at_ms * millisecond;
  assembler.seen({link, at, at + frame_takes, 8, symptom, &frame, &content, next_mark_});
  return next_mark_++;
}

std::uint64_t SeatBench::heard(std::uint16_t link, const Frame& frame, Nanos at_ms) {
  Content content;
  protocol.encode(frame, content);
  return see(link, Symptom::none, frame, content, at_ms);
}

std::uint64_t SeatBench::heard_damaged(std::uint16_t link, Nanos at_ms) {
  Content content;
  content.assign(std::vector<std::uint8_t>{1, 2, 3});
  return see(link, Symptom::check, {}, content, at_ms);
}

std::uint64_t SeatBench::comes(const Frame& frame, Nanos at_ms) { return heard(table.home(), frame, at_ms); }
std::uint64_t SeatBench::comes_damaged(Nanos at_ms) { return heard_damaged(table.home(), at_ms); }
void SeatBench::end(Nanos at_ms) { assembler.finish(at_ms * millisecond); }

const AssembledExchange& SeatBench::of(std::uint64_t mark) const {
  const auto asked_so = [&](const AssembledExchange& each) { return each.tries.front().asked == mark; };
  REQUIRE(std::count_if(exchanges.begin(), exchanges.end(), asked_so) == 1);
  return *std::find_if(exchanges.begin(), exchanges.end(), asked_so);
}

}  // namespace hopbench
