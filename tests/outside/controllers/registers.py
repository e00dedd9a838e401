#!/usr/bin/env python3
"""Reads a register of one unit after the other with pyserial, as people write it for Linux. Knows nothing of hopbench.

usage: registers.py TTY BAUD
"""

import struct
import sys
import time

import serial


def crc(data):
    """Modbus over Serial Line V1.02, 6.2.2: polynomial 0xA001, low bit first."""
    value = 0xFFFF
    for byte in data:
        value ^= byte
        for _ in range(8):
            value = value >> 1 ^ (0xA001 if value & 1 else 0)
    return struct.pack("<H", value)


def main():
    asked = answered = 0
    with serial.Serial(sys.argv[1], int(sys.argv[2]), parity=serial.PARITY_EVEN, timeout=0.2) as port:
        due = time.monotonic()
        try:
            while True:
                ask = struct.pack(">BBHH", 1 + asked % 3, 3, 0, 1)
                port.reset_input_buffer()
                port.write(ask + crc(ask))
                port.flush()
                asked += 1
                answer = port.read(7)
                if len(answer) == 7 and answer[0] == ask[0] and crc(answer[:5]) == answer[5:]:
                    answered += 1
                due += 0.5
                time.sleep(max(due - time.monotonic(), 0))
        except KeyboardInterrupt:
            print(f"asked {asked}, answered {answered}, {time.strftime('%F %T', time.gmtime())}")


if __name__ == "__main__":
    main()
