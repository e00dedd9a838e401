#include "cli/help_format.h"

#include "view/number_text.h"
#include "view/paragraph.h"

namespace hopbench {
namespace {

constexpr std::size_t names_end = 26;

/// A name that is too long for its column has a line of its own.
std::string described(const std::string& name, const std::string& what) {
  if (what.empty()) return "  " + name + "\n";
  if (characters_in(name) + 4 > names_end) return paragraph(2, "", name) + paragraph(names_end, "", what);
  const std::string lead = "  " + name;
  return paragraph(0, lead + std::string(names_end - characters_in(lead), ' '), what);
}

}  // namespace

std::string HelpFormat::make_description(const CLI::App* app) const {
  std::string out;
  std::string text = app->get_description();
  while (!text.empty()) {
    const std::size_t end = std::min(text.find('\n'), text.size());
    out += paragraph(0, "", text.substr(0, end));
    text.erase(0, end + 1);
  }
  return out;
}

std::string HelpFormat::make_option(const CLI::Option* option, bool is_positional) const {
  return described(make_option_name(option, is_positional) + make_option_opts(option), make_option_desc(option));
}

std::string HelpFormat::make_subcommand(const CLI::App* command) const {
  return described(command->get_display_name(true), command->get_description());
}

}  // namespace hopbench
