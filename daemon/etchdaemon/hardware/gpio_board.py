"""The board on GPIO pins, through gpiozero.

What is known to go wrong in the libraries, and the answer here:

1. an active-low output is claimed low and only then set: the pins come from `lgpio_pins`, whose
   class claims an output at its level;
2. pulls are dropped when a pin is claimed or closed: none is asked for, every line has its own
   resistor to the safe side (the wiring says so), and outputs go off before they are let go of;
3. an exception in a callback ends all callbacks: ours lets none out, and `trouble` says when the
   library's thread is dead; the poll goes on being the truth;
4. the library writes into its working directory when it is imported: see `lgpio_pins`;
5. its debouncing loses edges: it is not used; stability is judged from the samples;
6. chips are renumbered: see `lgpio_pins`.
"""

import threading
from collections.abc import Callable, Mapping
from contextlib import suppress
from functools import partial
from typing import Any

from etchdaemon.configuration.pin_map import Pin, PinMap
from etchdaemon.errors import BoardLost
from etchdaemon.hardware.opened import EDGES_LOST, OpenedInputs
from etchdaemon.interlocks.clocks import Edge
from etchdaemon.interlocks.inputs import CUTS_ON_EDGE, Input, Level, Output
from etchdaemon.ports import Clock, Doorbell

IsAlive = Callable[[], bool]


class GpioBoard:
    """Inputs and outputs on the pins of `factory`, a gpiozero pin factory.

    `is_edge_thread_alive` tells whether the library still delivers edges.
    """

    def __init__(
        self,
        pins: PinMap,
        factory: Any,
        *,
        clock: Clock,
        doorbell: Doorbell,
        is_edge_thread_alive: IsAlive = lambda: True,
    ) -> None:
        """Claim every pin, outputs first and off; raise BoardLost."""
        self._factory = factory
        self._clock = clock
        self._is_edge_thread_alive = is_edge_thread_alive
        self._opened = OpenedInputs(doorbell)
        self._has_stumbled = False
        self._lock = threading.Lock()  # one writer at a time: close against set
        self._callbacks: list[Callable[[Any, Any], None]] = []  # gpiozero keeps weak ones only
        self._outputs: dict[Output, tuple[Any, Pin]] = {}
        self._inputs: dict[Input, tuple[Any, Pin]] = {}
        try:
            for name, pin in pins.outputs.items():
                self._outputs[Output(name)] = (self._claim_output(pin), pin)
            for name, pin in pins.inputs.items():
                self._inputs[Input(name)] = (self._claim_input(Input(name), pin), pin)
        except Exception as error:
            self.close()
            raise BoardLost(f"The pins cannot be had: {error}") from error

    @property
    def trouble(self) -> str | None:
        """A sentence when edges are no longer delivered, else None."""
        if self._has_stumbled or not self._is_edge_thread_alive():
            return EDGES_LOST
        return None

    def read(self) -> Mapping[Input, Level]:
        """Read every pin now; one that cannot be read is left out.

        A level's time is one before it was read: between the two the thread may be kept waiting.
        """
        levels = {}
        for name, (line, pin) in self._inputs.items():
            with suppress(Exception):  # unread is unsafe: that is answer enough
                at_s = self._clock.wall_s()
                levels[name] = Level(bool(line.state) is pin.is_high_on, at_s)
        return levels

    def take_opened(self) -> Mapping[Input, Edge]:
        """Return the inputs whose edge to open has come since the last time."""
        return self._opened.take()

    def set(self, output: Output, *, is_on: bool) -> None:
        """Drive an output; raise BoardLost."""
        if output not in self._outputs:
            return
        line, pin = self._outputs[output]
        with self._lock:
            try:
                line.state = is_on is pin.is_high_on
            except Exception as error:
                raise BoardLost(f"The output “{output.value}” cannot be driven: {error}") from error

    def close(self) -> None:
        """Drive every output off, then let go of the pins."""
        with self._lock:
            for line, pin in self._outputs.values():
                with suppress(Exception):
                    line.state = not pin.is_high_on
            with suppress(Exception):
                self._factory.close()

    def _claim_output(self, pin: Pin) -> Any:
        line = self._factory.pin(pin.number)
        line.output_with_state(not pin.is_high_on)
        return line

    def _claim_input(self, name: Input, pin: Pin) -> Any:
        line = self._factory.pin(pin.number)
        line.input_with_pull("floating")
        line.edges = "both"
        callback = partial(self._note_edge, name, pin)
        self._callbacks.append(callback)
        line.when_changed = callback
        return line

    def _note_edge(self, name: Input, pin: Pin, _ticks: Any, state: Any) -> None:
        """Note an edge; whatever happens, nothing is raised into the library's thread.

        The beam goes out here already: waking the guard first costs another thread's turn.
        """
        try:
            if bool(state) is not pin.is_high_on:
                if name in CUTS_ON_EDGE:
                    with suppress(BoardLost):  # the guard tries again, and the edge is not lost
                        self.set(Output.BEAM_ENABLE, is_on=False)
                self._opened.note(name, Edge(self._clock.wall_s(), self._clock.now_s()))
        except Exception:  # noqa: BLE001 - the poll is the truth, and goes on
            self._has_stumbled = True
