#include "view/selection_json.h"

#include <boost/json/array.hpp>
#include <boost/json/object.hpp>

#include "view/json_text.h"
#include "view/map_cells.h"

namespace hopbench {

namespace json = boost::json;

std::string map_json(const Picture& picture, Nanos from, Nanos span, std::span<const TimeColumn> columns) {
  json::object document;
  document["schema"] = "hopbench.map/1";
  put_reality(document, reality_of(picture.run()));
  document["scenario"] = picture.run().scenario;
  document["filter"] = picture.slices().filter().text(picture.run());
  document["column_ns"] = span;
  json::array array;
  for (std::size_t i = 0; i < columns.size(); ++i) {
    const auto& slice = columns[i].slice;
    json::object object;
    object["from_ns"] = from + span * static_cast<Nanos>(i);
    object["read"] = columns[i].read == ReadState::all    ? "all"
                     : columns[i].read == ReadState::some ? "in part"
                                                          : "not yet";
    object["exchanges"] = slice.exchanges;
    object["tries"] = slice.tried.all();
    object["failed"] = slice.tried.failed();
    object["missing"] = missing_words(slice.missing);
    object["cells_balancing"] = slice.known ? json::value(slice.cells_balancing) : json::value(nullptr);
    json::array links;
    for (std::size_t index = 0; index < slice.links.size(); ++index) {
      const auto cell = slice.links[index];
      json::object link;
      link["frames"] = cell.frames();
      link["lost"] = cell.bad();
      link["seen"] = seen_words(cell, "check");
      links.push_back(std::move(link));
    }
    object["hops"] = std::move(links);
    json::array stations;
    for (std::size_t node = 0; node < slice.tried.stations.size(); ++node) {
      const auto& cell = slice.tried.stations[node];
      json::object station;
      station["name"] = node < picture.run().nodes.size() ? picture.run().nodes[node] : "controller";
      station["tries"] = cell.tries;
      station["failed"] = cell.failed;
      for (std::size_t trouble = 0; trouble < station_trouble_count; ++trouble) {
        station[word_of(static_cast<StationTrouble>(trouble))] = cell.troubles[trouble];
      }
      stations.push_back(std::move(station));
    }
    object["stations"] = std::move(stations);
    array.push_back(std::move(object));
  }
  document["columns"] = std::move(array);
  return json_text(document);
}

std::string journey_json(const JourneyScene& scene) {
  const auto obs = scene.found->seen();
  json::object document;
  document["schema"] = "hopbench.journey/1";
  put_reality(document, reality_of(*scene.run));
  document["exchange"] = obs.number;
  json::array lines;
  for (const auto& line : journey_details(scene)) lines.emplace_back(line);
  document["lines"] = std::move(lines);
  json::array rows;
  for (const auto& row : obs.rows) {
    json::object object;
    object["hop"] =
        row.link < scene.run->links.size() ? json::value(scene.run->links[row.link].hop) : json::value(nullptr);
    object["try"] = row.attempt + 1;
    object["answering"] = row.answering;
    object["start_ns"] = row.start;
    object["end_ns"] = row.end;
    object["symptom"] = name_of(row.symptom);
    object["came_damaged"] = row.inherited;
    rows.push_back(std::move(object));
  }
  document["frames"] = std::move(rows);
  return json_text(document);
}

}  // namespace hopbench
