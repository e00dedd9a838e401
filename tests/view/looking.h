// The inspector over a recorded run, with keys pressed by a test; and screens that were looked over, as files.
#pragma once

#include <cstdlib>
#include <fstream>
#include <iterator>
#include <memory>
#include <string>

#include "picture/run_to_look_at.h"
#include "support/catch.h"
#include "text/scenario.h"
#include "view/inspector.h"

namespace hopbench {

struct Looking : looked_at::Recorded {
  std::unique_ptr<Picture> picture;
  std::unique_ptr<Protocol> protocol;
  std::unique_ptr<Inspector> inspector;

  explicit Looking(int width = 80, int height = 24, bool live = false) {
    std::string why;
    bool no_capture = false;
    picture = Picture::open(capture(), "1", why, no_capture);
    REQUIRE(picture);
    while (picture->grow(10'000) > 0) {
    }
    std::vector<Problem> problems;
    const auto scenario = load_scenario({"s", picture->scenario_text()}, stored_bus(picture->bus_text()), problems);
    REQUIRE(scenario);
    protocol = std::make_unique<Protocol>(scenario->bus);
    inspector = std::make_unique<Inspector>(*picture, protocol.get(), std::vector<Note>{}, live);
    inspector->resize(width, height);
  }
  void type(const std::string& text) const {
    for (const char32_t c : code_points(text)) inspector->press({Key::character, c});
  }
  void press(Key key) const { inspector->press({key, 0}); }
  void answer(const std::string& keys) const {
    type(keys);
    press(Key::enter);
  }
  [[nodiscard]] std::string text() const { return inspector->compose().text(false); }
  [[nodiscard]] bool shows(const std::string& words) const { return text().find(words) != std::string::npos; }
  [[nodiscard]] std::string line(std::size_t number) const {
    auto all = text();
    for (; number > 0; --number) all = all.substr(all.find('\n') + 1);
    return all.substr(0, all.find('\n'));
  }
  [[nodiscard]] std::string last_line() const {
    const auto all = text();
    return all.substr(all.rfind('\n', all.size() - 2) + 1);
  }
  /// The first line with these words; "" if there is none.
  [[nodiscard]] std::string line_with(const std::string& words) const {
    const auto all = text();
    const auto found = all.find(words);
    if (found == std::string::npos) return "";
    const auto start = all.rfind('\n', found) + 1;
    return all.substr(start, all.find('\n', found) - start);
  }
};

inline std::string golden_path(const std::string& name) {
  return std::string(HOPBENCH_SOURCE_DIR) + "/tests/view/screens/" + name + ".txt";
}

inline std::string golden(const std::string& name) {
  std::ifstream file(golden_path(name), std::ios::binary);
  return {std::istreambuf_iterator<char>(file), std::istreambuf_iterator<char>()};
}

/// HOPBENCH_WRITE_SCREENS=1 writes them anew; look at what changed before it is committed.
inline void check_screen(const std::string& name, const std::string& text) {
  if (std::getenv("HOPBENCH_WRITE_SCREENS") != nullptr) {
    std::ofstream file(golden_path(name), std::ios::binary);
    file << text;
  }
  CAPTURE(name);
  CHECK(text == golden(name));
}

}  // namespace hopbench
