// A line on the standard error that is written over and over while a person waits, and is gone afterwards. Nothing is
// written if that is no terminal.
#pragma once

#include <string>

namespace hopbench {

class ProgressLine {
 public:
  ProgressLine();
  ~ProgressLine();
  ProgressLine(const ProgressLine&) = delete;
  ProgressLine& operator=(const ProgressLine&) = delete;

  [[nodiscard]] bool shows() const { return shows_; }
  void show(const std::string& text);
  void clear();

 private:
  bool shows_;
  bool shown_ = false;
};

}  // namespace hopbench
