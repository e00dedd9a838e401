// hopbench field [NAME]: what a field of a scenario or bus description means.
#include <fmt/format.h>

#include <cstdio>
#include <memory>
#include <string>
#include <string_view>

#include "cli/commands.h"
#include "cli/say.h"
#include "text/field_docs.h"
#include "text/suggest.h"
#include "view/paragraph.h"

namespace hopbench {
namespace {

constexpr std::size_t most_places = 4;

struct FieldOptions {
  std::string name;
};

std::string type_line(const FieldDoc& doc) {
  return doc.repeated ? doc.type + "; can be given several times" : doc.type;
}

void print_one(const FieldDoc& doc) {
  fmt::print("{}  ({})\n", doc.paths.front(), type_line(doc));
  fmt::print("{}", paragraph(4, "", doc.comment));
  for (const auto& [name, comment] : doc.values)
    fmt::print("{}", paragraph(6, "", fmt::format("{}: {}", name, comment)));
  if (doc.paths.size() > 1) {
    std::string also;
    for (std::size_t i = 1; i < doc.paths.size() && i <= most_places; ++i) also += (i == 1 ? "" : ", ") + doc.paths[i];
    if (doc.paths.size() - 1 > most_places)
      also += fmt::format(" and {} more places", doc.paths.size() - 1 - most_places);
    fmt::print("{}", paragraph(4, "", "Also: " + also + "."));
  }
  fmt::print("\n");
}

/// The first sentence, for lists.
std::string_view first_sentence(std::string_view comment) { return comment.substr(0, comment.find(". ")); }

void print_all() {
  fmt::print(
      "{}\n",
      paragraph(0, "",
                "Fields of a scenario and of a bus description by their paths; hopbench field NAME tells all about "
                "one, by its path or the last part of it."));
  for (const FieldDoc& doc : field_docs()) {
    std::string sentence{first_sentence(doc.comment)};
    if (!sentence.empty() && sentence.back() != '.' && sentence.back() != ':') sentence += '.';
    fmt::print("{}\n{}", doc.paths.front(), paragraph(4, "", sentence));
  }
}

int run_field(const FieldOptions& options) {
  if (options.name.empty()) {
    print_all();
    return exit_done;
  }
  const auto found = field_docs_named(options.name);
  if (found.empty()) {
    const std::string_view name = options.name;
    const std::string last{name.substr(name.rfind('.') == std::string_view::npos ? 0 : name.rfind('.') + 1)};
    const std::string near = nearest(last, field_doc_names());
    say_line("hopbench field: there is no field {}{}\n", in_quotes(name),
             near.empty() ? "; hopbench field lists them all" : "; did you mean " + near + "?");
    return exit_bad_input;
  }
  for (const FieldDoc* doc : found) print_one(*doc);
  return exit_done;
}

}  // namespace

void add_field(CLI::App& app, int& exit_code) {
  auto options = std::make_shared<FieldOptions>();
  CLI::App* command =
      app.add_subcommand("field", "Explain a field of a scenario or bus description: meaning, unit, range, default");
  command->add_option("NAME", options->name,
                      "Name or path of a field (time_out, controller.retries) or of a value (LOSS); all if left out");
  command->callback([options, &exit_code] { exit_code = run_field(*options); });
}

}  // namespace hopbench
