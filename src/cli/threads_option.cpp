#include "cli/threads_option.h"

#include <algorithm>
#include <thread>

namespace hopbench {

CLI::Option* add_threads_option(CLI::App& command, unsigned& threads) {
  return command.add_option("--threads", threads, "Run N at the same time, e.g. 2 (default: one for each core)")
      ->check(CLI::Range(1, 256));
}

unsigned threads_or_all(unsigned threads) {
  return threads > 0 ? threads : std::max(1U, std::thread::hardware_concurrency());
}

}  // namespace hopbench
