// Stands between the chain and whoever listens: hands everything on, keeps a copy of an exchange when asked to, and
// gathers repeats into blocks.
#pragma once

#include <array>
#include <cstdint>
#include <vector>

#include "seen/forwarding_sink.h"

namespace hopbench {

class Tap final : public ForwardingSink {
 public:
  explicit Tap(Sink& sink) : ForwardingSink({&sink}) {}

  /// What was told since start_copying(): how much, and the last exchange.
  struct Copy {
    std::uint64_t exchanges = 0;
    std::uint64_t others = 0;  // records of any other kind
    bool healthy = false;      // the exchange
    ExchangeObs seen;          // its spans point to what follows
    std::vector<Attempt> attempts;
    std::vector<HopRow> rows;
    std::vector<std::uint8_t> asked;
    std::vector<std::uint8_t> answered;
  };
  void start_copying();
  void stop_copying() { copying_ = false; }
  [[nodiscard]] const Copy& copy() const { return copy_; }

  /// Adds a repeat to the block. `models` must stay as it is until flush().
  void add(const std::vector<ExchangeObs>& models, const Repeat& repeat) {
    models_ = &models;
    repeats_[gathered_] = repeat;
    if (++gathered_ == block) flush();
  }
  /// Tells of the repeats gathered so far.
  void flush();

  void exchange(const ExchangeObs& obs, const ExchangeTruth* truth) override;

 private:
  static constexpr std::size_t block = 256;
  bool before_handing_on() override;
  void keep(const ExchangeObs& obs, const ExchangeTruth* truth);

  bool copying_ = false;
  Copy copy_;
  const std::vector<ExchangeObs>* models_ = nullptr;
  std::array<Repeat, block> repeats_;
  std::size_t gathered_ = 0;
};

}  // namespace hopbench
