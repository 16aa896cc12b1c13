"""The other end of the cable for measurements: a pseudo-terminal paced at 115200 baud.

It answers lines as fast as the cable brings them, or as fast as a planner of 15 blocks runs
empty, and notes when what arrived. It stands still and burns nothing: what is measured is the
host. Run as `python link_sink.py LINES_PER_S`; it prints the terminal's name, serves until its
standard input closes, and then prints what it saw as JSON.
"""

import fcntl
import json
import os
import select
import sys
import termios
import time
import tty

BYTES_PER_S = 11_520
STEP_S = 0.0005
RING_BYTES = 128
BLOCKS = 15
GREETING = b"\r\nGrbl 1.1h ['$' for help]\r\n"
ANSWERS = {
    b"$I": b"[VER:1.1h.20190830:]\r\n[OPT:V,15,128]\r\n",
    b"$$": b"$1=255\r\n$10=3\r\n$13=0\r\n$22=0\r\n$30=1000\r\n$32=1\r\n$110=10000\r\n$120=1000\r\n",
    b"$G": b"[GC:G0 G54 G17 G21 G90 G94 M5 F0 S0]\r\n",
    b"$#": b"[G54:0.000,0.000,0.000]\r\n",
    **dict.fromkeys((b"G21G54", b"G92.1", b"G49", b"G10L20P1X0Y0"), b""),  # the origin is set
}


class Sink:
    def __init__(self, lines_per_s):
        self.master, other = os.openpty()
        tty.setraw(other)
        self.name = os.ttyname(other)
        self.other = other  # kept open, so that the terminal outlives its users
        os.set_blocking(self.master, False)
        fcntl.ioctl(self.master, termios.TIOCPKT, b"\1\0\0\0")  # tells of what was thrown away
        self.lines_per_s = lines_per_s
        self.ring = b""
        self.blocks = 0.0
        self.is_held = False
        self.budget_bytes = 0.0
        self.earliest_ok_s = None
        self.queued_bytes = 0
        self.refills_s, self.holds_at_s, self.resets_at_s, self.arrived = [], [], [], []
        self.lines = self.bytes = self.lost_bytes = 0

    def write(self, data):
        os.write(self.master, data)

    def step(self, now_s, passed_s):
        self.budget_bytes = min(self.budget_bytes + passed_s * BYTES_PER_S, 64.0)
        if self.lines_per_s and not self.is_held:
            self.blocks = max(0.0, self.blocks - passed_s * self.lines_per_s)
        self.note_refill(now_s)
        self.hear(now_s)
        self.queued_bytes = self.waiting_bytes()
        self.run(now_s)

    def waiting_bytes(self):
        """Return what the host has written and the cable has not carried yet."""
        return int.from_bytes(fcntl.ioctl(self.master, termios.FIONREAD, bytes(4)), sys.byteorder)

    def note_refill(self, now_s):
        """Note that the host has written since the last look, and after which answer."""
        if self.waiting_bytes() > self.queued_bytes and self.earliest_ok_s is not None:
            self.refills_s.append(now_s - self.earliest_ok_s)
            self.earliest_ok_s = None

    def hear(self, now_s):
        if self.budget_bytes < 1:
            return
        try:
            told, *_ = packet = os.read(self.master, int(self.budget_bytes) + 1)
        except BlockingIOError:
            return
        if told & termios.TIOCPKT_FLUSHWRITE:
            self.throw_away(now_s)
        data = packet[1:] if told == termios.TIOCPKT_DATA else b""
        self.budget_bytes -= len(data)
        for byte in (b"?", b"!", b"~", b"\x18"):
            if byte in data:
                data = data.replace(byte, b"")
                self.obey(byte, now_s)
        if data:
            self.bytes += len(data)
            self.arrived.append((now_s, self.bytes))
        self.lost_bytes += max(0, len(self.ring) + len(data) - RING_BYTES)
        self.ring = (self.ring + data)[:RING_BYTES]

    def throw_away(self, now_s):
        """Forget what waits, as a driver would; a pseudo-terminal keeps it. A reset came after."""
        waiting = b""
        try:
            while True:
                waiting += os.read(self.master, 4096)[1:]
        except BlockingIOError:
            if b"\x18" in waiting:
                self.obey(b"\x18", now_s)

    def obey(self, byte, now_s):
        if byte == b"?":
            state = b"Hold:0" if self.is_held else b"Run" if self.ring or self.blocks else b"Idle"
            free = BLOCKS - int(self.blocks + 0.5)
            self.write(
                b"<%s|MPos:0.000,0.000,0.000|Bf:%d,%d|FS:4000,0|WCO:0.000,0.000,0.000>\r\n"
                % (state, free, RING_BYTES - len(self.ring))
            )
        elif byte == b"!":
            self.is_held = True
            self.holds_at_s.append(now_s)
        elif byte == b"~":
            self.is_held = False
        else:
            self.ring, self.blocks, self.is_held = b"", 0.0, False
            self.resets_at_s.append(now_s)
            self.write(GREETING)

    def run(self, now_s):
        while not self.is_held and b"\n" in self.ring and self.blocks < BLOCKS - 1:
            line, _, self.ring = self.ring.partition(b"\n")
            self.write(ANSWERS.get(line, b"") + b"ok\r\n")
            self.lines += 1
            if self.lines_per_s:
                self.blocks += 1
            if self.earliest_ok_s is None and line not in ANSWERS:
                self.earliest_ok_s = now_s

    def tell(self):
        return {
            "lines": self.lines,
            "bytes": self.bytes,
            "lost_bytes": self.lost_bytes,
            "refills_s": self.refills_s,
            "holds_at_s": self.holds_at_s,
            "resets_at_s": self.resets_at_s,
            "arrived": self.arrived[:: max(1, len(self.arrived) // 2000)],
        }


def main():
    sink = Sink(float(sys.argv[1]))
    termios.tcflush(sink.master, termios.TCIOFLUSH)
    print(sink.name, flush=True)
    last_s = time.monotonic()
    while not select.select([sys.stdin], [], [], STEP_S)[0]:
        now_s = time.monotonic()
        sink.step(now_s, now_s - last_s)
        last_s = now_s
    print(json.dumps(sink.tell()))


if __name__ == "__main__":
    main()
