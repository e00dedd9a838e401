// Answers that come from another place than the node that was asked, or that carry another node's address.
#pragma once

#include <string>
#include <vector>

#include "bus/protocol.h"
#include "study/case_sample.h"

namespace hopbench {

/// Of the failed tries with `asked` that were answered at all, so many were answered so.
struct StrangeAnswers {
  std::uint16_t asked = no_station;
  std::uint16_t other = no_station;  // the node in whose place or by whose address
  bool by_place = false;             // it was seen where the answer came from; else only what address it carries
  std::uint64_t in = 0;
  std::uint64_t of = 0;
};

/// By node. `sample`: of tries. What tries that went well show as well is left out. Addresses of nodes are those that
/// requests to them carry.
std::vector<StrangeAnswers> strange_answers_of(const CaseSample& sample, const Protocol* protocol);
/// Two that answer for each other are told in one.
std::vector<std::string> sentences_of(const std::vector<StrangeAnswers>& all, const RunInfo& run);

}  // namespace hopbench
