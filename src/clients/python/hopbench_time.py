"""A controller in the bench's virtual time. Standard library only.

Time goes on only in wait() and what is built on it (read, sleep). A debugger may stop the program anywhere: time stops
as well. Two ways to use it. Events: write, wait, and take characters one by one with their instants and error marks.
Or a serial port that blocks: write, read with a time-out, now, sleep. Both may be mixed.

Times are nanoseconds, instants on the bench's clock. Not for several threads at once.
"""

import collections
import os
import socket
import struct

VERSION = 1
NEVER = 2**64 - 1

# Marks of a character.
FRAMING, PARITY, OVERRUN, BREAK = 1, 2, 4, 8
# Why a wait ended.
WAITED, CHARS, STILL = 1, 2, 3
# What became of an exchange.
ANSWERED = 1  # an answer was taken
TIMED_OUT = 2  # given up: nothing came, or nothing of use
RETRIED = 3  # the next ask is another try of it
REJECTED = 4  # given up: something came that was no good

_BENCH_HELLO, _HEARD, _TIME_IS, _END_OF_RUN = 0x01, 0x02, 0x03, 0x04
_HELLO, _SEND, _WAIT, _DECIDED, _LOG, _BYE = 0x81, 0x82, 0x83, 0x84, 0x85, 0x86

_MOST_BYTES, _MOST_CHARS, _MOST_TEXT, _ROOM = 65536, 4096, 1024, 32768
_LENGTH = struct.Struct("<I")
_HELLO_BODY = struct.Struct("<HIBBBQ")
_WAIT_MESSAGE = struct.Struct("<IBQQIQ")
_DECIDED_MESSAGE = struct.Struct("<IBQB")
_CHAR = struct.Struct("<IBB")
_AT = struct.Struct("<Q")
_TIME_BODY = struct.Struct("<QB")

# at: the end of its last bit; marks: see above.
Char = collections.namedtuple("Char", "at value marks")
# parity: 0 none, 1 odd, 2 even; stop_half_bits: 2, 3 or 4; char_time: of one character, rounded up.
Line = collections.namedtuple("Line", "baud data_bits parity stop_half_bits start char_time bus")


class Failed(Exception):
    """The bench has gone, or it speaks another version."""


class Ended(Exception):
    """The run is over. What became of the last exchange may still be told; then close."""


class Bench:
    """The bench, from the controller's seat. A context manager that closes itself."""

    def __init__(self, name, socket_path=None):
        """socket_path: where the bench listens; None: the bench has started this program."""
        if socket_path is None:
            number = os.environ.get("HOPBENCH_TIME_FD")
            if number is None:
                raise Failed("no bench: HOPBENCH_TIME_FD is not set, and no socket is named")
            self._socket = socket.socket(socket.AF_UNIX, socket.SOCK_STREAM, fileno=int(number))
        else:
            self._socket = socket.socket(socket.AF_UNIX, socket.SOCK_STREAM)
            self._socket.connect(socket_path)
        self._in = b""
        self._from = 0
        self._out = []
        self._out_size = 0
        self._ended = False
        self._chars = collections.deque()
        self._flushed_to = 0
        self._lost = 0
        self._message(_HELLO, struct.pack("<H", VERSION) + name.encode()[:_MOST_TEXT])
        self._flush_out()
        kind, body = self._next()
        if kind != _BENCH_HELLO or len(body) < _HELLO_BODY.size:
            raise Failed("the bench did not say hello")
        version, baud, data, parity, stop, start = _HELLO_BODY.unpack_from(body)
        if version != VERSION:
            raise Failed(f"the bench speaks version {version}, this is {VERSION}")
        half_bits = 2 * (1 + data + (1 if parity else 0)) + stop
        char_time = -(-half_bits * 500_000_000 // baud)
        bus = body[_HELLO_BODY.size :].decode(errors="replace")
        self.line = Line(baud, data, parity, stop, start, char_time, bus)
        # As the program sees it, and as the bench has told: a sleep that it has not heard of lies between.
        self._now = self._bench_now = start

    def __enter__(self):
        return self

    def __exit__(self, kind, *_):
        # A program that breaks off has not said goodbye: the bench tells the two apart.
        if kind is None:
            self.close()
        else:
            self._socket.close()

    def close(self):
        """Says goodbye."""
        try:
            self._message(_BYE, b"")
            self._flush_out()
        except (Failed, OSError):
            pass
        self._socket.close()

    # ---- bytes

    def _message(self, kind, body):
        self._out.append(_LENGTH.pack(len(body) + 1) + bytes((kind,)) + body)
        self._out_size += len(body) + 5
        if self._out_size > _MOST_BYTES:
            self._flush_out()

    def _flush_out(self):
        out, self._out, self._out_size = b"".join(self._out), [], 0
        try:
            self._socket.sendall(out)
        except OSError as error:
            raise Failed("the bench has gone") from error

    def _next(self):
        while True:
            there = len(self._in) - self._from
            if there >= 4:
                (length,) = _LENGTH.unpack_from(self._in, self._from)
                if not 0 < length <= _MOST_BYTES:
                    raise Failed("the bench sent a message of no possible size")
                if there >= length + 4:
                    at = self._from + 4
                    self._from = at + length
                    return self._in[at], self._in[at + 1 : self._from]
            try:
                more = self._socket.recv(_MOST_BYTES)
            except OSError as error:
                raise Failed("the bench has gone") from error
            if not more:
                raise Failed("the bench has gone")
            self._in = self._in[self._from :] + more
            self._from = 0

    # ---- events

    def now(self):
        """The present instant. Costs nothing."""
        return self._now

    def write(self, data):
        """Puts bytes on the wire, back to back, behind those still on their way. They leave with the next wait."""
        if self._ended:
            raise Ended
        for start in range(0, len(data), _MOST_CHARS):
            self._message(_SEND, _AT.pack(self._now) + bytes(data[start : start + _MOST_CHARS]))
        return len(data)

    def decided(self, exchange, verdict):
        """Tells what became of what was asked last. exchange: any number of yours."""
        self._catch_up()
        self._out.append(_DECIDED_MESSAGE.pack(10, _DECIDED, exchange, verdict))

    def log(self, text):
        """A line for the person who watches."""
        self._message(_LOG, text.encode()[:_MOST_TEXT])

    def wait(self, until, chars=0, still=NEVER):
        """Waits until `until`, or until `chars` more characters have come (0: not for that), or until at least one has
        come in this wait and then none for `still`. Returns why it ended."""
        if self._ended:
            raise Ended
        # What came in a sleep that the bench hears of only now must not end the wait.
        self._out.append(_WAIT_MESSAGE.pack(29, _WAIT, self._now, max(until, self._now), chars, still))
        self._flush_out()
        while True:
            kind, body = self._next()
            if kind == _HEARD:
                (first,) = _AT.unpack_from(body)
                for offset, value, marks in _CHAR.iter_unpack(body[8:]):
                    if first + offset > self._flushed_to:
                        self._chars.append((first + offset, value, marks))
                while len(self._chars) > _ROOM:  # as in a receiver that nobody reads
                    self._chars.popleft()
                    self._lost = OVERRUN
            elif kind == _TIME_IS:
                self._now, why = _TIME_BODY.unpack(body)
                self._bench_now = self._now
                return why
            elif kind == _END_OF_RUN:
                self._now, _ = _TIME_BODY.unpack(body)
                self._bench_now = self._now
                self._ended = True
                raise Ended
            else:
                raise Failed("the bench sent a message that this version does not know")

    def _catch_up(self):
        """Lets the bench come to where the program is."""
        if self._now != self._bench_now and not self._ended:
            try:
                self.wait(self._now)
            except Ended:
                pass

    def take(self):
        """The oldest character that has come and was not taken; None if there is none. Does not wait."""
        self._catch_up()
        if not self._chars:
            return None
        at, value, marks = self._chars.popleft()
        marks |= self._lost
        self._lost = 0
        return Char(at, value, marks)

    def there(self):
        """Characters that have come and were not taken."""
        self._catch_up()
        return len(self._chars)

    def flush(self):
        """Throws away what has come by now."""
        self._chars.clear()
        self._lost = 0
        self._flushed_to = self._now

    # ---- a port that blocks

    def read_frame(self, count, time_out, still=NEVER):
        """Reads up to `count` characters: until all are there, `time_out` has passed, or the line has been still for
        `still` after some came. Returns the bytes, and all marks of these characters together."""
        if len(self._chars) < count:
            try:
                self.wait(min(self._now + time_out, NEVER), count - len(self._chars), still)
            except Ended:
                if not self._chars:
                    raise
        data = bytearray()
        marks = self._lost
        self._lost = 0
        while self._chars and len(data) < count:
            _, value, mark = self._chars.popleft()
            data.append(value)
            marks |= mark
        return bytes(data), marks

    def read(self, count, time_out):
        """Reads `count` characters, waiting until all are there or `time_out` has passed. Returns what there was."""
        return self.read_frame(count, time_out)[0]

    def sleep(self, span):
        """Lets `span` pass. The bench hears of it with the next wait, read or decision, so that an ask that follows
        needs no round trip of its own; that the run is over is told there."""
        if self._ended:
            raise Ended
        self._now = min(self._now + span, NEVER)
