// Puts a Screen on the terminal and takes keys from it. The only place that knows curses.
#pragma once

#include <memory>
#include <optional>
#include <string>

#include "view/inspector.h"
#include "view/screen.h"

namespace hopbench {

class Painter {
 public:
  struct Wishes {
    bool ascii = false;  // glyphs from the ASCII table whatever the locale says
    bool colour = true;  // else attributes only
  };
  /// Takes the terminal over. Null if it cannot do what is needed, with one line in `why`. One at a time.
  static std::unique_ptr<Painter> open(const Wishes& wishes, std::string& why);
  /// Gives the terminal back as it was.
  ~Painter();
  Painter(const Painter&) = delete;
  Painter& operator=(const Painter&) = delete;

  [[nodiscard]] int width() const;
  [[nodiscard]] int height() const;
  /// Waits so long for a key, in ms; none if none came. A change of size is told by resized().
  std::optional<Press> key(int wait_ms);
  /// Whether the size has changed since the last call.
  bool resized();
  void paint(const Screen& screen);

 private:
  Painter() = default;
  struct Terminal;
  std::unique_ptr<Terminal> terminal_;
};

}  // namespace hopbench
