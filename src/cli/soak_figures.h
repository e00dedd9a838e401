// Figures of a soak test for who collects them: in a file, and over HTTP.
#pragma once

#include <chrono>
#include <future>
#include <optional>
#include <string>

#include "port/text_server.h"
#include "view/soak_report.h"

namespace hopbench {

class SoakFigures {
 public:
  /// `file`, `endpoint` (an address and a port): where to; empty: not there.
  SoakFigures(std::string file, std::string endpoint) : file_(std::move(file)), endpoint_(std::move(endpoint)) {}
  SoakFigures(const SoakFigures&) = delete;
  SoakFigures& operator=(const SoakFigures&) = delete;
  ~SoakFigures();

  /// Listens. False, said on the standard error, if nobody can listen there.
  bool serve();
  /// It is time to show the next ones.
  [[nodiscard]] bool due(std::chrono::steady_clock::time_point now) const { return any() && now >= next_; }
  /// The file is written beside the run; the last one is there when this is gone. One that cannot be written is told
  /// once.
  void show(const SoakReport& report);

 private:
  void written();
  [[nodiscard]] bool any() const { return server_ || !file_.empty(); }

  std::string file_;
  std::string endpoint_;
  std::optional<TextServer> server_;
  std::chrono::steady_clock::time_point next_;
  bool trouble_said_ = false;
  std::future<int> writing_;
};

}  // namespace hopbench
