"""The page's process tells a webhook what happens at the machine, with no phone looking."""

import signal
import sqlite3

import pytest

from etchpractice.scenario.script import Picture
from etchwarden.practice_session.process_group import ProcessGroup
from etchwarden.practice_session.scenario_job import write_grey
from etchwarden.practice_session.session import Session
from etchweb.alerts.outbox import FILE_NAME
from support.fakes.alert_sinks import WebSink, serving

PATIENCE_S = 120.0
SETTINGS = """
host = "127.0.0.1"
port = 0
machines = ["left"]
sockets = "{sockets}"
[alerts]
tell = []
[alerts.webhook]
url = "{url}"
"""


def knows_of_an_etch(outbox):
    if not outbox.exists():
        return False
    book = sqlite3.connect(outbox)
    try:
        return book.execute("SELECT count(*) FROM news WHERE goes_on").fetchone() == (1,)
    except sqlite3.OperationalError:  # it is just being made
        return False
    finally:
        book.close()


@pytest.mark.fault("daemon dies or hangs in mid-etch, every page closed")
def test_a_daemon_that_is_killed_in_mid_etch_reaches_the_webhook_whatever_was_left_out(tmp_path):
    sink, settings = WebSink(), tmp_path / "page.toml"
    (tmp_path / "left").mkdir()
    with ProcessGroup(tmp_path) as household:
        session = Session(household, tmp_path)
        (tmp_path / "left" / "api.sock").symlink_to(session.socket)
        settings.write_text(SETTINGS.format(sockets=tmp_path, url=sink.url))
        write_grey(Picture(rows=100), folder=session.job)
        session.start_machine("--speedup", "1")
        household.start("page", "page", "--settings", str(settings), "--folder", str(session.page))
        session.begin_etch()
        household.wait_until(lambda: knows_of_an_etch(session.page / FILE_NAME))

        with serving(sink):
            household.send("daemon", signal.SIGKILL)
            assert sink.arrived.acquire(timeout=PATIENCE_S)

    ((_, told),) = sink.posts
    assert (told["machine"], told["kind"]) == ("left", "cut off")
    assert told["title"] == "Cut off: Even grey"
