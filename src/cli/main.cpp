// The hopbench program: finds the command, runs it, returns its exit code.
#include <unistd.h>

#include <algorithm>
#include <charconv>
#include <csignal>
#include <cstdint>
#include <cstdio>
#include <exception>
#include <memory>
#include <string>
#include <vector>

#include "cli/commands.h"
#include "cli/help_format.h"
#include "cli/say.h"
#include "text/suggest.h"
#include "view/page.h"

namespace {

constexpr const char* about =
    "hopbench: a test bench for daisy chains of battery monitoring nodes.\n"
    "It runs the chain that a scenario describes and shows on which hop replies go missing, and why. Begin with "
    "`hopbench new chain.txtpb` and `hopbench run chain.txtpb`.";

constexpr const char* exit_codes =
    "Exit codes:\n"
    "  0  done\n"
    "  1  done, and the verdict asked for is no\n"
    "  2  the command line, a scenario or a bus description is wrong\n"
    "  3  a port or a file cannot be used\n"
    "  4  undecided, interrupted or incomplete";

std::vector<std::string> command_names(const CLI::App& app) {
  std::vector<std::string> names;
  for (const CLI::App* command : app.get_subcommands([](const CLI::App*) { return true; }))
    names.push_back(command->get_name());
  return names;
}

/// Whole numbers: the library takes "-1" for the largest there is, and says little of what is no number.
void refuse_signs(CLI::App& app) {
  for (CLI::App* command : app.get_subcommands([](const CLI::App*) { return true; })) {
    for (CLI::Option* option : command->get_options()) {
      if (option->get_type_name() != "UINT") continue;
      option->check(
          [](const std::string& text) {
            std::uint64_t number = 0;
            const auto [end, error] = std::from_chars(text.data(), text.data() + text.size(), number);
            const bool whole = error == std::errc() && end == text.data() + text.size();
            return whole ? std::string{} : hopbench::in_quotes(text) + " is no whole number below 2^64, for example 20";
          },
          "", "");
    }
    refuse_signs(*command);
  }
}

int run(int argc, char** argv) {
  CLI::App app{about, "hopbench"};
  app.formatter(std::make_shared<hopbench::HelpFormat>());
  app.set_version_flag("--version", std::string{"hopbench " HOPBENCH_VERSION});
  app.footer(exit_codes);
  app.require_subcommand(1);

  int exit_code = hopbench::exit_done;
  hopbench::add_new(app, exit_code);
  hopbench::add_check(app, exit_code);
  hopbench::add_field(app, exit_code);
  hopbench::add_frame(app, exit_code);
  hopbench::add_budget(app, exit_code);
  hopbench::add_run(app, exit_code);
  hopbench::add_measure(app, exit_code);
  hopbench::add_explain(app, exit_code);
  hopbench::add_compare(app, exit_code);
  hopbench::add_inspect(app, exit_code);
  hopbench::add_emulate(app, exit_code);
  hopbench::add_capture(app, exit_code);
  hopbench::add_shrink(app, exit_code);
  hopbench::add_sweep(app, exit_code);
  hopbench::add_coexist(app, exit_code);
  hopbench::add_soak(app, exit_code);

  refuse_signs(app);
  const std::vector<std::string> commands = command_names(app);
  if (argc > 1 && argv[1][0] != '-' && std::find(commands.begin(), commands.end(), argv[1]) == commands.end()) {
    return hopbench::bad_input("there is no command " + hopbench::in_quotes(argv[1]) +
                               hopbench::suggestion(argv[1], commands));
  }
  try {
    app.parse(argc, argv);
  } catch (const CLI::ParseError& error) {
    // The library has exit codes of its own (100 and up) for the many ways to be wrong; here all are one.
    if (error.get_exit_code() == 0) return app.exit(error) == 0 ? hopbench::exit_done : hopbench::exit_bad_input;
    return hopbench::bad_input(std::string(error.what()) + " (see hopbench --help)");
  }
  return exit_code;
}

}  // namespace

int main(int argc, char** argv) {
  // A reader that went away (a closed pipe) shows as a failed write, not as a death without a word.
  std::signal(SIGPIPE, SIG_IGN);
  // A file that may not grow is an error of the write, to be told like a full disk.
  std::signal(SIGXFSZ, SIG_IGN);
  hopbench::set_page_width(hopbench::columns_of(STDOUT_FILENO));
  try {
    const int exit_code = run(argc, argv);
    if (std::fflush(stdout) == 0 && std::ferror(stdout) == 0) return exit_code;
    std::fprintf(stderr, "hopbench: the results cannot be written to the standard output\n");
  } catch (const std::exception& error) {
    hopbench::say_line("hopbench: {}\n", error.what());
  } catch (...) {
    std::fprintf(stderr, "hopbench: an unknown error\n");
  }
  return hopbench::exit_trouble;
}
