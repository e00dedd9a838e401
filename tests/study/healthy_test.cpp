// Whoever keeps, repeats or leaves out exchanges decides by the same function.
#include "seen/healthy.h"

#include "../record/capture_tools.h"
#include "books/tap.h"
#include "measure/thinner.h"
#include "record/repeat_models.h"
#include "support/catch.h"

namespace hopbench {
namespace {

using sample::OwnedExchange;

/// Healthy, but for one thing at most.
OwnedExchange with_one_fault(const RunInfo& run, int fault) {
  auto one = sample::clean_exchange(run, 1, 5 * second);
  const std::size_t row = static_cast<std::size_t>(fault) % one.rows.size();
  switch (fault) {
    case 0:
      one.fixed.outcome = Outcome::late;
      break;
    case 1:
      one.fixed.outcome = Outcome::wrong;
      break;
    case 2:
      one.attempts.front().outcome = Outcome::garbled;
      break;
    case 3:
      one.attempts.insert(one.attempts.begin(), {0, 1, Outcome::lost});
      one.attempt_truth.emplace_back();
      break;
    case 4:
      one.attempts.clear();
      one.attempt_truth.clear();
      break;
    case 5:
      one.rows[row].symptom = Symptom::framing;
      break;
    case 6:
      one.rows[row].inherited = true;
      break;
    case 7:
      one.rows[row].copy = 1;
      break;
    case 8:
      one.row_truth.push_back({0, Cause::bit_noise, 0xffffffff, 3, true});
      break;
    case 9:
      one.attempt_truth.front().cause = Cause::busy_node;
      break;
    case 10:
      one.strikes.push_back({0, 0, 0, false, 0});
      break;
    default:
      break;
  }
  return one;
}
constexpr int faults = 11;
bool is_seen(int fault) { return fault < 8; }

/// Calls f(obs, truth) with it.
template <class F>
void look(const OwnedExchange& exchange, F f) {
  ExchangeObs obs = exchange.fixed;
  obs.attempts = exchange.attempts;
  obs.rows = exchange.rows;
  const ExchangeTruth truth{exchange.row_truth, exchange.attempt_truth, exchange.strikes};
  f(obs, &truth);
}

}  // namespace

TEST_CASE("healthy is an exchange with which nothing at all was amiss") {
  const auto run = sample::ring(4);
  look(with_one_fault(run, faults), [](const ExchangeObs& obs, const ExchangeTruth* truth) {
    CHECK(looks_healthy(obs));
    CHECK(healthy(obs, truth, false));
    CHECK(healthy(obs, nullptr, false));
    CHECK_FALSE(healthy(obs, truth, true));
    CHECK_FALSE(any_try_failed(obs));
  });
  for (int fault = 0; fault < faults; ++fault) {
    CAPTURE(fault);
    look(with_one_fault(run, fault), [&](const ExchangeObs& obs, const ExchangeTruth* truth) {
      CHECK(looks_healthy(obs) == !is_seen(fault));
      CHECK_FALSE(healthy(obs, truth, false));
      CHECK(healthy(obs, nullptr, false) == !is_seen(fault));
      CHECK(any_try_failed(obs) == (fault == 2 || fault == 3));
    });
  }
}

TEST_CASE("tap, thinner, capture and reader tell the healthy ones from the others alike") {
  const auto run = sample::ring(4);
  for (int fault = 0; fault <= faults; ++fault) {
    CAPTURE(fault);
    const auto exchange = with_one_fault(run, fault);
    look(exchange, [&](const ExchangeObs& obs, const ExchangeTruth* truth) {
      sample::Listing out;
      Tap tap(out);
      tap.start_copying();
      tap.exchange(obs, truth);
      CHECK(tap.copy().healthy == healthy(obs, truth, false));

      Thinner thinner(out, 0, 0);
      thinner.begin(run);
      thinner.exchange(obs, truth);
      CHECK((thinner.tallied() == 1) == healthy(obs, truth, false));

      RecordEncoder encoder;
      const auto payload = encoder.exchange(obs, truth);
      CHECK((encoder.exchange_kind() == RecordKind::clean_exchange) == looks_healthy(obs));

      // Read as a repeat of itself.
      Record record;
      RecordDecoder decoder;
      REQUIRE(decoder.decode(static_cast<std::uint8_t>(encoder.exchange_kind()), payload, record) ==
              RecordDecoder::Result::good);
      RepeatModels models;
      models.learn(record);
      Repeat repeat;
      CHECK(models.repeat_of(payload, repeat) == healthy(obs, truth, false));
    });
  }
}

}  // namespace hopbench
