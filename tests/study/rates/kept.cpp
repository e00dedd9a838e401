// Cases that were drawn, as files: the scenario, with what is hidden in comments at its head.
#include <fmt/format.h>

#include <filesystem>
#include <fstream>
#include <iterator>
#include <sstream>

#include "report.h"

namespace hopbench::rates {
namespace {

std::string numbers(const std::vector<std::size_t>& list) {
  std::string text;
  for (const auto each : list) text += fmt::format(" {}", each);
  return text;
}

std::string head_of(const HiddenCase& hidden) {
  std::string text = fmt::format("# case {} {}\n", hidden.seed, hidden.as_told ? "as_told" : "stated");
  for (const Hidden& each : hidden.hidden) {
    text += fmt::format("# hidden {} {}{} links{} nodes{} end | {}\n", name_of(each.mechanism), each.failures,
                        each.planted.at_controller ? " controller" : "", numbers(each.planted.links),
                        numbers(each.planted.nodes), each.name);
  }
  return text;
}

std::optional<Hidden> hidden_in(const std::string& line) {
  std::istringstream in(line);
  std::string word;
  Hidden hidden;
  in >> word >> word >> word;
  const auto mechanism = mechanism_named(word);
  if (!mechanism || !(in >> hidden.failures)) return std::nullopt;
  hidden.mechanism = *mechanism;
  std::vector<std::size_t>* into = nullptr;
  while (in >> word && word != "end") {
    if (word == "controller") {
      hidden.planted.at_controller = true;
    } else if (word == "links") {
      into = &hidden.planted.links;
    } else if (word == "nodes") {
      into = &hidden.planted.nodes;
    } else if (into != nullptr) {
      into->push_back(std::stoull(word));
    }
  }
  std::getline(in, hidden.name);
  hidden.name.erase(0, 3);
  return hidden;
}

}  // namespace

std::optional<HiddenCase> kept_case(std::uint64_t seed, const std::string& only, const std::string& keep) {
  if (keep.empty() || !only.empty()) return hidden_case(seed, only);
  const std::string path = fmt::format("{}/{}.txtpb", keep, seed);
  if (std::ifstream in(path); in) {
    HiddenCase made;
    made.seed = seed;
    std::string line;
    while (in.peek() == '#' && std::getline(in, line)) {
      if (line.starts_with("# case")) made.as_told = line.ends_with("as_told");
      if (line.starts_with("# hidden")) {
        if (auto hidden = hidden_in(line)) made.hidden.push_back(std::move(*hidden));
      }
    }
    made.text.assign(std::istreambuf_iterator<char>(in), {});
    if (made.hidden.empty()) return std::nullopt;
    return made;
  }
  auto made = hidden_case(seed);
  const std::string half = path + ".half";
  std::ofstream(half) << (made ? head_of(*made) + made->text : fmt::format("# case {} none\n", seed));
  std::filesystem::rename(half, path);
  return made;
}

}  // namespace hopbench::rates
