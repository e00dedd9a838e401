#!/usr/bin/env python3
"""As ring16.c: asks the nodes of captures/ring16.txtpb one after the other for their cell, at a steady pace.

usage: ring16.py [--nodes N] [--retries N] [--time-out MS] [--pace US] [--socket PATH]
"""

import argparse
import os
import struct
import sys

sys.path.insert(0, os.path.join(os.path.dirname(os.path.abspath(__file__)), "../../../src/clients/python"))
import hopbench_time as hb  # noqa: E402

MARKER, ASK, ANSWER, TOPIC_CELL = 0xA7, 1, 2, 1
ANSWER_SIZE = 20
BAD = hb.FRAMING | hb.OVERRUN


def crc_table():
    """Polynomial 0x3D65, high bit first."""
    table = []
    for byte in range(256):
        value = byte << 8
        for _ in range(8):
            value = (value << 1 ^ 0x3D65) & 0xFFFF if value & 0x8000 else value << 1
        table.append(value)
    return table


TABLE = crc_table()


def check_of(data):
    value = 0
    for byte in data:
        value = (value << 8 & 0xFF00) ^ TABLE[value >> 8 ^ byte]
    return value ^ 0xFFFF


def ask_of(node, ticket):
    head = struct.pack(">BBBBBBHH", MARKER, ASK, node, 0, 0, TOPIC_CELL, ticket, 0)
    return head + struct.pack(">H", check_of(head))


def is_answer(frame, marks, node, ticket):
    if len(frame) != ANSWER_SIZE or marks & BAD or frame[0] != MARKER or frame[1] != ANSWER or frame[3] != node:
        return False
    number, check = struct.unpack_from(">H", frame, 6)[0], struct.unpack_from(">H", frame, 18)[0]
    return number == ticket and check == check_of(frame[:18])


def exchange(bench, number, options, node, ticket):
    ask = ask_of(node, ticket)
    for attempt in range(options.retries + 1):
        bench.flush()
        bench.write(ask)
        deadline = bench.now() + len(ask) * bench.line.char_time + options.time_out * 1_000_000
        heard = False
        while bench.now() < deadline:
            frame, marks = bench.read_frame(ANSWER_SIZE, deadline - bench.now(), 3 * bench.line.char_time)
            heard = heard or bool(frame)
            if is_answer(frame, marks, node, ticket):
                return bench.decided(number, hb.ANSWERED)
        last = attempt == options.retries
        bench.decided(number, hb.RETRIED if not last else hb.REJECTED if heard else hb.TIMED_OUT)


def main():
    parser = argparse.ArgumentParser()
    for name, value in ("nodes", 16), ("retries", 0), ("time-out", 500), ("pace", 1_382_400):
        parser.add_argument("--" + name, type=int, default=value)
    parser.add_argument("--socket")
    options = parser.parse_args()
    with hb.Bench("ring16.py", options.socket) as bench:
        number = 0
        try:
            while True:
                start = bench.now()
                exchange(bench, number, options, 1 + number % options.nodes, 1 + number % 0xFFFF)
                rest = start + options.pace * 1000 - bench.now()
                if rest > 0:
                    bench.sleep(rest)
                number += 1
        except hb.Ended:
            pass


if __name__ == "__main__":
    main()
