// Captures in memory for tests, and a way to compare what listeners are told.
#pragma once

#include <fmt/format.h>

#include <algorithm>
#include <cstdint>
#include <memory>
#include <string>
#include <vector>

#include "measure/sample_run.h"
#include "record/byte_source.h"
#include "record/capture_writer.h"
#include "record/truth.h"

namespace hopbench::sample {

/// Writes down all that a sink is told, a line a call, every field in it.
class Listing final : public Sink {
 public:
  std::vector<std::string> lines;
  std::uint64_t repeats_below = 0;  // exchanges that may come as repeats
  std::uint32_t before = 0;         // but for so many before one that can be no repeat

  void begin(const RunInfo& run) override {
    std::string line =
        fmt::format("begin {} {} {} {} {}", run.scenario, run.seed, run.simulated, run.truth_known, run.controller);
    for (std::size_t i = 0; i < run.nodes.size(); ++i) line += fmt::format(" node {} {}", run.nodes[i], run.cells[i]);
    for (const auto& link : run.links) {
      line += fmt::format(" link {} {} {} {} {}", link.hop, link.from, link.to, link.homeward,
                          static_cast<int>(link.vantage));
    }
    for (const auto& entry : run.entries) {
      line += fmt::format(" entry {} {} {} {} {}", entry.name, entry.node, entry.topic, entry.first_cell, entry.cells);
    }
    for (const auto& fault : run.faults) line += " fault " + fault;
    lines.push_back(line);
  }
  void exchange(const ExchangeObs& obs, const ExchangeTruth* truth) override {
    std::string line = fmt::format("exchange {} {} {} {} {} {} {} {} {} {} {}", obs.number, obs.entry, obs.turn,
                                   obs.node, obs.start, obs.decided, obs.closed, obs.round_trip, obs.since_last,
                                   static_cast<int>(obs.outcome), obs.kept_one_in);
    for (const auto& a : obs.attempts)
      line += fmt::format(" try {} {} {}", a.start, a.ask_end, static_cast<int>(a.outcome));
    for (const auto& r : obs.rows) {
      line += fmt::format(" row {} {} {} {} {} {} {} {} {}", r.start, r.end, r.link, r.chars, r.attempt, r.answering,
                          r.copy, static_cast<int>(r.symptom), r.inherited);
    }
    line += " asked" + hex(obs.asked) + " answered" + hex(obs.answered);
    if (truth != nullptr) {
      line += " truth";
      for (const auto& r : truth->rows) {
        line += fmt::format(" row {} {} {} {} {}", r.row, static_cast<int>(r.cause), r.fault, r.bit, r.undetected);
      }
      for (const auto& s : truth->strikes)
        line += fmt::format(" s{} {} {} {} {}", s.fault, s.link, s.attempt, s.answering, s.copy);
      for (const auto& a : truth->attempts) {
        line += fmt::format(" try {} {} {} {}", static_cast<int>(a.cause), a.station, a.link, a.fault);
      }
    }
    lines.push_back(line);
  }
  [[nodiscard]] std::uint64_t whole_from() const override { return repeats_below; }
  [[nodiscard]] std::uint32_t whole_before() const override { return before; }
  void again(std::span<const ExchangeObs> models, std::span<const Repeat> repeats) override {
    for (const auto& repeat : repeats) {
      lines.push_back(fmt::format("again {} {} {} {} {}", models[repeat.model].number, repeat.number, repeat.turn,
                                  repeat.start, repeat.since_last));
    }
  }
  void stray(const Stray& stray) override {
    lines.push_back(fmt::format("stray {} {} {} {}{}", stray.at, stray.link, static_cast<int>(stray.symptom),
                                stray.belongs_to, hex(stray.heard)));
  }
  void arrival(const Arrival& arrival) override {
    lines.push_back(fmt::format("arrival {} {}{} flags{} late {} {}", arrival.at, arrival.paced, hex(arrival.bytes),
                                hex(arrival.flags), arrival.late_from, arrival.late_to));
  }
  void end(Nanos until, const Lateness& lateness) override {
    lines.push_back(fmt::format("end {} {} {} {} {} {} {} {} {} {} {}", until, lateness.sends, lateness.worst,
                                lateness.total, lateness.stalls, lateness.worst_stall, lateness.stalled,
                                lateness.not_fetched, lateness.nobody_there, lateness.port_median, lateness.port_99));
  }
  void tally(const Tally& tally) override {
    lines.push_back(fmt::format("tally {} {} {} {} {}{}", tally.from, tally.to, tally.exchanges, tally.first_number,
                                tally.last_number, hex(tally.measures)));
  }
  void state(const State& state) override {
    std::string line = fmt::format("state {} {} {}", state.at, state.cells_balancing, state.charge_ma);
    for (const auto& node : state.nodes)
      line += fmt::format(" node {} {} {} {}", node.board_mc, node.supply_mv, node.clock_ppb, node.flags);
    lines.push_back(line);
  }
  void gap(const Gap& gap) override { lines.push_back(fmt::format("gap {} {} {}", gap.from, gap.to, gap.why)); }
  void dropped(const Dropped& dropped) override {
    lines.push_back(fmt::format("dropped {} {} {} {}", dropped.from, dropped.to, dropped.records, dropped.why));
  }
  void command(const Remark& command) override {
    lines.push_back(fmt::format("command {} {}", command.at, command.text));
  }
  void note(const Remark& note) override { lines.push_back(fmt::format("note {} {}", note.at, note.text)); }

 private:
  static std::string hex(std::span<const std::uint8_t> bytes) {
    std::string text = " ";
    for (const auto byte : bytes) text += fmt::format("{:02x}", byte);
    return text;
  }
};

/// A run of the sample kind with records of every other kind strewn in, from the same seed.
struct FullRun {
  Run run;
  std::uint64_t seed = 0;

  void tell(Sink& sink) const {
    Dice dice(seed + 1000);
    Nanos at = 0;
    sink.begin(run.info);
    for (std::size_t i = 0; i < run.events.size(); ++i) {
      run.tell_event(i, sink);
      if (const auto* exchange = std::get_if<OwnedExchange>(&run.events[i])) at = std::max(at, exchange->fixed.closed);
      if (dice.chance(2)) tell_other(dice, at, run.info.nodes.size(), sink);
    }
    sink.end(run.until, run.lateness);
  }

 private:
  static void tell_other(Dice& dice, Nanos at, std::size_t node_count, Sink& sink) {
    const Nanos before = at - static_cast<Nanos>(dice.below(1'000'000'000));
    std::vector<NodeState> nodes(node_count);
    const auto number = [&] { return static_cast<std::int32_t>(dice.next()); };
    for (auto& node : nodes) node = {number(), number(), number(), static_cast<std::uint32_t>(dice.below(3))};
    const auto bytes = dice.bytes(dice.below(60));
    const std::string text(bytes.begin(), bytes.end());
    switch (dice.below(6)) {
      case 0:
        return sink.tally({before, at, dice.next() >> (16 + dice.below(44)), dice.next(), dice.below(99), bytes});
      case 1:
        return sink.state({at, static_cast<std::uint32_t>(dice.below(200)), number(), nodes});
      case 2:
        return sink.gap({before, at, text});
      case 3:
        return sink.dropped({before, at, dice.next() >> 16U, text});
      case 4:
        return sink.command({at, text});
      default:
        return sink.note({at, text});
    }
  }
};

inline FullRun full_run(std::uint64_t seed, std::size_t events) {
  FullRun full{wild_run(seed, events), seed};
  Dice dice(seed + 2000);
  for (auto& entry : full.run.info.entries) {
    entry.first_cell = static_cast<std::uint32_t>(dice.below(20));
    entry.cells = static_cast<std::uint32_t>(dice.below(17));
  }
  for (auto& event : full.run.events) {
    auto* exchange = std::get_if<OwnedExchange>(&event);
    if (exchange != nullptr && dice.chance(3))
      exchange->fixed.kept_one_in = static_cast<std::uint32_t>(dice.next() | 1U);
  }
  return full;
}

template <class AnyRun>
std::vector<std::string> listing_of(const AnyRun& run) {
  Listing listing;
  run.tell(listing);
  return listing.lines;
}

/// Where two listings differ first; empty if nowhere. Whole listings are too long to be shown.
inline std::string difference(const std::vector<std::string>& a, const std::vector<std::string>& b) {
  for (std::size_t i = 0; i < std::max(a.size(), b.size()); ++i) {
    const std::string left = i < a.size() ? a[i] : "(nothing)";
    const std::string right = i < b.size() ? b[i] : "(nothing)";
    if (left != right) return fmt::format("line {}: {} | {}", i, left, right);
  }
  return {};
}

/// A file in memory that does as it is told, like a pipe without a second one.
class MemoryFile final : public FileOps {
 public:
  std::vector<std::uint8_t> bytes;
  std::size_t room = ~std::size_t{0};          // then the disk is full
  std::size_t most_at_once = ~std::size_t{0};  // longer writes are cut short
  int fail_write = 0;                          // the write of this number (from 1) fails...
  int fail_with = 0;                           // ...with this errno...
  bool fail_once = false;                      // ...and later ones do not
  int fail_sync_with = 0;
  int fail_open_with = 0;
  int writes = 0;
  int syncs = 0;
  bool open = false;

  int open_new(const std::string&) override {
    if (fail_open_with != 0) return -fail_open_with;
    open = true;
    return 3;
  }
  std::ptrdiff_t write(int, std::span<const std::uint8_t> data) override {
    ++writes;
    if (fail_write != 0 && (fail_once ? writes == fail_write : writes >= fail_write)) return -fail_with;
    const auto count = std::min({data.size(), most_at_once, room - std::min(room, bytes.size())});
    if (count == 0) return -28;  // ENOSPC
    bytes.insert(bytes.end(), data.begin(), data.begin() + static_cast<std::ptrdiff_t>(count));
    return static_cast<std::ptrdiff_t>(count);
  }
  int sync(int) override {
    ++syncs;
    return -fail_sync_with;
  }
  int close(int) override {
    open = false;
    return 0;
  }
  /// There is one file only: nothing goes on in another.
  PathUse path_use(const std::string&) override { return PathUse::other; }
};

/// Waits rather than drops; no time passes.
inline WritePlan still_plan() {
  return unhurried_plan([] { return Nanos{0}; });
}

inline CaptureOrigin origin(std::uint64_t run_id = 0x1122334455667788) {
  return {run_id, "name: \"invented ring\"\n", "name: \"invented bus\"\n", {"0.1.0", "a compiler", "", 0}};
}

template <class AnyRun>
std::vector<std::uint8_t> capture_of(const AnyRun& run, CaptureOrigin from = origin()) {
  MemoryFile file;
  CaptureWriter writer(file, "memory", std::move(from), still_plan());
  run.tell(writer);
  return file.bytes;
}

struct ReadBack {
  std::vector<std::string> lines;
  CaptureDamage damage;
  std::vector<std::string> holes;  // what the reader itself says is missing; not in `lines`
};

inline bool is_hole(const std::string& line) {
  return line.starts_with("dropped ") && line.ends_with(std::string(" ") + damage_reason);
}

inline ReadBack read_back(CaptureReader& reader) {
  Listing listing;
  replay(reader, listing);
  ReadBack back{{}, reader.damage(), {}};
  for (auto& line : listing.lines) (is_hole(line) ? back.holes : back.lines).push_back(std::move(line));
  return back;
}

inline ReadBack read_back(const std::vector<std::uint8_t>& bytes) {
  CaptureReader reader(std::make_unique<MemorySource>(bytes));
  return read_back(reader);
}

}  // namespace hopbench::sample
