// Where the tries of an exchange failed, as far as that was seen: on a hop, or inside a station.
#pragma once

#include <cstdint>
#include <limits>
#include <optional>
#include <vector>

#include "seen/observation.h"

namespace hopbench {

/// What went wrong inside a station, or with it.
enum class StationTrouble : std::uint8_t {
  stopped,   // it heard a frame well and put nothing on the next hop
  held,      // the answer came late, and the frame was in this station longer than it was late
  refused,   // it reported an error, or answered without all the values asked for
  stale,     // its answer told old or wrong values, or was that to another ask
  unplaced,  // a try to it failed, and nothing shows where
};
inline constexpr std::size_t station_trouble_count = 5;
/// "held up", "refused".
const char* name_of(StationTrouble trouble);
/// The same in one word: "late", "refused".
const char* word_of(StationTrouble trouble);

/// A row of the map: a hop, what a station passes on, or what it answers.
struct MapPlace {
  enum class Kind : std::uint8_t { hop, passing, answering };
  Kind kind = Kind::hop;
  std::uint16_t index = 0;  // into RunInfo.links; of a station: into RunInfo.nodes, one past them the controller
  friend bool operator==(const MapPlace&, const MapPlace&) = default;
};
/// In which of a station's two rows a trouble stands.
constexpr MapPlace::Kind kind_of(StationTrouble trouble) {
  return trouble == StationTrouble::stopped || trouble == StationTrouble::held ? MapPlace::Kind::passing
                                                                               : MapPlace::Kind::answering;
}

/// Who stands at the ends of each link: an index into RunInfo.nodes, one past them for the controller.
class Stations {
 public:
  Stations() = default;
  explicit Stations(const RunInfo& run);

  [[nodiscard]] std::size_t count() const { return exits_seen_.size(); }
  [[nodiscard]] std::uint16_t controller() const { return static_cast<std::uint16_t>(count() - 1); }
  [[nodiscard]] std::uint16_t from(std::size_t link) const { return from_[link]; }
  [[nodiscard]] std::uint16_t to(std::size_t link) const { return to_[link]; }
  [[nodiscard]] std::size_t links() const { return to_.size(); }

  /// Calls f(trouble, station, when) for each try that failed inside a station, or nowhere that was seen. Nothing for
  /// tries that failed on a hop.
  template <class F>
  void each_trouble(const ExchangeObs& obs, F f) const {
    for (std::size_t i = 0; i < obs.attempts.size(); ++i) {
      if (obs.attempts[i].outcome == Outcome::answered) continue;
      if (const auto found = trouble_of(obs, i)) f(found->trouble, found->station, found->at);
    }
  }
  /// Calls f(station, span, whether it turned an ask into an answer) for each time that a frame was inside a station,
  /// from its last edge heard to its first edge sent; 0 where a station sends while it still hears.
  template <class F>
  void each_stay(const ExchangeObs& obs, F f) const {
    const HopRow* before = nullptr;
    for (const auto& row : obs.rows) {
      if (row.link >= links()) continue;
      if (before != nullptr && before->attempt == row.attempt && to_[before->link] == from_[row.link] &&
          from_[row.link] != controller() && before->copy == row.copy) {
        f(from_[row.link], between(before->end, row.start), before->answering != row.answering);
      }
      before = &row;
    }
  }
  /// Whether a try of it failed there.
  [[nodiscard]] bool trouble_at(const ExchangeObs& obs, MapPlace place) const;

 private:
  struct Found {
    StationTrouble trouble;
    std::uint16_t station;
    Nanos at;
  };
  [[nodiscard]] std::optional<Found> trouble_of(const ExchangeObs& obs, std::size_t attempt) const;
  [[nodiscard]] std::optional<std::uint16_t> holder(const ExchangeObs& obs, std::size_t attempt) const;
  /// A made-up capture may hold instants as far apart as there are.
  static Nanos between(Nanos from, Nanos to) {
    if (to <= from) return 0;
    const auto span = static_cast<std::uint64_t>(to) - static_cast<std::uint64_t>(from);
    return span > std::uint64_t{never} ? never : static_cast<Nanos>(span);
  }

  std::vector<std::uint16_t> from_;
  std::vector<std::uint16_t> to_;
  std::vector<bool> exits_seen_;  // by station: every link that leaves it was watched
  std::optional<Nanos> time_out_;
};

}  // namespace hopbench
