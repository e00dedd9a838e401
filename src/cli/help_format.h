// How --help is laid out.
#pragma once

#include <CLI/CLI.hpp>
#include <string>

namespace hopbench {

/// Names on the left, what they mean on the right, in lines of the page's width.
class HelpFormat final : public CLI::Formatter {
 public:
  std::string make_description(const CLI::App* app) const override;
  std::string make_option(const CLI::Option* option, bool is_positional) const override;
  std::string make_subcommand(const CLI::App* command) const override;
};

}  // namespace hopbench
