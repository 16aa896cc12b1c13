"""A Board in memory: inputs to operate, faults to arrange, and every output's history."""

from etchdaemon.errors import BoardLost
from etchdaemon.interlocks.clocks import Edge
from etchdaemon.interlocks.inputs import Input, Level, Output


class HandClock:
    """Two clocks that stand still until somebody moves them; the machine's may be ahead."""

    seconds_per_wall_second = 1.0

    def __init__(self, now_s=1000.0):
        self.seconds = now_s
        self.machine_ahead_s = 0.0

    def now_s(self):
        return self.seconds + self.machine_ahead_s

    def wall_s(self):
        return self.seconds

    def utc_now(self):
        return "2026-05-04T12:00:00Z"


class CountingDoorbell:
    """Counts its rings."""

    def __init__(self):
        self.rings = 0

    def ring(self):
        self.rings += 1

    def wait(self, timeout_s):
        pass


class MemoryBoard:
    """Loop and air follow the outputs, as the wires would, unless `follows` is off."""

    def __init__(self, clock, inputs=frozenset(Input)):
        self._clock = clock
        self.closed = dict.fromkeys(inputs, True)
        if Input.ARM_BUTTON in self.closed:
            self.closed[Input.ARM_BUTTON] = False
        self.outputs = {}
        self.history = []
        self.opened = {}
        self.follows = True
        self.is_lost = False
        self.dead = frozenset()  # outputs that cannot be driven any more
        self.loses_edges = False
        self.raises = None
        self.trouble = None
        self.is_closed = False

    def read(self):
        self.history.append("read")
        self._raise_trouble()
        now_s = self._clock.wall_s()
        if self.follows:
            for name, output in (
                (Input.LOOP_CLOSED, Output.BEAM_ENABLE),
                (Input.AIR_FLOW, Output.EXTRACTION),
            ):
                if name in self.closed:
                    self.closed[name] = self.outputs.get(output, False)
        return {name: Level(is_closed, now_s) for name, is_closed in self.closed.items()}

    def take_opened(self):
        opened, self.opened = self.opened, {}
        return opened

    def set(self, output, *, is_on):
        if self.is_lost or output in self.dead:
            raise BoardLost("the board is gone")
        self.outputs[output] = is_on
        self.history.append((output, is_on))

    def close(self):
        self.is_closed = True

    def open(self, name):
        self.closed[name] = False
        if not self.loses_edges:
            self.opened[name] = Edge(self._clock.wall_s(), self._clock.now_s())

    def shut(self, name):
        self.closed[name] = True

    def _raise_trouble(self):
        if self.is_lost:
            raise BoardLost("the board is gone")
        if self.raises is not None:
            raise self.raises
