// One record of each kind that a sink can be told, to be sent through whatever stands before a listener.
#pragma once

#include <functional>
#include <string>
#include <vector>

#include "seen/observation.h"

namespace hopbench {

struct RecordOfKind {
  std::string kind;  // the function of Sink
  std::function<void(Sink&)> tell;
};

/// The run that they are records of: two nodes in a ring.
inline RunInfo run_of_every_kind() {
  RunInfo run;
  run.scenario = "every kind";
  run.seed = 4;
  run.controller = "controller";
  run.nodes = {"a", "b"};
  run.cells = {1, 1};
  run.links = {{1, "controller", "a"}, {2, "a", "b"}, {3, "b", "controller"}};
  run.entries = {{"cells/a", "a", "readings", 0, 1}};
  run.faults = {"first fault", "second fault"};
  return run;
}

/// An exchange that was not answered, so that nobody has a reason to leave it out. `number` tells it from others.
inline void tell_failure(Sink& sink, std::uint64_t number) {
  const std::vector<Attempt> attempts{{100, 110, Outcome::lost}};
  const std::vector<HopRow> rows{{100, 110, 0, 12, 0, false, 0, Symptom::check, false},
                                 {140, 150, 2, 12, 0, false, 0, Symptom::check, true}};
  const std::vector<std::uint8_t> asked{1, 2, 3};
  const std::vector<RowTruth> row_truths{{0, Cause::bit_noise, 0xffffffff, 17, false}};
  const std::vector<AttemptTruth> attempt_truths{{Cause::bit_noise, 0xffff, 0, 0xffffffff}};
  ExchangeObs obs;
  obs.number = number;
  obs.node = 0;
  obs.start = 100;
  obs.decided = obs.closed = 190;
  obs.attempts = attempts;
  obs.rows = rows;
  obs.asked = asked;
  const std::vector<FaultStrike> strikes{{1, 0, 0, false, 0}, {0, 0xffff, 0, true, 1}};
  const ExchangeTruth truth{row_truths, attempt_truths, strikes};
  sink.exchange(obs, &truth);
}

inline void tell_healthy(Sink& sink, std::uint64_t number) {
  const std::vector<Attempt> attempts{{10, 20, Outcome::answered}};
  const std::vector<AttemptTruth> none(1);
  ExchangeObs obs;
  obs.number = number;
  obs.node = 0;
  obs.start = 10;
  obs.decided = obs.closed = 50;
  obs.round_trip = 40;
  obs.outcome = Outcome::answered;
  obs.attempts = attempts;
  const ExchangeTruth truth{{}, none, {}};
  sink.exchange(obs, &truth);
}

inline void tell_repeat(Sink& sink) {
  const std::vector<Attempt> attempts{{10, 20, Outcome::answered}};
  const std::vector<HopRow> rows{{10, 20, 0, 12, 0, false, 0, Symptom::none, false}};
  ExchangeObs model;
  model.node = 0;
  model.start = 10;
  model.decided = model.closed = 50;
  model.round_trip = 40;
  model.outcome = Outcome::answered;
  model.attempts = attempts;
  model.rows = rows;
  const std::vector<ExchangeObs> models{model};
  const std::vector<Repeat> repeats{{0, 8, 8, 200, 150}};
  sink.again(models, repeats);
}

/// begin() comes first and end() last. A kind that is added to Sink is added here; a test compares.
inline const std::vector<RecordOfKind>& every_kind() {
  static const std::vector<RecordOfKind> all{
      {"begin", [](Sink& sink) { sink.begin(run_of_every_kind()); }},
      {"exchange", [](Sink& sink) { tell_failure(sink, 7); }},
      {"again", tell_repeat},
      {"stray",
       [](Sink& sink) {
         const std::vector<std::uint8_t> heard{4, 5};
         sink.stray({301, 2, heard, Symptom::too_long, 7});
       }},
      {"arrival",
       [](Sink& sink) {
         const std::vector<std::uint8_t> bytes{6, 7};
         const std::vector<std::uint8_t> flags{0, 1};
         sink.arrival({302, true, bytes, flags, 290, 301});
       }},
      {"tally",
       [](Sink& sink) {
         // Measures that cannot be read: nobody can add them to others, so they have to come out as they are.
         const std::vector<std::uint8_t> measures{0xff, 0xff};
         sink.tally({303, 304, 2, 9, 10, measures});
       }},
      {"state",
       [](Sink& sink) {
         const std::vector<NodeState> nodes{{25'000, 3'700, 5, 1}, {26'000, 3'600, -5, 0x100}};
         sink.state({305, 1, -2'000, nodes});
       }},
      {"gap",
       [](Sink& sink) {
         sink.gap({306, 307, "the port was away"});
       }},
      {"dropped",
       [](Sink& sink) {
         sink.dropped({308, 309, 3, "the disk was slow"});
       }},
      {"command",
       [](Sink& sink) {
         sink.command({310, "fault on"});
       }},
      {"note",
       [](Sink& sink) {
         sink.note({311, "the door was open"});
       }},
      {"end",
       [](Sink& sink) {
         sink.end(400, {1, 2, 3});
       }},
  };
  return all;
}

}  // namespace hopbench
