"""The run that ended last: whether it may be taken up again, and whether its place is kept."""

from collections.abc import Collection

from etchdaemon.run.reentry_rules import ORIGIN_SHIFT, LeftOver, Past, objection
from etchdaemon.service.link.machine import Machine
from etchdaemon.service.run.etch import Etch
from etchwire.calls.snapshot import UnfinishedView


class LastRun:
    """Remembers it until another run begins; after a restart only the logbook knows of it."""

    def __init__(self, machine: Machine) -> None:
        self._machine = machine
        self._noted: Etch | None = None
        self._unfinished: LeftOver | None = None
        self._kept: tuple[int, int] | None = None  # a run, and the epoch in which it ended
        self.began: tuple[int, float] | None = None  # a run, and when it began

    def recall(self, unfinished: LeftOver | None) -> None:
        """Take over what an earlier life of the daemon left unfinished, from the logbook."""
        self._unfinished = unfinished

    def note(self, etch: Etch, findings: Collection[str]) -> None:
        """Take note of a run that has ended; `findings` are the kinds its preflight found."""
        if etch is self._noted:
            return
        self._noted = etch
        self.began = (etch.number, etch.started_at_s)
        self._kept = (etch.number, self._machine.epoch.number) if etch.is_position_known else None
        self._unfinished = _unfinished(etch, findings)

    def forget(self) -> None:
        """Offer it no more: another run has begun."""
        self._unfinished = None

    def lose_place(self) -> None:
        """Take note that the head has gone where nobody asked it to stay."""
        self._kept = None

    def is_place_kept(self, run: int | None) -> bool:
        """Return whether head and origin are as `run` left them."""
        epoch = self._machine.epoch
        return epoch.origin is not None and self._kept == (run, epoch.number)

    def view(self) -> UnfinishedView | None:
        """Return what the snapshot shows of it, while it may be taken up again."""
        if self._unfinished is None:
            return None
        return self._unfinished.view(is_place_kept=self.is_place_kept(self._unfinished.run))


def _unfinished(etch: Etch, findings: Collection[str]) -> LeftOver | None:
    sheet = etch.job.sheet
    past = Past(
        run=etch.number,
        ended=None if etch.ending is None else etch.ending[0],
        has_lost_place=sheet.is_foreign and not etch.is_file_cut_logged,
        is_all_etched=etch.is_all_etched,
        shifts_origin=ORIGIN_SHIFT in findings,
    )
    if objection(past) is not None:
        return None
    picture_sha256 = etch.job.picture_sha256 or sheet.gcode_sha256
    return LeftOver(etch.number, sheet.title, picture_sha256, sheet.rows, etch.etched_rows)
