// What a run comes to in numbers: a fold over observations, the same live or from a capture. Causes are counted
// elsewhere (measure/causes.h).
#pragma once

#include <array>
#include <cstdint>
#include <span>
#include <string>
#include <vector>

#include "measure/bursts.h"
#include "measure/histogram.h"
#include "measure/unseen.h"
#include "seen/observation.h"

namespace hopbench {

/// One link, as seen at its far end.
struct LinkMeasures {
  std::uint64_t frames_in = 0;     // good frames put on the link
  std::uint64_t frames_out = 0;    // of those: heard well
  std::uint64_t came_damaged = 0;  // frames that were bad already when they were put on it; in no other count
  std::array<std::uint64_t, symptom_count> symptoms{};  // of the good ones; [none] is frames_out
  std::uint64_t strays = 0;                             // heard at its end outside any exchange
  Histogram transit;  // ns from first edge at the sender to last edge at the receiver, if heard well

  void add(const HopRow& row, std::uint64_t times) {
    if (!row.heard_well()) return add_damaged(row, times);
    frames_in += times;
    frames_out += times;
    symptoms[0] += times;
    // A made-up capture may hold instants as far apart as there are; their span wraps then, and counts as nothing.
    transit.add(static_cast<Nanos>(static_cast<std::uint64_t>(row.end) - static_cast<std::uint64_t>(row.start)), times);
  }
  void add_damaged(const HopRow& row, std::uint64_t times);
  /// Of `frames_in`: with a symptom of a later version.
  [[nodiscard]] std::uint64_t unknown_symptoms() const;
  void merge(const LinkMeasures& other);
  void minus(const LinkMeasures& earlier);
  friend bool operator==(const LinkMeasures&, const LinkMeasures&) = default;
};

/// Some exchanges: all of them, or those with one node, or of one topic.
struct ExchangeMeasures {
  std::uint64_t asked = 0;
  std::uint64_t tries = 0;
  std::array<std::uint64_t, outcome_count> outcomes{};
  Histogram round_trip;  // ns, of the exchanges that had one

  [[nodiscard]] std::uint64_t operator[](Outcome outcome) const { return outcomes[static_cast<std::size_t>(outcome)]; }
  void add(const ExchangeObs& obs, std::uint64_t times);
  /// Of `asked`: with an outcome of a later version.
  [[nodiscard]] std::uint64_t unknown_outcomes() const;
  void merge(const ExchangeMeasures& other);
  void minus(const ExchangeMeasures& earlier);
  friend bool operator==(const ExchangeMeasures&, const ExchangeMeasures&) = default;
};

/// A value: it can be merged, joined, taken away, compared, and written as bytes. Memory is fixed by the size of the
/// chain and the spread of its times, not by the length of the run.
struct Measures {
  ExchangeMeasures all;
  std::vector<LinkMeasures> links;      // as RunInfo.links
  std::vector<ExchangeMeasures> nodes;  // as RunInfo.nodes, and one more: everyone
  std::vector<std::string> topics;      // names, in the order of their first entry
  std::vector<ExchangeMeasures> by_topic;
  BurstMeasures bursts;                    // of all exchanges
  std::vector<BurstMeasures> node_bursts;  // as nodes
  std::vector<CellsUnseen> cells;          // by node and cell; empty after minus(): not known
  std::uint64_t arrivals = 0;              // bytes that a real port took in
  std::uint32_t runs = 0;                  // 0: nothing was begun
  Nanos from = never;                      // first instant told of; never: none
  Nanos until = 0;                         // last instant covered, or that of the last record
  bool ended = false;
  Lateness lateness;

  /// Length of what was covered. Of merged runs: all of them together.
  [[nodiscard]] Nanos covered() const;
  /// Longest time that the cells of a group went unseen, from the first instant covered to the last.
  [[nodiscard]] CellsUnseen::Longest longest_unseen(const CellsUnseen& group) const;

  /// Adds another run of the same chain (another seed, another capture), or several. Nothing is joined across the
  /// border; instants keep the time of their own run, and count up which one that is. Merging with nothing changes
  /// nothing.
  void merge(const Measures& other);
  /// Adds what came right after this one in the same run. Bursts and unseen spans go on across the border, so that the
  /// parts of a run give what the whole gives, field for field. What holds several runs already is merged.
  void append(const Measures& next);
  /// Leaves what came after `earlier`, an earlier state of the same fold. Counts and buckets are exact. Not so:
  /// smallest and largest times (told to their bucket), the longest burst (at most so long), lateness.worst (at most so
  /// much); unseen spans are not known (`cells` is empty).
  void minus(const Measures& earlier);
  /// All counts 0, as after begin; the memory is kept.
  void clear();

  /// The same nodes, links, topics and groups of cells.
  [[nodiscard]] bool same_shape(const Measures& other) const;

  /// As bytes (docs/measures.md): whole numbers only, the same on every machine, and short where little happened.
  /// Histograms must be of the default shape. Put at the end of `out`.
  void serialise(std::vector<std::uint8_t>& out) const;
  /// Reads what serialise() wrote, all of it and nothing else. False, and nothing in `out`, for anything that is not
  /// so, is of a newer version, or is larger than any chain (4096 links, nodes and topics, 65536 groups). Never throws;
  /// memory stays below a fixed bound whatever the bytes are.
  [[nodiscard]] static bool parse(std::span<const std::uint8_t> bytes, Measures& out);

  friend bool operator==(const Measures& a, const Measures& b);
};

/// Of two times at a port, one after the other.
void add_lateness(Lateness& to, const Lateness& from);

/// How well a run was covered: of the records, not of the chain. Not part of Measures, since a run and its thinned
/// capture have the same measures.
struct Coverage {
  std::uint64_t tallied = 0;             // exchanges that came in tallies
  std::uint64_t tallied_unanswered = 0;  // those of them that were not answered: nothing tells why
  std::uint64_t unreadable = 0;          // exchanges in tallies that could not be read; in no measure
  std::uint64_t dropped = 0;             // records that the writer had to leave out
  std::uint64_t gaps = 0;
  Nanos gap_time = 0;       // all of them together
  std::uint64_t holes = 0;  // spans in the middle that the capture says were left out
  Nanos hole_time = 0;
  std::uint64_t ambiguous = 0;  // exchanges in which what was heard would have fitted another one as well
  std::uint64_t doubtful = 0;   // exchanges whose outcome a late port may have decided

  [[nodiscard]] bool whole() const { return *this == Coverage{}; }
  void merge(const Coverage& other);
  friend bool operator==(const Coverage&, const Coverage&) = default;
};

/// Folds observations into Measures. Truth that is handed over is left alone. Allocates nothing once every kind of
/// exchange was told of.
class MeasureFold final : public Sink {
 public:
  [[nodiscard]] const Measures& measures() const;
  [[nodiscard]] const RunInfo& run() const { return run_; }
  [[nodiscard]] const Coverage& coverage() const { return coverage_; }
  /// Begins anew with the same run; the memory is kept.
  void restart();
  /// An exchange that is not counted: nobody knows whether the cells that it asked for were seen in that time.
  void blind_to(const ExchangeObs& obs);

  void begin(const RunInfo& run) override;
  void exchange(const ExchangeObs& obs, const ExchangeTruth* truth) override;
  void stray(const Stray& stray) override;
  void arrival(const Arrival& arrival) override;
  void end(Nanos until, const Lateness& lateness) override;
  /// Repeats do as well as whole exchanges.
  [[nodiscard]] std::uint64_t whole_from() const override { return ~std::uint64_t{0}; }
  /// Gives exactly what exchange() of each would. Costs some nanoseconds a repeat, and for each model that is new about
  /// what exchange() costs.
  void again(std::span<const ExchangeObs> models, std::span<const Repeat> repeats) override;
  /// Of the same run, else it counts as unreadable.
  void tally(const Tally& tally) override;
  void state(const State& state) override { touch(state.at, state.at); }
  void gap(const Gap& gap) override;
  void dropped(const Dropped& dropped) override;
  void command(const Remark& command) override { touch(command.at, command.at); }
  void note(const Remark& note) override { touch(note.at, note.at); }

 private:
  /// A model of repeats, kept until another takes its place: what it comes to is added up then, or when measures are
  /// asked for.
  struct Model {
    bool known = false;
    std::uint64_t count = 0;   // repeats that are not in the exchanges' measures yet
    std::uint64_t passed = 0;  // and not in the links' measures
    ExchangeObs obs;           // its spans point to the next two
    std::vector<Attempt> attempts;
    std::vector<HopRow> rows;
    Nanos seen = 0;
    GroupSpan groups;
    std::size_t node = 0;
    bool answered = false;
  };

  void blind(Nanos from, Nanos to);
  void touch(Nanos from, Nanos until) {
    measures_.from = from < measures_.from ? from : measures_.from;
    measures_.until = until > measures_.until ? until : measures_.until;
  }
  void count_exchanges(const ExchangeObs& obs, std::uint64_t times) const;
  void count_rows(const ExchangeObs& obs, std::uint64_t times) const;
  [[nodiscard]] std::size_t node_of(const ExchangeObs& obs) const;
  [[nodiscard]] GroupSpan groups_of(const ExchangeObs& obs) const;
  void learn(Model& model, const ExchangeObs& obs);
  void add_repeats(Model& model) const;
  void fold_bursts(bool answered, std::size_t node, Nanos start);

  RunInfo run_;
  mutable Measures measures_;  // but for what models have yet to bring
  Coverage coverage_;
  Nanos gap_ended_ = never;  // the last one; a gap told in parts is one
  std::vector<std::size_t> topic_of_entry_;
  std::vector<GroupSpan> groups_of_entry_;
  mutable std::vector<Model> models_;
  bool told_ = false;  // of any exchange
  Measures tallied_;   // room to read a tally into
};

}  // namespace hopbench
