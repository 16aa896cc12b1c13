"""A household whose daemon and page are killed at random moments, over and over."""

import random
import sqlite3
import time
from collections import Counter
from contextlib import closing

from support.harnesses.plain_client import PlainClient
from support.kills.household import KillableHouse
from support.kills.ledger import Ledger, check_cut_short
from support.kills.moments import DECK, MOMENTS, STARTING, be_free, wait_for

PAGE_MAY_GO_ALONE = ("etching", "preparing photos")


class KilledHousehold(KillableHouse):
    """One practice machine, and daemons and pages that follow each other on the same records."""

    def __init__(self, folder, seed, *, stretched=1.0):
        """Draw everything from `seed`; kills come up to `stretched` times as late."""
        super().__init__(folder)
        self._stretched = stretched
        self.chance = random.Random(seed)
        self.ledger = Ledger()
        self.kills, self.states = Counter(), Counter()  # by moment and victims; by last state told
        self.outlived = 0  # children that were seen to work on after their parent's death
        self.cut_short = 0
        self.start_s = 1.0
        self._deck = []

    def round(self):
        """Come to a moment, kill somebody, and look what is left of it all."""
        moment, victims = self._draw(), "daemon"
        if moment == STARTING:
            self._kill_while_starting()
        else:
            with self._looked_over_daemon() as client:
                victims = self._choose_victims(moment)
                if "page" in victims and self.page_port is None:
                    self._start_page_and_look()
                self._kill_at(moment, victims, client)
        self.kills[moment, victims] += 1
        self._look_after(victims)

    def machine_round(self, moment):
        """Kill the machine, as a power cut does the controller; return what the daemon says.

        Another one then stands in its place, and has to be of use.
        """
        with self._looked_over_daemon() as client:
            asking = MOMENTS[moment][0](self, client)
            self.kill("practice machine")
            if asking is not None:
                asking.close()
            lost = wait_for(client, lambda status: status["machine"]["link"] == "lost")
            self.start_machine()
            wait_for(client, lambda status: status["machine"]["link"] == "ready")
            self.ledger.note_newest_run(client)
        return lost

    def finish(self):
        """Look over what the last kill left."""
        self._looked_over_daemon().close()

    def linger(self, seconds, client):
        """Watch the newest run for so long; seconds are longer where everything is slower."""
        until_s = time.monotonic() + seconds * self.start_s
        while (left_s := until_s - time.monotonic()) > 0:
            time.sleep(min(left_s, 0.05))  # what is asked then is all that is on disk of the run
            self.ledger.note_newest_run(client)

    def told(self):
        """Return how many kills fell where."""
        states = ", ".join(f"{state} {count}" for state, count in sorted(self.states.items()))
        return "\n".join((
            f"{self.kills.total()} kills; while or after, and of whom:",
            *(
                f"  {moment:<24} {victims:<16} {count:3}"
                for (moment, victims), count in sorted(self.kills.items())
            ),
            f"Last told state: {states}.",
            f"Answered, and there after every kill: {self.ledger.told()}.",
            f"{self.cut_short} etches were cut short, and every one was offered again.",
            f"{self.outlived} child processes worked on after the kill, and ended by themselves.",
        ))  # fmt: skip

    # Coming to a moment.

    def _draw(self):
        if not self._deck:
            self._deck = list(DECK)
            self.chance.shuffle(self._deck)
        return self._deck.pop()

    def _choose_victims(self, moment):
        if moment in PAGE_MAY_GO_ALONE:
            return self.chance.choice(("daemon", "page", "daemon and page"))
        return self.chance.choice(("daemon",) * 7 + ("daemon and page",))

    def _kill_while_starting(self):
        if self.is_daemon_there:
            self.kill("daemon")
            self._look_after("daemon")
        self.start_daemon()
        time.sleep(self.chance.uniform(0.0, 1.2 * self.start_s))
        self.states[STARTING] += 1
        self.kill("daemon")

    def _kill_at(self, moment, victims, client):
        come_to, span = MOMENTS[moment]
        asking = come_to(self, client)
        try:
            self.linger(self.chance.uniform(0.0, span) * self._stretched, client)
            status = client.call("status")
            self.states[status["state"]] += 1
        finally:
            for victim in victims.split(" and "):
                self.kill(victim)
            if asking is not None:
                asking.close()
        if "daemon" not in victims:
            self._etch_goes_on(client, status["run"]["etched_rows"])

    def _etch_goes_on(self, client, rows):
        def has_gone_on(status):
            run = status["run"]
            return run["etched_rows"] > rows or run["ended"] == "complete"

        assert wait_for(client, has_gone_on)["run"]["held_because"] is None
        be_free(self, client)

    # Looking what is left.

    def _look_after(self, victims):
        if "daemon" in victims:
            self.ledger.check_book(self.state)
            if self.chance.random() < 0.7:  # else the next daemon comes before all is quiet
                self.require_outputs_off()
        for name in victims.split(" and "):
            assert "Traceback" not in self.log(name), self.log(name)
        self.outlived += len(self.children())
        self.until(lambda: not self.children())

    def _looked_over_daemon(self):
        """Return a connection to the daemon, started and looked over where it was killed."""
        if self.is_daemon_there:
            return PlainClient(self.session.socket)
        began_s = time.monotonic()
        self.start_daemon()
        client = self.daemon()
        self.start_s = time.monotonic() - began_s
        try:
            self._look_over(client)
        except BaseException:
            client.close()
            raise
        return client

    def _look_over(self, client):
        status = wait_for(client, lambda status: status["state"] != "starting")
        assert (status["state"], status["run"], status["logbook_trouble"]) == ("idle", None, None)
        assert not status["interlocks"]["is_beam_enabled"]
        cut_short = check_cut_short(client, self.ledger.runs)
        self.ledger.note_newest_run(client)
        if cut_short is not None:
            self.cut_short += 1
            self._require_offer(client, cut_short)
        self.ledger.check_files(self.state)
        with self.session.ask_machine() as machine:
            state = machine.call("state")
        assert not state["outputs"]["beam_enable"]
        assert not state["is_burning"]

    def _require_offer(self, client, run):
        status = wait_for(client, lambda status: "reenter" in status["may"])
        assert status["unfinished"]["run"] == run
        told = client.call("unfinished", run=run)
        assert told["may"], told["why_not"]
        if self.page_port is not None:
            self.until(lambda: "Continue this etch" in self.page("/"))

    def _start_page_and_look(self):
        self.start_page()
        with closing(sqlite3.connect(self.page_folder / "page.sqlite3")) as book:
            assert book.execute("PRAGMA integrity_check").fetchone() == ("ok",)
        self.ledger.check_drafts(self.page_folder)
