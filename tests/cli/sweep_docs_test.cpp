// How docs/sweep.md spreads a sweep over cores and machines: its commands, run as they stand there.
#include <algorithm>
#include <cstdlib>
#include <filesystem>
#include <fstream>
#include <string>

#include "page_block.h"
#include "program.h"
#include "support/catch.h"

namespace hopbench {
namespace {

const std::string scenario = std::string(HOPBENCH_SOURCE_DIR) + "/captures/mechanisms/bit-noise.txtpb";
const std::string the_sweep = "sweep " + scenario + " --vary controller.retries=0..3 --seeds 5 --for 2min";

/// The lines behind "$ ".
std::string commands_of(const std::string& block) {
  std::string commands;
  for (std::size_t at = 0; at < block.size();) {
    const std::size_t end = block.find('\n', at);
    const std::string line = block.substr(at, end - at);
    if (line.starts_with("$ ")) commands += line.substr(2) + "\n";
    at = end + 1;
  }
  return commands;
}

/// In the folder, with the program on the path and the scenario as $SCENARIO.
program::Ran in_folder(const program::Folder& folder, const std::string& lines) {
  const auto programs = std::filesystem::path(HOPBENCH_BINARY).parent_path().string();
  folder.write("lines.sh", "PATH='" + programs + "':$PATH; export SCENARIO='" + scenario + "'\n" + lines);
  return folder.shell("cd '" + folder.file("") + "' && sh lines.sh");
}

void runs_as_whole(const program::Folder& folder, const std::string& commands) {
  const auto ran = in_folder(folder, commands);
  CHECK(ran.exit_code == 0);
  CHECK(ran.out == folder.run(the_sweep).out);
}

}  // namespace

TEST_CASE("shards through xargs, as in the docs, give the whole sweep") {
  const program::Folder folder;
  runs_as_whole(folder, commands_of(page_block("sweep.md", "console xargs")));
}

TEST_CASE("shards through GNU parallel, as in the docs, give the whole sweep") {
  if (std::system("parallel --version 2>/dev/null | grep -q '^GNU parallel'") != 0) {
    WARN("GNU parallel is not installed");
    return;
  }
  const program::Folder folder;
  runs_as_whole(folder, commands_of(page_block("sweep.md", "console parallel")));
}

TEST_CASE("the job array in the docs gives the whole sweep") {
  const program::Folder folder;
  const std::string script = page_block("sweep.md", "sh");
  CHECK(script.find("#SBATCH --array=1-16\n") != std::string::npos);
  folder.write("job.sh", script);
  // Each task as Slurm starts it, last first: their order is nobody's.
  runs_as_whole(folder,
                "for task in $(seq 16 -1 1); do SLURM_ARRAY_TASK_ID=$task sh job.sh || exit 9; done\n"
                "hopbench sweep --merge retries\n");
}

}  // namespace hopbench
