// Where a path leads in a scenario's message.
#pragma once

#include <google/protobuf/message.h>

#include <string>
#include <utility>
#include <vector>

#include "scenario.pb.h"
#include "text/path.h"

namespace hopbench {

/// Something that a path leads to. Good until something is removed from the scenario, or another path is followed that
/// takes nodes out of their groups or adds hops.
struct PathEnd {
  google::protobuf::Message* owner = nullptr;
  const google::protobuf::FieldDescriptor* field = nullptr;
  int index = 0;  // as set_value() takes it
  /// Fields from the top by their numbers, with an index, or -1, each.
  std::vector<std::pair<int, int>> place;
};

/// Everything that the path leads to, at least one. What is on the way is changed so that it can be meant: a node is
/// taken out of its group; where something is looked for or set that holds from elsewhere (the kind's clock for a
/// node's, what an earlier hop or every_hop says), that is taken over first. Throws WrongEdit; then `scenario` means
/// nothing any more.
std::vector<PathEnd> walk(text::Scenario& scenario, const std::vector<PathStep>& steps, WalkFor what);

/// Removes what stands there, all at once: places are those before anything was removed.
void remove_all(std::vector<PathEnd> ends);

}  // namespace hopbench
