#include <fmt/format.h>

#include <boost/json/array.hpp>
#include <boost/json/object.hpp>
#include <cstdlib>

#include "view/json_text.h"
#include "view/what_if_report.h"

namespace hopbench {
namespace {

namespace json = boost::json;

json::object json_of(const Against& against) {
  json::object object;
  object["asked"] = against.asked;
  object["failed"] = against.failed;
  object["in_step"] = against.in_step;
  object["gone"] = against.gone;
  object["stayed"] = against.stayed;
  object["new"] = against.come;
  object["fewer_in"] = against.fewer_in;
  object["more_in"] = against.more_in;
  object["p"] = rounded(against.p);
  object["fewer_low"] = against.fewer ? json::value(rounded(against.fewer->low)) : json::value(nullptr);
  object["fewer_high"] = against.fewer ? json::value(rounded(against.fewer->high)) : json::value(nullptr);
  const ByTurn& turns = against.by_turn;
  json::object by_turn;
  by_turn["paired"] = turns.paired;
  by_turn["gone"] = turns.gone;
  by_turn["stayed"] = turns.stayed;
  by_turn["new"] = turns.come;
  by_turn["gone_low"] = turns.fewer ? json::value(rounded(turns.fewer->low)) : json::value(nullptr);
  by_turn["gone_high"] = turns.fewer ? json::value(rounded(turns.fewer->high)) : json::value(nullptr);
  object["by_turn"] = std::move(by_turn);
  return object;
}

}  // namespace

std::string what_if_json(const std::string& scenario, std::uint64_t seed, const WhatIf& found) {
  json::object object;
  object["schema"] = "hopbench.what_if/1";
  object["what_if"] = scenario;
  put_reality(object, found.reality);
  object["simulated"] = true;
  object["seed"] = seed;
  object["runs"] = found.runs;
  object["asked"] = found.asked;
  object["failed"] = found.failed;
  object["without_all_asked"] = found.none_asked;
  object["without_all_failed"] = found.none_failed;
  object["either"] = found.either;
  object["unit_s"] = found.unit / second;
  json::array mechanisms_told;
  for (const auto& each : found.mechanisms) {
    json::object told;
    told["name"] = name_of(each.mechanism);
    told["effect"] = name_of(each.bearing);
    told["off"] = json_of(each.off);
    told["only"] = json_of(each.only);
    told["not_alone"] = each.not_alone;
    if (each.share) told["share"] = rounded(*each.share);
    mechanisms_told.push_back(told);
  }
  object["mechanisms"] = mechanisms_told;
  json::array together;
  for (const auto& each : found.together) {
    together.push_back(
        json::object{{"one", name_of(each.one)}, {"other", name_of(each.other)}, {"failures", each.failures}});
  }
  object["together"] = together;
  return json_text(object);
}

}  // namespace hopbench
