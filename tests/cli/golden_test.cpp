// Captures that a release made are read by every later version, and measured alike. The captures and the figures beside
// them under tests/record/golden/ are our own, made by `run --capture` and `measure --json` of the version that brought
// out that format (mixed-1.1 with --keep-one-in 20 --around 1); nothing but a reader's mistake can change them.
#include <boost/json.hpp>
#include <fstream>
#include <sstream>

#include "program.h"
#include "support/catch.h"

namespace hopbench {
namespace {

namespace json = boost::json;

/// Where `now` does not say what `then` said; later versions may say more.
std::string changed(const json::value& then, const json::value& now, const std::string& where) {
  if (then.is_object() && now.is_object()) {
    for (const auto& [key, value] : then.get_object()) {
      const auto* other = now.get_object().if_contains(key);
      if (other == nullptr) return where + "." + std::string(key) + " is gone";
      if (auto at = changed(value, *other, where + "." + std::string(key)); !at.empty()) return at;
    }
    return {};
  }
  if (then.is_array() && now.is_array() && then.get_array().size() == now.get_array().size()) {
    for (std::size_t i = 0; i < then.get_array().size(); ++i) {
      if (auto at = changed(then.at(i), now.at(i), where + "[" + std::to_string(i) + "]"); !at.empty()) return at;
    }
    return {};
  }
  return then == now ? std::string() : where + ": " + json::serialize(then) + ", now " + json::serialize(now);
}

std::string text_of(const std::string& path) {
  std::ifstream in(path, std::ios::binary);
  std::ostringstream text;
  text << in.rdbuf();
  return text.str();
}

}  // namespace

TEST_CASE("captures of earlier formats are measured as they were when they were new") {
  const program::Folder folder;
  for (const char* name : {"mixed-1.0", "line-1.0", "mixed-1.1"}) {
    INFO(name);
    const std::string base = std::string(HOPBENCH_SOURCE_DIR "/tests/record/golden/") + name;
    const auto ran = folder.run("measure --json '" + base + ".hbcap'");
    CHECK(ran.exit_code == 0);
    CHECK(ran.err == "");
    CHECK(changed(json::parse(text_of(base + ".json")), json::parse(ran.out), "summary") == "");
  }
}

}  // namespace hopbench
