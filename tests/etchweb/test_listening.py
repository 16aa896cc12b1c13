from collections.abc import Iterator

from etchweb.daemon.listener import Listener, ask_status
from etchwire.calls.snapshot import Snapshot
from etchwire.errors import DaemonAbsent
from support.fakes.fake_daemon import GONE, FakeDaemon, snapshot


class TellsThenLeaves(FakeDaemon):
    """Says what it was given and is gone."""

    def __init__(self, *snapshots: Snapshot) -> None:
        super().__init__()
        self._script = snapshots
        self.when_told = lambda: None

    def snapshots(self) -> Iterator[Snapshot]:
        for told in self._script:
            yield told
            self.when_told()
        raise DaemonAbsent(GONE)


def test_before_anything_was_heard_the_machine_counts_as_away():
    assert Listener(FakeDaemon()).report.snapshot is None


def test_the_latest_snapshot_wins():
    daemon = TellsThenLeaves(snapshot("loaded"), snapshot("etching"))
    listener = Listener(daemon)
    kept = []
    daemon.when_told = lambda: kept.append(listener.report.snapshot.state)

    listener.listen_once()

    assert kept == ["loaded", "etching"]


def test_a_daemon_that_leaves_takes_its_last_snapshot_with_it():
    listener = Listener(TellsThenLeaves(snapshot("etching")))

    listener.listen_once()

    assert listener.report.snapshot is None
    assert listener.report.sentence == GONE
    assert listener.report.number == 2


def test_staying_away_is_no_news():
    listener = Listener(TellsThenLeaves())
    listener.listen_once()
    number = listener.report.number

    listener.listen_once()

    assert listener.report.number == number


def test_waiting_returns_at_once_when_there_is_news():
    listener = Listener(TellsThenLeaves(snapshot("etching")))
    listener.listen_once()

    assert listener.wait_for_news(after=0, timeout_s=60.0).number == 2


def test_waiting_ends_with_the_page():
    listener = Listener(FakeDaemon())

    listener.end()

    assert listener.wait_for_news(after=0, timeout_s=60.0).number == 0


def test_an_ended_page_stops_listening():
    listener = Listener(FakeDaemon("etching"))
    listener.end()

    listener.listen_once()

    assert listener.report.snapshot is None


def test_asking_a_daemon_that_is_away_gives_its_sentence():
    daemon = FakeDaemon()
    daemon.go_away()

    assert ask_status(daemon).sentence == GONE
