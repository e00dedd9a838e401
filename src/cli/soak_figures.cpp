#include "cli/soak_figures.h"

#include <cstdint>
#include <system_error>

#include "cli/say.h"
#include "record/new_file.h"

namespace hopbench {
namespace {

constexpr auto show_every = std::chrono::seconds(2);

}  // namespace

bool SoakFigures::serve() {
  if (endpoint_.empty()) return true;
  std::string address;
  std::uint16_t port = 0;
  (void)parse_endpoint(endpoint_, address, port);
  try {
    server_.emplace(address, port, "text/plain; version=0.0.4; charset=utf-8");
  } catch (const std::system_error& error) {
    say_line("hopbench: --metrics {}: {}\n", endpoint_, error.code().message());
    return false;
  }
  say_line("hopbench: figures at http://{}:{}/metrics\n", address, server_->port());
  return true;
}

void SoakFigures::show(const SoakReport& report) {
  if (!any()) return;
  next_ = std::chrono::steady_clock::now() + show_every;
  const std::string text = soak_metrics(report);
  if (server_) server_->show(text);
  if (file_.empty()) return;
  // Waits for the one before only where the disk is slower than that.
  written();
  writing_ = std::async(std::launch::async, [file = file_, text] {
    return write_new_file(file, {reinterpret_cast<const std::uint8_t*>(text.data()), text.size()}, true);
  });
}

void SoakFigures::written() {
  if (!writing_.valid()) return;
  const int error = writing_.get();
  if (error != 0 && !trouble_said_) say_line("hopbench: {}: {}\n", file_, file_error(error));
  trouble_said_ = trouble_said_ || error != 0;
}

SoakFigures::~SoakFigures() { written(); }

}  // namespace hopbench
