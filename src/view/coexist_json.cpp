#include <boost/json/array.hpp>
#include <boost/json/object.hpp>
#include <limits>

#include "seen/reality.h"
#include "view/coexist_report.h"
#include "view/json_text.h"

namespace hopbench {
namespace {

namespace json = boost::json;

json::value breach_json(const CoexistReport& report, const std::optional<Breach>& breach) {
  if (!breach) return nullptr;
  json::object made;
  made["promise"] = promises()[static_cast<std::size_t>(breach->promise)].id;
  made["balancing"] = breach->balancing;
  made["what"] = breach->sentence;
  json::array order;
  for (const std::uint16_t kind : breach->order) order.emplace_back(report.kinds[kind]);
  made["order"] = std::move(order);
  made["chain"] = breach->chain;
  made["command"] = command_of(report, *breach);
  return made;
}

json::object finding_json(const CoexistReport& report, const PromiseFinding& each) {
  const Promise& promise = promises()[static_cast<std::size_t>(each.promise)];
  json::object made;
  made["number"] = static_cast<int>(each.promise) + 1;
  made["id"] = promise.id;
  made["promise"] = promise.says;
  made["how"] = promise.tried;
  made["in_service"] = promise.matters;
  made["result"] = each.tried() == 0 ? "not tried" : each.broken() ? "broken" : "kept";
  if (each.tried() == 0) {
    made["not_tried"] = each.not_tried.empty() ? "nothing in these chains to try it on" : each.not_tried;
  }
  json::array cells;
  for (std::size_t i = 0; i < order_class_count; ++i) {
    cells.push_back({{"orders", name_of(static_cast<OrderClass>(i))},
                     {"trials", each.by_class[i].tried},
                     {"broken", each.by_class[i].broken}});
  }
  made["cells"] = std::move(cells);
  made["tried_in"] = {{"chains", each.counts.chains},   {"exchanges", each.counts.exchanges},
                      {"frames", each.counts.frames},   {"struck", each.counts.strikes},
                      {"restarts", each.counts.resets}, {"clock_pairs", each.counts.pairs}};
  if (!each.note.empty()) made["note"] = each.note;
  made["breach"] = breach_json(report, each.breach);
  made["by_old_nodes_alone"] = breach_json(report, each.old_breach);
  return made;
}

}  // namespace

std::string coexist_json(const CoexistReport& report) {
  json::object document;
  document["schema"] = "hopbench.coexist/1";
  put_reality(document, Reality::simulated);
  document["scenario"] = report.scenario;
  document["seed"] = report.seed;
  document["new"] = report.kinds.front();
  json::array old;
  for (std::size_t i = 1; i < report.kinds.size(); ++i) old.emplace_back(report.kinds[i]);
  document["old"] = std::move(old);
  if (!report.asked_as.empty()) document["asked_as"] = report.asked_as;
  document["result"] = !report.found.tried() ? "not tried" : report.found.broken() ? "broken" : "kept";
  document["orders"] = {{"tried", report.found.orders}, {"longest", report.found.longest}};
  // What cannot be counted is left out, so that nobody takes it for a number.
  if (report.found.possible != std::numeric_limits<std::uint64_t>::max()) {
    document["orders"].as_object()["possible"] = report.found.possible;
  }
  document["trials"] = report.found.trials;
  json::array all;
  for (const PromiseFinding& each : report.found.promises) all.push_back(finding_json(report, each));
  document["promises"] = std::move(all);
  return json_text(document);
}

}  // namespace hopbench
