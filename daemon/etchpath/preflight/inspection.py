"""One pass over a file, from bytes to verdict, in memory that does not grow with it."""

import hashlib
from collections.abc import Callable, Sequence
from typing import Final

import numpy as np

from etchpath.language.blocks import BLOCK_BYTES, Block, Blocks, Source
from etchpath.language.reader import read_block
from etchpath.language.states import Carried, States, follow
from etchpath.machine import Machine
from etchpath.motion.timeline import Timed, Timeline
from etchpath.motion.toolpath import Toolpath, Tracer
from etchpath.preflight.checks import Checks
from etchpath.preflight.findings import Findings
from etchpath.preflight.kind import Severity
from etchpath.preflight.report import Report
from etchpath.preflight.totals import BeamTotals, Box

_REACHED_SHARE: Final = 0.95
_NOTED_SHARE: Final = 0.02  # a row here and there harms nobody
_NO_REENTRY: Final = ("origin shift", "too many origins")


# Something else that sees the file go by: what holds on some lines, and pieces with their times.
TakesStates = Callable[[States], None]
TakesTimes = Callable[[Timed], None]


def inspect(
    file: Source,
    machine: Machine,
    *,
    on_states: Sequence[TakesStates] = (),
    on_times: Sequence[TakesTimes] = (),
    on_progress: Callable[[int], None] = lambda _: None,
) -> Report:
    """Read `file` to its end as `machine` would run it and return what was found.

    Any bytes whatever end in a report. `on_progress` hears the bytes read so far.
    """
    inspection = Inspection(machine, on_states, on_times)
    source = _Hashing(file, inspection)
    for block in Blocks(source):
        if not inspection.see_block(block):
            break
        on_progress(block.first_byte + block.size_bytes)
    while source.read(BLOCK_BYTES):
        pass  # the hash is that of the whole file, even where reading on makes no sense
    return inspection.report()


class Inspection:
    """The state of a preflight under way; `inspect` is the loop round it."""

    def __init__(
        self,
        machine: Machine,
        on_states: Sequence[TakesStates] = (),
        on_times: Sequence[TakesTimes] = (),
    ) -> None:
        """Begin before the first block."""
        self._machine = machine
        self._on_states = on_states
        self._on_times = on_times
        self._findings = Findings(machine)
        self._checks = Checks(machine, self._findings)
        self._carried = Carried()
        self._tracer = Tracer(machine)
        self._timeline = Timeline(machine)
        self._totals = BeamTotals(machine)
        self._bounds = Box()
        self._bounds.take_in(np.zeros(1), np.zeros(1))
        self._lines = 0
        self.digest = hashlib.sha256()
        self.size_bytes = 0

    def see_block(self, block: Block) -> bool:
        """Take the next block; return whether it makes sense to go on."""
        if not self._checks.is_text(block):
            return False
        lines = read_block(block, self._machine)
        self._lines += len(lines)
        for states in follow(lines, self._carried):
            self._checks.see_states(states)
            for take_states in self._on_states:
                take_states(states)
            for toolpath in self._tracer.trace(states):
                self._checks.see_toolpath(toolpath, lines)
                self._follow(toolpath)
        self._checks.see_remarks(lines)
        return True

    def report(self) -> Report:
        """Finish the motion and return the outcome."""
        for timed in self._timeline.finish(self._tracer.waiting_s):
            self._see_times(timed)
        self._totals.finish()
        if "not text" not in self._findings:
            self._checks.finish(self._lines)
        self._note_unreached_feed()
        self._note_slow_controller()
        totals = self._totals
        return Report(
            verdict=self._findings.verdict(),
            findings=self._findings.gravest_first(),
            duration_s=round(self._timeline.now_s, 3),
            beam_on_s=round(totals.seconds, 3),
            beam_on_mm=round(totals.length_mm, 3),
            bounds_mm=self._bounds.to_table(),
            burnt_mm=totals.burnt.to_table(),
            beam=totals.to_table(),
            lines=self._lines,
            gcode_bytes=self.size_bytes,
            gcode_sha256=self.digest.hexdigest(),
            has_reentry=self._has_reentry(),
            needed_bytes_per_s=round(self._checks.longest_need_bytes_per_s, 1),
            carried_bytes_per_s=self._machine.bytes_per_s,
            machine=self._machine.to_table(),
        )

    def _follow(self, toolpath: Toolpath) -> None:
        self._bounds.take_in(toolpath.x_mm, toolpath.y_mm)
        self._totals.plan_freely(toolpath)
        for timed in self._timeline.add(toolpath):
            self._see_times(timed)

    def _see_times(self, timed: Timed) -> None:
        self._checks.see_times(timed)
        self._totals.add(timed)
        for take_times in self._on_times:
            take_times(timed)

    def _note_unreached_feed(self) -> None:
        if not self._totals.seconds:
            return
        beam = self._totals.to_table()
        mean_mm_per_min, asked_mm_per_min = beam["mean_mm_per_min"], beam["asked_mm_per_min"]
        if mean_mm_per_min < asked_mm_per_min * _REACHED_SHARE:
            text = f"{mean_mm_per_min:.0f} of {asked_mm_per_min:.0f} mm/min on average"
            self._findings.add("feed not reached", text=text.encode("ascii"))

    def _note_slow_controller(self) -> None:
        held_up_s = self._checks.held_up_s
        unhindered_s = self._timeline.now_s - held_up_s
        if held_up_s > _NOTED_SHARE * unhindered_s:
            text = f"{held_up_s / unhindered_s * 100:.0f} % longer, {held_up_s:.0f} s"
            if self._totals.seconds:
                text += f"; {self._totals.to_table()['useful_mm_per_min']:.0f} mm/min is kept"
            self._findings.add("controller too slow", text=text.encode("ascii"))

    def _has_reentry(self) -> bool:
        """Whether a job stopped on its way can be taken up again."""
        kinds = {finding.kind for finding in self._findings.gravest_first()}
        return self._findings.verdict() != Severity.REFUSED and kinds.isdisjoint(_NO_REENTRY)


class _Hashing:
    """A file that is hashed and counted as it is read."""

    def __init__(self, file: Source, inspection: Inspection) -> None:
        self._file = file
        self._inspection = inspection

    def read(self, size: int) -> bytes:
        return self._noted(self._file.read(size))

    def readline(self, size: int) -> bytes:
        return self._noted(self._file.readline(size))

    def _noted(self, data: bytes) -> bytes:
        self._inspection.digest.update(data)
        self._inspection.size_bytes += len(data)
        return data
