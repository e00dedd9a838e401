#!/usr/bin/env python3
"""A controller that speaks Modbus RTU in the bench's time: reads holding registers of one unit after the other, and
asks again once. An example of the blocking half of hopbench_time.py.

usage: modbus.py [--units N] [--registers N] [--time-out MS] [--pace MS] [--retries N] [--socket PATH]
"""

import argparse
import os
import struct
import sys

sys.path.insert(0, os.path.join(os.path.dirname(os.path.abspath(__file__)), "../../../src/clients/python"))
import hopbench_time as hb  # noqa: E402

MS = 1_000_000


def crc_table():
    """Modbus over Serial Line V1.02, 6.2.2: polynomial 0xA001, low bit first."""
    table = []
    for byte in range(256):
        for _ in range(8):
            byte = byte >> 1 ^ (0xA001 if byte & 1 else 0)
        table.append(byte)
    return table


TABLE = crc_table()


def crc(data):
    value = 0xFFFF
    for byte in data:
        value = value >> 8 ^ TABLE[(value ^ byte) & 0xFF]
    return struct.pack("<H", value)


def verdict_of(answer, marks, unit, registers):
    """An answer, or an exception that the unit reports; None: neither."""
    if marks & (hb.FRAMING | hb.PARITY | hb.OVERRUN) or len(answer) < 5 or answer[0] != unit:
        return None
    if crc(answer[:-2]) != answer[-2:]:
        return None
    if answer[1] == 0x83 and len(answer) == 5:
        return hb.ANSWERED
    if answer[1] == 3 and answer[2] == 2 * registers and len(answer) == 5 + 2 * registers:
        return hb.ANSWERED
    return None


def exchange(bench, number, options, ask, unit):
    size = 5 + 2 * options.registers
    # 3.5 characters of silence end a frame.
    silence = bench.line.char_time * 7 // 2
    for attempt in range(options.retries + 1):
        bench.flush()
        bench.write(ask)
        time_out = len(ask) * bench.line.char_time + options.time_out * MS
        answer, marks = bench.read_frame(size, time_out, silence)
        if verdict_of(answer, marks, unit, options.registers):
            return bench.decided(number, hb.ANSWERED)
        last = attempt == options.retries
        bench.decided(number, hb.RETRIED if not last else hb.REJECTED if answer else hb.TIMED_OUT)


def main():
    parser = argparse.ArgumentParser()
    for name, value in ("units", 3), ("registers", 1), ("time-out", 500), ("pace", 100), ("retries", 1):
        parser.add_argument("--" + name, type=int, default=value)
    parser.add_argument("--socket")
    options = parser.parse_args()
    asks = []
    for unit in range(1, options.units + 1):
        ask = struct.pack(">BBHH", unit, 3, 0, options.registers)
        asks.append((unit, ask + crc(ask)))
    with hb.Bench("modbus.py", options.socket) as bench:
        # Silence before the first frame, and after each.
        between = bench.line.char_time * 4
        number = 0
        try:
            while True:
                unit, ask = asks[number % len(asks)]
                started = bench.now()
                exchange(bench, number, options, ask, unit)
                bench.sleep(max(started + options.pace * MS - bench.now(), between))
                number += 1
        except hb.Ended:
            pass


if __name__ == "__main__":
    main()
