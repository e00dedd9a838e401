#include "embedded.h"
#include "text/scenario.h"
#include "text/suggest.h"

namespace hopbench {
namespace {

constexpr std::string_view folder = "buses/";
constexpr std::string_view ending = ".txtpb";

/// Name of a shipped bus from the name of its file; empty if it is none.
std::string_view bus_name(std::string_view file) {
  if (!file.starts_with(folder) || !file.ends_with(ending)) return {};
  return file.substr(folder.size(), file.size() - folder.size() - ending.size());
}

}  // namespace

std::vector<std::string> shipped_bus_names() {
  std::vector<std::string> names;
  for (const EmbeddedFile& file : embedded_files()) {
    if (const auto name = bus_name(file.name); !name.empty()) names.emplace_back(name);
  }
  return names;
}

std::optional<TextFile> shipped_bus(std::string_view name) {
  for (const EmbeddedFile& file : embedded_files()) {
    if (!name.empty() && bus_name(file.name) == name)
      return TextFile{std::string{name} + std::string{ending}, std::string{file.bytes}};
  }
  return std::nullopt;
}

BusFinder buses_beside(std::string scenario_path) {
  return [path = std::move(scenario_path)](const std::string& name, std::string& why) -> std::optional<TextFile> {
    const auto beside = [&](const std::string& file) {
      const std::size_t slash = path.rfind('/');
      return slash == std::string::npos ? file : path.substr(0, slash + 1) + file;
    };
    if (name.find('/') == std::string::npos && !name.ends_with(ending)) {
      auto bus = shipped_bus(name);
      if (bus) return bus;
      std::string unread;
      const std::string file = name + std::string{ending};
      why = "does not come with hopbench";
      why += !name.empty() && read_text_file(beside(file), unread)
                 ? "; the file beside this one is named " + in_quotes(file)
                 : suggestion(name, shipped_bus_names());
      return std::nullopt;
    }
    return read_text_file(name.front() == '/' ? name : beside(name), why);
  };
}

BusFinder stored_bus(std::string bus_text) {
  return [text = std::move(bus_text)](const std::string& name, std::string&) {
    return std::optional{TextFile{name, text}};
  };
}

}  // namespace hopbench
