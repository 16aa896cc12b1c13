"""The practice that README starts with, at its default speed, by hand: no hurry to start."""

import time

from etchpractice.scenario.script import Picture
from etchwarden.practice_session.process_group import ProcessGroup
from etchwarden.practice_session.scenario_job import write_grey
from etchwarden.practice_session.session import Session
from support.harnesses.plain_client import PlainClient

DEFAULT_SPEEDUP = "20"
HESITATES_S = 5.0  # at twenty times the speed this was more than the minute to start in


def test_somebody_may_hesitate_between_the_button_and_the_start(tmp_path):
    with ProcessGroup(tmp_path) as household:
        session = Session(household, tmp_path)
        write_grey(Picture(rows=4, columns=100), folder=session.job)
        session.start_machine("--speedup", DEFAULT_SPEEDUP)
        with PlainClient(session.socket) as daemon, session.ask_machine() as machine:
            session.load(daemon)
            session.arm(daemon)
            until_s = machine.call("state")["now_s"] + HESITATES_S * float(DEFAULT_SPEEDUP)
            while machine.call("state")["now_s"] < until_s:
                time.sleep(0.05)

            daemon.call("start")

        run = session.watch_etch()
        with PlainClient(session.socket) as daemon:
            assert daemon.call("run", id=run)["ended"] == "complete"
