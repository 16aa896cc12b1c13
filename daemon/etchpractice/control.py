"""What can be asked of the practice machine over control.sock, as JSON-RPC.

Answers are given by the server's threads, but the machine belongs to the process's one loop:
a thread hands its errand over and waits until the loop has run it.
"""

import inspect
import os
import queue
from collections.abc import Callable
from concurrent.futures import Future
from pathlib import Path
from typing import Any, Final, TypeVar

from etchpractice.link.cable import Cable
from etchpractice.machine import PracticeMachine
from etchpractice.scenario.rows import row_light
from etchpractice.scenario.wiped_tile import what_is_wrong
from etchpractice.tile.tile import PictureTooLarge, Rectangle, Tile
from etchwire.errors import Refused, UnfitParameters, UnknownMethod
from etchwire.transport.handlers import IncomingCall
from etchwire.transport.json_text import JsonTable

ERRAND_S: Final = 60.0

Result = TypeVar("Result")

MACHINE_VERBS: Final = frozenset((
    "fall_silent", "speak_again", "hang", "release_replies", "extra_reply", "greet_again",
    "delay_replies", "send_noise", "reset_now", "brown_out", "trip_alarm", "open_door_pin",
    "close_door_pin", "lay_new_tile", "lay_on_wedge", "lose_power", "get_power", "push_head",
))  # fmt: skip
FAULT_VERBS: Final = frozenset((
    "withhold_replies", "refuse_next_line", "lose_next_reply", "garble_next_line",
    "garble_next_reply", "pause_next_line",
))  # fmt: skip
BOARD_VERBS: Final = frozenset((
    "open_lid", "close_lid", "set_input", "stick_input", "chatter", "press_button", "kill_fan",
    "mend_fan", "weld", "replace_relay", "bridge_button", "doubt_input", "freeze_inputs",
    "lose_edges", "hang_reading", "fail_edges", "kill_beam_pin",
))  # fmt: skip
CABLE_VERBS: Final = frozenset((
    "unplug", "plug_in", "plug_in_taken", "free_port", "plug_into", "block",
))  # fmt: skip
PROCESS_VERBS: Final = frozenset((
    "shutdown", "state", "unplug_board", "plug_in_board", "turn_wall_clock", "spoil_card",
))  # fmt: skip


class Errands:
    """Things for the loop to do, brought by other threads; its descriptor wakes the loop."""

    def __init__(self) -> None:
        self._waiting: queue.SimpleQueue[tuple[Callable[[], object], Future[Any]]]
        self._waiting = queue.SimpleQueue()
        self._bell = os.eventfd(0, os.EFD_NONBLOCK | os.EFD_CLOEXEC)

    def fileno(self) -> int:
        """Return the descriptor to wait on."""
        return self._bell

    def ring(self) -> None:
        """Wake the loop; a signal handler may."""
        os.eventfd_write(self._bell, 1)

    def run_soon(self, errand: Callable[[], Result]) -> Result:
        """Have the loop run `errand` and return what that returned, or raise what it raised."""
        future: Future[Result] = Future()
        self._waiting.put((errand, future))
        self.ring()
        return future.result(ERRAND_S)

    def run_waiting(self) -> None:
        """Run what has been brought; the loop calls this."""
        try:
            os.eventfd_read(self._bell)
        except BlockingIOError:
            return
        while not self._waiting.empty():
            errand, future = self._waiting.get()
            try:
                future.set_result(errand())
            except Exception as error:  # noqa: BLE001 - it is raised again in the thread that asked
                future.set_exception(error)

    def close(self) -> None:
        """Give the descriptor back."""
        os.close(self._bell)


class Control:
    """Answers requests: verbs of machine, board, cable and process, and pictures of the tile."""

    def __init__(
        self, machine: PracticeMachine, process: object, cable: Cable, errands: Errands
    ) -> None:
        self._machine = machine
        self._process = process
        self._cable = cable
        self._errands = errands

    def answer(self, incoming: IncomingCall) -> object:
        """Return the result of a request; raise Refused with a sentence."""
        method, params = incoming.request.method, incoming.request.params
        if method == "picture":
            self._picture(params)
            return None
        if method == "row_light":
            return self._call(self._row_light, params)
        if method == "what_is_wrong":
            return self._call(self._what_is_wrong, params)
        for verbs, target in (
            (MACHINE_VERBS, self._machine),
            (FAULT_VERBS, self._machine.faults),
            (BOARD_VERBS, self._machine.board),
            (CABLE_VERBS, self._cable),
            (PROCESS_VERBS, self._process),
        ):
            if method in verbs:
                return self._call(getattr(target, method), params)
        raise UnknownMethod("refused", f"the practice machine does not know {method!r}")

    def _call(self, verb: Callable[..., object], params: JsonTable) -> object:
        try:
            inspect.signature(verb).bind(**params)
        except TypeError as error:
            raise UnfitParameters("refused", f"{verb.__name__}: {error}") from error
        try:
            return self._errands.run_soon(lambda: verb(**params))
        except (LookupError, ValueError, TypeError) as error:
            raise UnfitParameters("refused", f"{verb.__name__}: {error}") from error

    def _copy_tile(self) -> Tile:
        return self._machine.tile.copy()

    def _row_light(self, rectangle: Rectangle, rows: int, pieces: int) -> list[list[float]]:
        return row_light(self._machine.tile, rectangle, rows=rows, pieces=pieces)

    def _what_is_wrong(self, rectangle: Rectangle) -> list[str]:
        return what_is_wrong(self._machine.tile, rectangle)

    def _picture(self, params: JsonTable) -> None:
        """Write the tile `before` and `after` wiping; each is a path, and either may be absent."""
        unknown = set(params) - {"before", "after", "mm_per_px", "rectangle"}
        if unknown:
            raise UnfitParameters("refused", f"picture: unknown {min(unknown)!r}")
        options = {name: params[name] for name in ("mm_per_px", "rectangle") if name in params}
        tile = self._errands.run_soon(self._copy_tile)
        for name, is_wiped in (("before", False), ("after", True)):
            if name not in params:
                continue
            try:
                tile.save_picture(Path(params[name]), wiped=is_wiped, **options)
            except OSError as error:
                raise Refused("refused", f"{params[name]}: {error.strerror}") from error
            except (PictureTooLarge, TypeError, ValueError) as error:
                raise UnfitParameters("refused", f"picture: {error}") from error
