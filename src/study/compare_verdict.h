// What a comparison comes to, in a word and a sentence.
#pragma once

#include <string>
#include <string_view>

#include "study/comparison.h"

namespace hopbench {

/// Fills in the verdict and its sentence. The sentence may be quoted by itself, so it tells what was real: behind
/// `verdict_words`, which `rest` follows at once.
void say(Comparison& result, Verdict verdict, std::string_view verdict_words, const std::string& rest);

/// The smallest rise and the smallest fall that would have been seen, in a sentence.
std::string would_have_been_seen(const Comparison& result);

/// Fills in verdict and sentence from everything else.
void decide(Comparison& result);

}  // namespace hopbench
