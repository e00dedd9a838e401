#include "cli/watch.h"

#include <fmt/format.h>

#include <algorithm>
#include <atomic>
#include <csignal>

#include "cli/progress_steps.h"
#include "view/number_text.h"

namespace hopbench {
namespace {

// Studies ask from several threads. A handler may write what is free of locks.
std::atomic<bool> signal_came = false;
static_assert(std::atomic<bool>::is_always_lock_free);

void on_signal(int) { signal_came = true; }

constexpr auto show_every = std::chrono::milliseconds(250);

}  // namespace

EndSignals::EndSignals() {
  signal_came = false;
  struct sigaction hang_up {};
  sigaction(SIGHUP, nullptr, &hang_up);
  keeps_on_ = hang_up.sa_handler == SIG_IGN;
  struct sigaction action {};
  action.sa_handler = on_signal;
  action.sa_flags = static_cast<int>(SA_RESETHAND);
  sigemptyset(&action.sa_mask);
  sigaction(SIGINT, &action, nullptr);
  sigaction(SIGTERM, &action, nullptr);
  if (!keeps_on_) sigaction(SIGHUP, &action, nullptr);
}

EndSignals::~EndSignals() {
  std::signal(SIGINT, SIG_DFL);
  std::signal(SIGTERM, SIG_DFL);
  if (!keeps_on_) std::signal(SIGHUP, SIG_DFL);
}

bool EndSignals::came() { return signal_came; }

Watch::Watch(Nanos span, std::uint64_t exchanges, bool throws)
    : span_(span),
      wanted_(exchanges),
      throws_(throws),
      began_(std::chrono::steady_clock::now()),
      next_(began_ + show_every) {}

void Watch::exchange(const ExchangeObs& obs, const ExchangeTruth*) {
  ++seen_;
  if (throws_ && EndSignals::came()) throw Interrupted{};
  // The clock is looked at now and then only: an exchange takes a microsecond.
  if (wanted_ != 0 && seen_ % 1024 == 0) at(obs.closed);
}

void Watch::again(std::span<const ExchangeObs> /*models*/, std::span<const Repeat> repeats) {
  seen_ += repeats.size();
  if (throws_ && EndSignals::came()) throw Interrupted{};
  if (wanted_ != 0) at(repeats.back().start);
}

void Watch::at(Nanos now) {
  if (!line_.shows() || std::chrono::steady_clock::now() < next_) return;
  next_ = std::chrono::steady_clock::now() + show_every;
  const auto took = std::chrono::steady_clock::now() - began_;
  const double seconds = std::chrono::duration_cast<std::chrono::duration<double>>(took).count();
  const double share = wanted_ != 0 ? static_cast<double>(seen_) / static_cast<double>(wanted_)
                                    : static_cast<double>(now) / static_cast<double>(std::max<Nanos>(1, span_));
  const auto far = wanted_ != 0
                       ? fmt::format("{} of {} exchanges, {}", grouped(seen_), grouped(wanted_), long_span(now))
                       : fmt::format("{} of {}, {} exchanges", long_span(now), long_span(span_), grouped(seen_));
  line_.show(fmt::format("{}, {} a second{}", far,
                         grouped(static_cast<std::uint64_t>(static_cast<double>(seen_) / seconds)),
                         time_left(share, took)));
}

}  // namespace hopbench
