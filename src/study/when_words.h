// What can be said of each condition, in one sentence.
#pragma once

#include <optional>

#include "study/whens.h"

namespace hopbench {

/// Conditions that hold for the whole chain, whatever is asked.
bool is_state(Condition condition);

/// The one of balancing and charge that is not told, if the other is, or the first of them that might matter to others.
std::optional<Condition> untold_beside(const Evidence& evidence, Condition condition);

/// Fills in the sentences, and what would part conditions that move together.
void put_in_words(const Evidence& evidence, const Case& which, Whens& whens);

}  // namespace hopbench
