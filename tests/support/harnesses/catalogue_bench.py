"""A logbook behind a real socket, and the commands as a person types them."""

import re

from click.testing import CliRunner

from etchdaemon.logbook.schema.opening import open_logbook
from etchdaemon.rpc.dispatcher import Dispatcher
from etchwarden.__main__ import main
from etchwire.sheet import read_sheet
from support.fakes.fake_daemon import MACHINE, snapshot
from support.harnesses.logbooks import END, EVENT, LONG_S, NamedLogbook, row_of

OWN_LASER = """
name = "shed"
rated_optical_w = 20.0
spot_x_mm = 0.08
spot_y_mm = 0.08
is_spot_measured = false
max_s = 1000.0
max_feed_mm_per_min = 10000.0
acceleration_mm_per_s2 = 1000.0
travel_x_mm = 400.0
travel_y_mm = 400.0
"""


class NoLoop:
    """Stands where the daemon's loop is: nobody moves a machine here."""

    def __init__(self, **machine):
        self.machine = machine  # what differs from the usual one

    def snapshot(self):
        return snapshot("idle", machine={**MACHINE, "controller": None, **self.machine})

    def request(self, call):
        raise AssertionError(f"nobody asks for {call.method()} here")

    def call_on_change(self, _):
        pass


class Shop:
    """A folder, a logbook, a daemon's socket; times go up by a minute with each command."""

    def __init__(self, folder, *, keeps_backups=False):
        self.folder = folder
        self.minute = 0
        self.logbook = NamedLogbook(
            lambda: open_logbook(folder / "logbook.sqlite3", at_utc=self._now()),
            utc_now=self._now,
            confirm_timeout_s=LONG_S,
            folder=folder if keeps_backups else None,
        )
        self.loop = NoLoop()
        self.desk = Dispatcher(folder / "socket", self.loop, self.logbook)
        (folder / "shed.toml").write_text(OWN_LASER)

    def __enter__(self):
        self.logbook.start()
        self.logbook.introduce_practice()
        self.desk.start()
        return self

    def __exit__(self, *_):
        self.desk.stop()
        self.logbook.close()

    def _now(self):
        return f"2026-11-25T{8 + self.minute // 60:02}:{self.minute % 60:02}:00+00:00"

    def say(self, words, *more, answer=None):
        """Run `etchwarden WORDS` against the daemon and return what came of it."""
        self.minute += 1
        arguments = [word.strip("'") for word in re.findall(r"'[^']*'|\S+", words)]
        arguments = [word.replace("{here}", str(self.folder)) for word in [*arguments, *more]]
        return CliRunner().invoke(
            main, arguments, input=answer, env={"ETCHWARDEN_DAEMON": str(self.folder / "socket")}
        )

    def done(self, words, *more, **changes):
        """Run it, and have it end well; return all that it said."""
        result = self.say(words, *more, **changes)
        assert result.exit_code == 0, result.output
        assert "Traceback" not in result.output
        return result.output

    def etch(self, job, *, feed_share=1.0, etched_rows=None):
        """Record the run of a job folder as the daemon would; nothing burns."""
        self.minute += 1
        sheet = read_sheet(self.folder / job)
        run = self.logbook.start_run(
            sheet_json=sheet.to_json(), started_at_utc=self._now(), notes={}
        )
        feed = sheet.recipe.feed_mm_per_min * feed_share
        self.logbook.note_rows(run, [row_of(row, feed=feed) for row in range(3)])
        self.logbook.end_run(run, **(END | {"etched_rows": etched_rows or sheet.rows}))
        self.logbook.confirm_event(run, **EVENT)
        return run
