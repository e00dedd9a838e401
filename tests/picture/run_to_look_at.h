// A run with something to see in it, recorded by the program itself. Invented.
#pragma once

#include <string>

#include "cli/program.h"

namespace hopbench::looked_at {

/// Ten single-cell nodes and two boards of eight; noise, a loose contact, a node that loses what it is asked, and a
/// battery whose cells balance.
inline const std::string scenario = R"(
name: "looked-at" seed: 3 run_for: "1h" bus: "bench-frame" baud: 19200 shape: RING
battery { capacity: "10Ah" capacity_spread: "2%" charge: "96%" charge_spread: "3%" cell_resistance: "2mohm"
          tap_resistance: "20mohm" }
cycle { period: "30min" load: "2A" load_from: "1min" load_for: "8min" charge: "4A" charge_from: "10min"
        charge_for: "18min" absorb: "3.55V" done: "100mA" }
air { mean: "25C" swing: "6C" }
kind { name: "single" bleed { resistor: "33ohm" duty: "50%" chop_period: "4ms" }
       heat { idle: "50mW" rise: "40K/W" time: "5min" hot_spot: "30K/W" } supply { current: "10mA" } }
kind { name: "eight" cells: 8 measurement { snapshot: "8ms" per_cell: "1ms" }
       bleed { resistor: "33ohm" duty: "50%" chop_period: "4ms" }
       heat { idle: "100mW" rise: "12K/W" time: "8min" hot_spot: "30K/W" } supply { current: "10mA" } }
nodes { name: "a" count: 6 kind: "single" }
nodes { name: "m" count: 2 kind: "eight" }
nodes { name: "b" count: 4 kind: "single" }
every_hop { isolator_delay: "1us" }
hop { into: "a4" bit_error: "2e-5" }
hop { into: "b1" contact { mean_between: "4min" mean_open: "2s" } }
fault { name: "loss" class: LOSS nodes: "b2" leg: ANSWERS rate: "1%" }
controller { time_out: "250ms" gap: "50ms" retries: 1
  balancing { every: "10s" start: "3.38V" difference: "4mV" hysteresis: "2mV" }
  poll { name: "cells" topic: "readings" nodes: "*" with { field: "first" value: 0 } with { field: "count" own: CELLS } }
  poll { name: "boards" topic: "conditions" nodes: "*" every: 7 }
})";

struct Recorded : program::Folder {
  explicit Recorded(const std::string& more = {}) {
    write("s.txtpb", scenario);
    const auto ran = run("run s.txtpb --capture c.cap " + more);
    INFO(ran.err);
    REQUIRE(ran.exit_code == 0);
  }
  [[nodiscard]] std::string capture() const { return file("c.cap"); }
};

}  // namespace hopbench::looked_at
