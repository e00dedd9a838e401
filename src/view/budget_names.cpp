// Names that the budget's text and document share.
#include "scenario/link_table.h"
#include "view/budget_report.h"

namespace hopbench {

std::string station_name(const ChainDescription& chain, std::uint16_t station) {
  return station == nobody ? chain.controller.name : chain.nodes[station].name;
}

std::string_view name_of(Reply reply) {
  switch (reply) {
    case Reply::answer:
      return "answer";
    case Reply::refusal:
      return "refusal";
    case Reply::comes_round:
      return "comes round";
    case Reply::not_awaited:
      return "nothing awaited";
    case Reply::none:
      return "no answer";
  }
  return "";
}

}  // namespace hopbench
