"""What was answered as committed, and what is found of it after a kill."""

import hashlib
import json
import re
import shutil
import sqlite3
import tempfile
from contextlib import closing
from dataclasses import dataclass, field
from pathlib import Path

from etchdaemon.logbook.backup.sums import is_as_written
from etchwire.sheet import GCODE_NAME, read_sheet

CUT_SHORT = re.compile(
    r"Power was lost or the control program was ended"
    r" (near row (?P<row>\d+)|before its first row)\."
)
BOOK = "logbook.sqlite3"
KEPT_BACKUPS = 7
KEPT_JOBS = 8
KEPT_DRAFTS = 12


@dataclass(slots=True)
class SeenRun:
    """What the daemon has said of a run; it answers from committed records alone."""

    rows: set[int] = field(default_factory=set)
    events: set[tuple[int, str, str]] = field(default_factory=set)
    ended: str | None = None


@dataclass(slots=True)
class Ledger:
    """Everything that was answered in all the lives of daemon and page."""

    runs: dict[int, SeenRun] = field(default_factory=dict)
    surfaces: set[str] = field(default_factory=set)
    backups: set[str] = field(default_factory=set)
    jobs: list[str] = field(default_factory=list)  # the one taken in last at the end
    drafts: list[str] = field(default_factory=list)

    def note_job(self, sha256):
        """Note a job that was taken in: only the newest are kept."""
        self.jobs = [*(one for one in self.jobs if one != sha256), sha256]

    def note_draft(self, name):
        """Note a draft that was taken in: only the newest are kept."""
        self.drafts.append(name)

    def note_newest_run(self, client):
        """Ask what is on disk of the run that was started last."""
        for run in client.call("runs", limit=1)["runs"]:
            seen = self.runs.setdefault(run["id"], SeenRun())
            rows = client.call("run_rows", id=run["id"], from_row=0)["rows"]
            events = client.call("run_events", id=run["id"])["events"]
            seen.rows |= {row[0] for row in rows}
            seen.events |= {(event["id"], event["kind"], event["text"]) for event in events}
            seen.ended = run["ended"] or seen.ended

    def note_backups(self, client):
        """Ask which backups there are, and return whether none is under way."""
        told = client.call("backups")
        self.backups |= {one["name"] for one in told["kept"]}
        return told["share"] is None

    def told(self):
        """Return how much of what was answered."""
        rows = sum(len(seen.rows) for seen in self.runs.values())
        events = sum(len(seen.events) for seen in self.runs.values())
        return (
            f"{len(self.runs)} runs, {rows} rows, {events} events, {len(self.surfaces)} surfaces,"
            f" {len(self.backups)} backups, {len(self.drafts)} photos"
        )

    def check_book(self, state):
        """Look at a copy of the dead daemon's database: its log is still to be taken in."""
        if not (state / BOOK).exists():
            assert not self.runs
            return
        with tempfile.TemporaryDirectory() as folder:
            for suffix in ("", "-wal"):
                if Path(f"{state / BOOK}{suffix}").exists():
                    shutil.copyfile(f"{state / BOOK}{suffix}", Path(folder) / f"{BOOK}{suffix}")
            with closing(sqlite3.connect(Path(folder) / BOOK)) as book:
                self._check(book)

    def check_files(self, state):
        """Look at what a started daemon has left of the files of the one before."""
        assert list(state.glob("*damaged*")) == []
        spooled = {folder.name: folder for folder in (state / "spool").glob("*")}
        assert set(spooled) >= set(self.jobs[1 - KEPT_JOBS :]), "a job that was taken in is gone"
        for name, folder in spooled.items():
            sheet = read_sheet(folder)
            gcode = (folder / GCODE_NAME).read_bytes()
            assert name == sheet.gcode_sha256 == hashlib.sha256(gcode).hexdigest(), folder
        names = {path.name for path in (state / "backups").glob("*")}
        backups = {name for name in names if not name.endswith(".sha256")}
        assert names - backups == {f"{name}.sha256" for name in backups}, names
        assert all(name.startswith("logbook-") for name in backups), f"half a backup: {backups}"
        assert backups >= set(sorted(self.backups)[-KEPT_BACKUPS:]) or len(backups) == KEPT_BACKUPS
        for name in backups:
            assert is_as_written(state / "backups" / name)
            with closing(sqlite3.connect(f"file:{state}/backups/{name}?mode=ro", uri=True)) as book:
                assert book.execute("PRAGMA integrity_check").fetchone() == ("ok",), name

    def check_drafts(self, folder):
        """Look at what a started page has left of the drafts of the one before."""
        drafts = {path.name: path for path in (folder / "drafts").glob("*")}
        gone = set(self.drafts) - set(drafts)
        assert not gone or len(drafts) >= KEPT_DRAFTS - 1, f"drafts that were taken in: {gone}"
        assert gone.isdisjoint(self.drafts[-3:]), "the newest drafts are gone"
        for draft in drafts.values():
            assert json.loads((draft / "draft.json").read_bytes())["id"] == draft.name
            left = {path.name for path in draft.iterdir()}
            assert "photo" in left, f"no photo in {draft}"
            half = {name for name in left if name.startswith(("draft.json.", "photo.arriving"))}
            assert half == set(), f"half-written in {draft}: {half}"

    def _check(self, book):
        assert book.execute("PRAGMA integrity_check").fetchone() == ("ok",)
        ended = dict(book.execute("SELECT id, ended FROM run"))
        rows, events = {}, {}
        for run, row in book.execute("SELECT run_id, row FROM run_row"):
            rows.setdefault(run, set()).add(row)
        for run, *event in book.execute("SELECT run_id, id, kind, text FROM run_event"):
            events.setdefault(run, set()).add(tuple(event))
        for run, seen in self.runs.items():
            assert run in ended, f"run {run} is gone"
            assert rows.get(run, set()) >= seen.rows, f"rows of run {run} are gone"
            assert events.get(run, set()) >= seen.events, f"events of run {run} are gone"
            assert seen.ended is None or ended[run] == seen.ended
        surfaces = {name for (name,) in book.execute("SELECT name FROM surface")}
        assert surfaces >= self.surfaces, "surfaces are gone"


def check_cut_short(client, seen):
    """Hold what the next daemon says against what was known of the newest run; return its number.

    It may be one that was never answered: its start was on disk, and then the kill came.
    """
    (run,) = client.call("runs", limit=1)["runs"] or (None,)
    if run is None:
        return None
    known = seen.get(run["id"], SeenRun())
    if known.ended is not None:
        assert run["ended"] == known.ended
        return None
    said = CUT_SHORT.fullmatch(run["because"] or "")
    if said is None:  # its end reached the disk before the kill, but nobody had asked
        assert run["ended"] in ("complete", "stopped", "failed"), run
        return None
    assert run["ended"] == "failed"
    last = max(known.rows, default=-1) + 1
    assert int(said["row"] or 0) >= last, f"{run['because']} Row {last} was known."
    return run["id"]
