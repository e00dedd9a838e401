#include "study/planting.h"

#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <cmath>
#include <utility>

#include "scenario/without.h"

namespace hopbench {

ChainDescription healthy_twin(ChainDescription chain) {
  std::vector<Mechanism> all(mechanisms().begin(), mechanisms().end());
  std::erase(all, Mechanism::balancing);
  chain = without(std::move(chain), all);
  const auto bare = [](BoardSpec& board) {
    board.brown_out_uv = board.brown_in_uv = 0;
    board.inrush_ma = 0;
    board.clock_step_ppb = 0;
    board.clock_at_uv = 0;
  };
  const KindSpec usual;
  for (KindSpec& kind : chain.kinds) {
    kind.flaw = {};
    kind.processor = {};
    kind.clock = {};
    kind.measurement = {};
    kind.start_up = usual.start_up;
    kind.sleep_after = kind.wake_up = 0;
    kind.holds_line = false;
    if (kind.forwarding.kind == Forwarding::by_character) kind.forwarding.lag_half_bits = 2;
    bare(kind.board);
  }
  for (NodeSpec& node : chain.nodes) {
    node.clock.reset();
    if (node.board) bare(*node.board);
  }
  for (LinkSpec& link : chain.links) {
    const Nanos delay = link.isolator_delay;
    link = {};
    link.isolator_delay = delay;
  }
  chain.pack.battery.taps.clear();
  chain.controller.clock = {};
  chain.controller.processor = {};
  chain.controller.timer_first = false;
  chain.controller.wrap = {};
  return chain;
}

namespace {

Ppq parts(double share) { return static_cast<Ppq>(std::clamp(share, 0.0, 0.999) * static_cast<double>(certain)); }
Nanos whole(double ns) { return std::max<Nanos>(1, static_cast<Nanos>(std::min(ns, 4e18))); }

class Garden {
 public:
  Garden(const ChainDescription& twin, const Habits& habits, const Dose& dose)
      : twin_(twin), habits_(habits), dose_(stepped(dose)), time_out_(static_cast<double>(twin.controller.time_out)) {}

  std::vector<Planting> all() {
    const auto nodes = twin_.nodes.size();
    if (nodes == 0 || twin_.links.empty()) return {};
    std::vector<std::size_t> near_and_far{0, nodes / 2, nodes - 1};
    if (nodes > 4) near_and_far = {0, nodes / 3, 2 * nodes / 3, nodes - 1};
    near_and_far.erase(std::unique(near_and_far.begin(), near_and_far.end()), near_and_far.end());
    nodes_ = near_and_far;
    links_ = {0, twin_.links.size() / 3, twin_.links.size() / 2, twin_.links.size() - 1};
    if (twin_.shape == Shape::line) links_ = {nodes / 2, nodes - 1, nodes + nodes / 2, twin_.links.size() - 1};
    links_.erase(std::unique(links_.begin(), links_.end()), links_.end());
    wire();
    clocks();
    stations();
    at_controller();
    power();
    return std::move(out_);
  }

 private:
  static Dose stepped(Dose dose) {
    dose.share = std::clamp(dose.share * std::pow(6.0, dose.step), 1e-6, 0.6);
    return dose;
  }
  template <class Change>
  void plant(Mechanism mechanism, std::string how, Change change) {
    Planting planting{mechanism, std::move(how), twin_};
    change(planting.chain);
    out_.push_back(std::move(planting));
  }
  KindSpec& own_kind(ChainDescription& chain, std::size_t node) const {
    chain.kinds.push_back(chain.kinds[chain.nodes[node].kind]);
    chain.kinds.back().name += "-planted";
    chain.nodes[node].kind = chain.kinds.size() - 1;
    return chain.kinds.back();
  }
  static BoardSpec& board(ChainDescription& chain, std::size_t node, KindSpec& kind) {
    return chain.nodes[node].board ? *chain.nodes[node].board : kind.board;
  }
  [[nodiscard]] double bits_on(std::size_t link) const {
    return std::max(1.0, habits_.frames[link] * habits_.bits[link]);
  }
  [[nodiscard]] double bits() const {
    double sum = 0;
    for (std::size_t i = 0; i < habits_.frames.size(); ++i) sum += bits_on(i);
    return sum;
  }
  /// From one event that lasts so long to the next, so that the share of exchanges fails.
  [[nodiscard]] double between(double lasts) const {
    const double hits = 1 + lasts / std::max(habits_.period, 1.0);
    return std::max(2 * lasts, habits_.period * hits / std::max(1e-9, dose_.share));
  }
  /// The same of an event that strikes only what is on its way just then.
  [[nodiscard]] double between_on(std::size_t link, double lasts) const {
    const double hit = habits_.frames[link] * (habits_.frame_time[link] + lasts) / std::max(habits_.period, 1.0);
    return std::max(2 * lasts, habits_.period * std::min(std::max(hit, 1e-3), 1e3) / std::max(1e-9, dose_.share));
  }
  /// For what does not grow with the share: a little more or less for each step.
  [[nodiscard]] double stronger(double by) const { return std::pow(1 + by, dose_.step); }
  [[nodiscard]] double run() const { return dose_.exchanges * habits_.period; }

  void wire() {
    for (const auto link : links_) {
      plant(Mechanism::bit_noise, fmt::format("on link {}", link),
            [&](auto& chain) { chain.links[link].bit_error = parts(dose_.share / bits_on(link)); });
      for (const double bad : {8e6, 60e6, 300e6}) {
        plant(Mechanism::bursts, fmt::format("{} ms on link {}", bad / 1e6, link), [&](auto& chain) {
          chain.links[link].burst = {whole(between_on(link, bad)), whole(bad), parts(bad < 50e6 ? 0.02 : 0.2)};
        });
      }
      for (const double open : {3e6, 40e6, 700e6}) {
        plant(Mechanism::contact, fmt::format("open for {} ms on link {}", open / 1e6, link), [&](auto& chain) {
          chain.links[link].contact = {whole(between_on(link, open)), whole(open), link % 2 == 1};
        });
      }
      for (const std::size_t times : {std::size_t{1}, std::size_t{4}}) {
        plant(Mechanism::cable, fmt::format("open {} times on link {}", times, link), [&](auto& chain) {
          const double n = static_cast<double>(times);
          const double step = std::max(habits_.period, time_out_);
          double each = std::max(2.5e9, dose_.share * dose_.exchanges * step / n);
          each = std::clamp(dose_.longest, std::min(2.5e9, each), std::max(each, 2.5e9));
          const double room = 0.9 * run() / n;
          for (std::size_t i = 0; i < times; ++i) {
            const double from = room * (static_cast<double>(i) + 0.3);
            chain.links[link].opens.push_back(
                {chain.start.at + whole(from), chain.start.at + whole(from + std::min(each, 0.6 * room)), i % 2 == 1});
          }
        });
      }
    }
    plant(Mechanism::bit_noise, "on every link", [&](auto& chain) {
      for (auto& link : chain.links) link.bit_error = parts(dose_.share / bits());
    });
    const bool edges = std::any_of(twin_.nodes.begin(), twin_.nodes.end(), [&](const NodeSpec& node) {
      return twin_.kinds[node.kind].forwarding.kind == Forwarding::electrical;
    });
    if (!edges) return;
    for (const double reach : {0.5, 0.65, 0.8, 0.93}) {
      for (const double sign : {1.0, -1.0}) {
        plant(Mechanism::pulse_width, fmt::format("reach {}", sign * reach), [&](auto& chain) {
          const double bit = habits_.frame_time.front() / std::max(1.0, habits_.bits.front());
          for (auto& link : chain.links) {
            link.pulse_stretch = static_cast<Nanos>(sign * stronger(0.08) * 0.5 * bit /
                                                    (reach * static_cast<double>(twin_.nodes.size())));
          }
        });
      }
    }
  }

  void clocks() {
    for (const auto node : nodes_) {
      for (const double error : {-0.05, -0.042, -0.035, 0.035, 0.042, 0.05}) {
        plant(Mechanism::clock, fmt::format("{} % at node {}", 100 * error, node), [&](auto& chain) {
          chain.nodes[node].clock = chain.kinds[chain.nodes[node].kind].clock;
          chain.nodes[node].clock->error_ppb = static_cast<std::int64_t>(1e9 * error * stronger(0.06));
        });
      }
      if (!twin_.pack.battery.present) continue;
      for (const double error : {-0.026, 0.034}) {
        plant(Mechanism::clock, fmt::format("{} % and warm at node {}", 100 * error, node), [&](auto& chain) {
          KindSpec& kind = own_kind(chain, node);
          kind.clock.error_ppb = static_cast<std::int64_t>(1e9 * error);
          board(chain, node, kind).clock_ppb_per_k = error < 0 ? -600'000 : 600'000;
          board(chain, node, kind).clock_step_ppb = 50'000;
        });
        plant(Mechanism::clock, fmt::format("{} % and supply at node {}", 100 * error, node), [&](auto& chain) {
          KindSpec& kind = own_kind(chain, node);
          kind.clock.error_ppb = static_cast<std::int64_t>(1e9 * error);
          BoardSpec& spec = board(chain, node, kind);
          spec.clock_ppb_per_v = static_cast<std::int64_t>((error < 0 ? -1 : 1) * 60e6 / kind.cells);
          spec.clock_at_uv = 3'300'000 * static_cast<std::int64_t>(kind.cells);
          spec.clock_step_ppb = 50'000;
        });
      }
    }
    for (const double spread : {0.023, 0.029}) {
      plant(Mechanism::clock, fmt::format("spread {}", spread), [&](auto& chain) {
        for (KindSpec& kind : chain.kinds)
          kind.clock.spread_ppb = static_cast<std::int64_t>(1e9 * spread * stronger(0.06));
      });
    }
  }

  static DutySpec duty(double every, double takes, double up_to, bool masks) {
    DutySpec spec;
    spec.name = "store";
    spec.every = whole(std::max(every, 2.2 * up_to + 2e6));
    spec.takes = whole(takes);
    spec.takes_up_to = whole(up_to);
    spec.jitter = whole(static_cast<double>(spec.every) / 6);
    spec.masks = masks;
    return spec;
  }

  void stations() {
    const double character = habits_.frame_time.front() / std::max(1.0, habits_.bits.front() / 10);
    const double spare = std::max(1e6, time_out_ - habits_.mean_round_trip);
    for (const auto node : nodes_) {
      for (const std::uint32_t fifo : {2U, 6U}) {
        const double takes = (fifo + 1) * character * (fifo == 2 ? 2 : 6);
        plant(Mechanism::busy_node, fmt::format("masked at node {}", node), [&](auto& chain) {
          KindSpec& kind = own_kind(chain, node);
          kind.processor.fifo_chars = fifo;
          kind.processor.duties = {duty(between_on(std::min(node, links_.back()), takes), takes, takes, true)};
        });
      }
      for (const double longer : {1.3, 2.2}) {
        plant(Mechanism::busy_node, fmt::format("held up at node {}", node), [&](auto& chain) {
          KindSpec& kind = own_kind(chain, node);
          kind.processor.duties = {duty(between(spare), 0.7 * spare, longer * spare, false)};
        });
      }
      for (const double slow : {0.97, 1.1, 1.5}) {
        plant(Mechanism::measurement, fmt::format("slow at node {}", node), [&](auto& chain) {
          KindSpec& kind = own_kind(chain, node);
          kind.measurement.snapshot = 5 * millisecond;
          kind.measurement.per_cell = whole(slow * time_out_ / kind.cells);
        });
      }
      for (const double start_up : {0.4e9, 2e9, 12e9}) {
        plant(Mechanism::watchdog, fmt::format("{} s at node {}", start_up / 1e9, node), [&](auto& chain) {
          KindSpec& kind = own_kind(chain, node);
          const double waits = std::max(4e6, 0.4 * (time_out_ - habits_.round_trip));
          kind.start_up = whole(start_up);
          kind.processor.watchdog = whole(waits);
          kind.processor.duties = {duty(between(start_up) / 5, 0.05 * waits, 1.2 * waits, false)};
        });
      }
      for (const double part : {0.15, 0.5, 0.9}) {
        plant(Mechanism::room, fmt::format("buffer at node {}", node), [&](auto& chain) {
          own_kind(chain, node).buffer_bytes =
              habits_.shortest_answer +
              static_cast<std::uint32_t>(part * (habits_.longest_chars - habits_.shortest_answer));
        });
      }
      if (twin_.kinds[twin_.nodes[node].kind].forwarding.kind == Forwarding::by_character) {
        for (const double error : {-0.016, -0.026}) {
          plant(Mechanism::room, fmt::format("FIFO at node {}", node), [&](auto& chain) {
            KindSpec& kind = own_kind(chain, node);
            kind.forwarding.lag_half_bits = 1;
            kind.forwarding.fifo_chars = 1;
            kind.clock.error_ppb = static_cast<std::int64_t>(1e9 * error * stronger(0.1));
          });
        }
      }
      for (const double part : {0.5, 1.0, 1.5}) {
        plant(Mechanism::wake_up, fmt::format("{} at node {}", part, node), [&](auto& chain) {
          KindSpec& kind = own_kind(chain, node);
          kind.sleep_after = whole(std::max(10e6, habits_.period - part * habits_.mean_round_trip));
          kind.wake_up = whole(part < 1 ? 1e6 : 5e6);
        });
      }
    }
  }

  void at_controller() {
    const double character = habits_.frame_time.back() / std::max(1.0, habits_.bits.back() / 10);
    for (const std::uint32_t fifo : {2U, 6U}) {
      const double takes = (fifo + 1) * character * (fifo == 2 ? 2 : 6);
      plant(Mechanism::controller, "masked", [&](auto& chain) {
        chain.controller.processor.fifo_chars = fifo;
        chain.controller.processor.duties = {duty(between_on(twin_.links.size() - 1, takes), takes, takes, true)};
      });
    }
    for (const double longer : {0.8, 1.2}) {
      plant(Mechanism::controller, "timer first", [&](auto& chain) {
        chain.controller.timer_first = true;
        chain.controller.processor.duties = {
            duty(between(time_out_), longer * time_out_, 1.3 * longer * time_out_, false)};
      });
    }
    for (const std::uint32_t bits : {10U, 16U, 22U}) {
      plant(Mechanism::controller, "clock wrap", [&](auto& chain) {
        const double wraps =
            std::max(1.0, dose_.share * dose_.exchanges / std::min(1.0, time_out_ / std::max(1.0, habits_.period)));
        chain.controller.wrap.bits = bits;
        chain.controller.wrap.tick = whole(std::max(1000.0, run() / wraps / std::pow(2.0, bits)));
      });
    }
  }

  void power() {
    if (!twin_.pack.battery.present) return;
    const auto ripple = [&](double bits_struck, Nanos window, LinkSpec& link) {
      link.line_ripple.window = window;
      link.line_ripple.bit_error = parts(dose_.share / (0.3 * bits_struck * static_cast<double>(window) / 10e6));
    };
    const auto bleed = [&](double bits_struck, Nanos window, LinkSpec& link) {
      link.bleed_edge = {window,
                         parts(std::min(0.5, dose_.share / (0.1 * bits_struck * static_cast<double>(window) / 2e6)))};
    };
    const bool bleeds = twin_.controller.balancing.every > 0;
    for (const auto link : links_) {
      if (twin_.pack.cycle.charge_ma > 0) {
        plant(Mechanism::charger, fmt::format("on link {}", link),
              [&](auto& chain) { ripple(bits_on(link), millisecond, chain.links[link]); });
      }
      if (!bleeds) continue;
      plant(Mechanism::bleed_edges, fmt::format("on link {}", link),
            [&](auto& chain) { bleed(bits_on(link), 30 * microsecond, chain.links[link]); });
    }
    if (twin_.pack.cycle.charge_ma > 0) {
      plant(Mechanism::charger, "on every link", [&](auto& chain) {
        for (auto& link : chain.links) ripple(bits(), millisecond, link);
      });
    }
    if (bleeds) {
      plant(Mechanism::bleed_edges, "on every link", [&](auto& chain) {
        for (auto& link : chain.links) bleed(bits(), 30 * microsecond, link);
      });
    }
    for (const auto node : nodes_) {
      const auto cells = static_cast<std::int64_t>(twin_.kinds[twin_.nodes[node].kind].cells);
      for (const Nanos start_up : {2 * second, 12 * second}) {
        for (const std::int64_t each : {3'230'000, 3'260'000, 3'285'000}) {
          plant(Mechanism::supply, fmt::format("sags below {} mV at node {}", each / 1000, node), [&](auto& chain) {
            KindSpec& kind = own_kind(chain, node);
            kind.start_up = start_up;
            BoardSpec& spec = board(chain, node, kind);
            spec.inrush_ma = 40;
            spec.brown_out_uv = each * cells;
            spec.brown_in_uv = each * cells + 5000;
          });
        }
        if (!bleeds) continue;
        plant(Mechanism::supply, fmt::format("bad tap at node {}", node), [&](auto& chain) {
          KindSpec& kind = own_kind(chain, node);
          kind.start_up = start_up;
          BoardSpec& spec = board(chain, node, kind);
          spec.brown_out_uv = 3'130'000 * cells;
          spec.brown_in_uv = 3'160'000 * cells;
          chain.pack.battery.taps.push_back(
              {static_cast<std::uint16_t>(node), 0, std::min<std::int64_t>(95, 6 * cells) * 1'000'000});
        });
      }
      if (!bleeds) continue;
      plant(Mechanism::measurement, fmt::format("settling at node {}", node), [&](auto& chain) {
        KindSpec& kind = own_kind(chain, node);
        kind.measurement.settle = whole(1.15 * time_out_);
        kind.measurement.snapshot = 5 * millisecond;
        kind.measurement.bleed = BleedWhile::paused_if_on;
      });
      plant(Mechanism::busy_node, fmt::format("bleeding at node {}", node), [&](auto& chain) {
        KindSpec& kind = own_kind(chain, node);
        const double per_cell = std::max(1e6, time_out_ - habits_.mean_round_trip) / std::max(1.0, kind.cells / 3.0);
        DutySpec spec = duty(4e9, 2e6, per_cell * kind.cells, false);
        spec.takes_up_to = 0;
        spec.per_bleeding_cell = whole(per_cell);
        spec.jitter = 50 * millisecond;
        kind.processor.duties = {spec};
      });
    }
  }

  const ChainDescription& twin_;
  const Habits& habits_;
  Dose dose_;
  double time_out_;
  std::vector<std::size_t> nodes_;
  std::vector<std::size_t> links_;
  std::vector<Planting> out_;
};

}  // namespace

std::vector<Planting> plantings(const ChainDescription& twin, const Habits& habits, const Dose& dose) {
  auto all = Garden(twin, habits, dose).all();
  // Evenly over places and ways, so that a mechanism with many ways costs no more than others.
  std::array<std::size_t, mechanism_count> count{};
  for (const Planting& each : all) ++count[static_cast<std::size_t>(each.mechanism)];
  std::array<std::size_t, mechanism_count> seen{};
  std::erase_if(all, [&](const Planting& each) {
    const auto mechanism = static_cast<std::size_t>(each.mechanism);
    const std::size_t most = each.mechanism == Mechanism::clock ? 14 : 8;
    const std::size_t of = count[mechanism];
    const std::size_t i = seen[mechanism]++;
    if (of <= most) return false;
    return i * most / of == (i + 1) * most / of;
  });
  return all;
}

}  // namespace hopbench
