// Waiting lines on the event queue against the closed forms of queueing theory. Time is counted in services: a service
// takes one second of virtual time on average.
#include <cmath>
#include <deque>
#include <functional>
#include <vector>

#include "base/luck.h"
#include "engine/event_queue.h"
#include "support/catch.h"

namespace hopbench {
namespace {

/// One server, a line of at most `room` customers (served one included; 0: no limit), first come, first served.
class Server final : public Actor {
 public:
  Server(EventQueue& queue, std::uint16_t entity, std::function<Nanos(std::uint64_t)> service)
      : queue_(&queue), entity_(entity), service_(std::move(service)) {}

  std::uint64_t room = 0;
  std::function<void(Nanos)> left;  // somebody leaves

  /// Returns false if there is no room.
  bool enter(Nanos now) {
    if (room != 0 && inside_.size() >= room) return false;
    count(now);
    inside_.push_back(now);
    if (inside_.size() == 1) begin(now);
    return true;
  }
  void on_event(Nanos now, std::uint64_t) override {
    count(now);
    sojourn += static_cast<unsigned long long>(now - inside_.front());
    inside_.pop_front();
    if (!inside_.empty()) begin(now);
    if (left) left(now);
  }

  std::uint64_t served = 0;
  std::uint64_t not_kept_waiting = 0;
  long double waited = 0;
  unsigned long long sojourn = 0;  // sums of nanoseconds stay under 2^64 for 10^6 customers
  unsigned long long area = 0;     // customers inside, integrated over time

 private:
  void begin(Nanos now) {
    const Nanos wait = now - inside_.front();
    waited += static_cast<long double>(wait);
    if (wait == 0) ++not_kept_waiting;
    queue_->push(now + service_(served++), Rank::release, entity_, 0, *this, 0);
  }
  void count(Nanos now) {
    area += static_cast<unsigned long long>(now - since_) * inside_.size();
    since_ = now;
  }

  EventQueue* queue_;
  std::uint16_t entity_;
  std::function<Nanos(std::uint64_t)> service_;
  std::deque<Nanos> inside_;
  Nanos since_ = 0;
};

class Arrivals final : public Actor {
 public:
  Arrivals(EventQueue& queue, std::uint64_t most, Nanos mean, std::function<void(Nanos)> enter)
      : queue_(&queue), most_(most), mean_(mean), enter_(std::move(enter)) {
    next(0);
  }
  void on_event(Nanos now, std::uint64_t) override {
    enter_(now);
    next(now);
  }

 private:
  void next(Nanos now) {
    if (made_ == most_) return;
    const StreamKey stream = Luck(3).stream(name_hash("arrivals"), Purpose::test, 0);
    queue_->push(now + exponential(mean_, draw(stream, made_++, 0)), Rank::arrival, 0, 0, *this, 0);
  }
  EventQueue* queue_;
  std::uint64_t most_;
  std::uint64_t made_ = 0;
  Nanos mean_;
  std::function<void(Nanos)> enter_;
};

std::function<Nanos(std::uint64_t)> random_service(const char* name, Nanos mean) {
  const StreamKey stream = Luck(3).stream(name_hash(name), Purpose::test, 0);
  return [stream, mean](std::uint64_t n) { return exponential(mean, draw(stream, n, 0)); };
}

void run_dry(EventQueue& queue) {
  while (queue.next_at() != never) {
    if (!queue.step()) FAIL("stuck");
  }
}

Nanos mean_between(double rho) { return static_cast<Nanos>(static_cast<double>(second) / rho); }

double in_services(long double nanos) { return static_cast<double>(nanos / static_cast<long double>(second)); }

constexpr std::uint64_t customers = 1'000'000;
constexpr double n = 1e6;

/// Variance of the mean wait in M/M/1, times the number of customers (Daley, 1968; from memory, checked by simulation).
double wait_variance(double rho) {
  return rho * (2 + 5 * rho - 4 * rho * rho + rho * rho * rho) / std::pow(1 - rho, 4);
}

}  // namespace

TEST_CASE("M/M/1: mean wait, chance of no wait, and Little's law to the nanosecond") {
  const double rho = GENERATE(0.5, 0.7, 0.8, 0.9);
  EventQueue queue(100, 0);
  Server server(queue, 1, random_service("service", second));
  const Arrivals arrivals(queue, customers, mean_between(rho), [&](Nanos now) { server.enter(now); });
  run_dry(queue);
  REQUIRE(server.served == customers);
  INFO("rho " << rho);
  // Wq = rho / (1 - rho) services (textbook).
  CHECK(std::abs(in_services(server.waited) / n - rho / (1 - rho)) < 4 * std::sqrt(wait_variance(rho) / n));
  // P(wait = 0) = 1 - rho. Its variance by renewal: a busy period serves 1 / (1 - rho) on average with variance
  // rho (1 + rho) / (1 - rho)^3 (textbook), so the share of first ones varies by rho (1 + rho) / n.
  CHECK(std::abs(static_cast<double>(server.not_kept_waiting) / n - (1 - rho)) < 4 * std::sqrt(rho * (1 + rho) / n));
  // L = lambda W holds exactly for a run that begins and ends empty (Little, 1961).
  CHECK(server.area == server.sojourn);
}

TEST_CASE("M/D/1: half the wait of M/M/1") {
  // Wq = rho / (2 (1 - rho)) (Pollaczek 1930, Khinchine 1932; from memory). The wait varies less than in M/M/1, whose
  // limit is used.
  const double rho = GENERATE(0.5, 0.8);
  EventQueue queue(100, 0);
  Server server(queue, 1, [](std::uint64_t) { return second; });
  const Arrivals arrivals(queue, customers, mean_between(rho), [&](Nanos now) { server.enter(now); });
  run_dry(queue);
  CHECK(std::abs(in_services(server.waited) / n - rho / (2 * (1 - rho))) < 4 * std::sqrt(wait_variance(rho) / n));
  // Customers of a busy period follow Borel's law, variance rho / (1 - rho)^3 (textbook); then as above.
  CHECK(std::abs(static_cast<double>(server.not_kept_waiting) / n - (1 - rho)) < 4 * std::sqrt(rho / n));
  CHECK(server.area == server.sojourn);
}

TEST_CASE("two servers in a row: what leaves the first is a Poisson stream again") {
  // Burke, "The output of a queuing system", Operations Research 4 (1956) 699-704. lambda 0.5, mu 1 and 1.25: 2 + 4/3
  // services.
  EventQueue queue(100, 0);
  Server first(queue, 1, random_service("first", second));
  Server other(queue, 2, random_service("other", second * 4 / 5));
  std::vector<double> between;
  Nanos last = -1;
  first.left = [&](Nanos now) {
    if (last >= 0) between.push_back(in_services(static_cast<long double>(now - last)));
    last = now;
    other.enter(now);
  };
  const Arrivals arrivals(queue, customers, 2 * second, [&](Nanos now) { first.enter(now); });
  run_dry(queue);
  const double limit =
      4 * (std::sqrt(wait_variance(0.5) / n) + 0.8 * std::sqrt(wait_variance(0.4) / n) + 1.8 / std::sqrt(n));
  CHECK(std::abs(in_services(static_cast<long double>(first.sojourn + other.sojourn)) / n - 10.0 / 3) < limit);

  double sum = 0;
  double squares = 0;
  double products = 0;
  for (std::size_t i = 0; i < between.size(); ++i) {
    sum += between[i];
    squares += between[i] * between[i];
    if (i > 0) products += between[i] * between[i - 1];
  }
  const double m = static_cast<double>(between.size());
  const double mean = sum / m;
  const double variance = squares / m - mean * mean;
  CHECK(std::abs(mean - 2) < 4 * 2 / std::sqrt(m));
  CHECK(std::abs(std::sqrt(variance) / mean - 1) < 4 / std::sqrt(m));
  CHECK(std::abs((products / (m - 1) - mean * mean) / variance) < 4 / std::sqrt(m));
}

TEST_CASE("M/M/1/K: share of customers turned away") {
  // (1 - rho) rho^K / (1 - rho^(K+1)) (textbook): 0.333333, 0.032258, 0.121847, 0.038756, 0.200000, 0.022239.
  struct Case {
    double rho;
    std::uint64_t room;
    double turned_away;
  };
  const Case c = GENERATE(Case{0.5, 1, 0.333333}, Case{0.5, 4, 0.032258}, Case{0.8, 4, 0.121847},
                          Case{0.8, 8, 0.038756}, Case{1.0, 4, 0.200000}, Case{0.9, 16, 0.022239});
  EventQueue queue(100, 0);
  Server server(queue, 1, random_service("service", second));
  server.room = c.room;
  constexpr std::size_t batches = 50;
  constexpr std::uint64_t in_all = 400'000;
  std::vector<double> away(batches, 0.0);
  std::uint64_t came = 0;
  const Arrivals arrivals(queue, in_all, mean_between(c.rho), [&](Nanos now) {
    const std::size_t batch = came++ / (in_all / batches);
    if (!server.enter(now)) away[batch] += 1.0 / (static_cast<double>(in_all) / batches);
  });
  run_dry(queue);
  double mean = 0;
  for (const double each : away) mean += each / batches;
  double variance = 0;  // customers turned away come in clusters: the variance is taken from batches
  for (const double each : away) variance += (each - mean) * (each - mean) / (batches - 1);
  INFO("rho " << c.rho << " room " << c.room << " seen " << mean);
  CHECK(std::abs(mean - c.turned_away) < 4 * std::sqrt(variance / batches));
  CHECK(std::sqrt(variance / batches) < 0.05 * c.turned_away);  // or the check above would say nothing
  CHECK(server.area == server.sojourn);
}

}  // namespace hopbench
