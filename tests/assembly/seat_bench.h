// A seat to try the assembler in: asks that somebody sends, frames that come home, and what was made of them. One frame
// takes a millisecond; instants are milliseconds.
#pragma once

#include <cstdint>
#include <map>
#include <optional>
#include <string>
#include <utility>
#include <vector>

#include "assembly/assembler.h"
#include "bus/protocol.h"
#include "scenario/link_table.h"

namespace hopbench {

class SeatBench final : public AssemblyTaker {
 public:
  struct Stray {
    std::uint64_t mark = no_mark;
    Symptom symptom = Symptom::none;
    Content content;
  };
  struct Options {
    Shape shape = Shape::ring;
    std::size_t nodes = 3;  // with addresses 1..
    std::optional<Nanos> time_out;
    bool told_when_over = false;
    bool heard_everywhere = false;  // otherwise only what comes home is heard
  };

  SeatBench(BusDescription bus, const Options& options);

  // Frames.
  [[nodiscard]] Frame ask_of(std::uint64_t address, const std::string& topic, std::uint64_t number,
                             const std::map<std::string, std::uint64_t>& arguments = {}) const;
  [[nodiscard]] Frame answer_to(const Frame& ask, std::uint64_t address) const;
  [[nodiscard]] Frame refusal_of(const Frame& ask, std::uint64_t address) const;

  // What happens, in order of time. Each returns the mark that it has given.
  std::uint64_t asks(const Frame& frame, Nanos at_ms);
  std::uint64_t asks_badly(Symptom symptom, std::vector<std::uint8_t> bytes, Nanos at_ms);
  std::uint64_t comes(const Frame& frame, Nanos at_ms);
  std::uint64_t comes_damaged(Nanos at_ms);
  std::uint64_t heard(std::uint16_t link, const Frame& frame, Nanos at_ms);
  std::uint64_t heard_damaged(std::uint16_t link, Nanos at_ms);
  /// Nothing comes any more.
  void end(Nanos at_ms = 3'600'000);

  /// The exchange that begins with this ask; fails the test if it was not told, or told twice.
  [[nodiscard]] const AssembledExchange& of(std::uint64_t mark) const;

  void assembled(const AssembledExchange& exchange) override { exchanges.push_back(exchange); }
  void stray(const Sighting& sighting) override {
    strays.push_back({sighting.mark, sighting.symptom, *sighting.content});
  }

  Protocol protocol;
  LinkTable table;
  Assembler assembler;
  std::vector<AssembledExchange> exchanges;
  std::vector<Stray> strays;

 private:
  std::uint64_t see(std::uint16_t link, Symptom symptom, const Frame& frame, const Content& content, Nanos at_ms);

  std::uint64_t next_mark_ = 0;
};

}  // namespace hopbench
