"""Boxes and a real broker: reports, goodbyes, a broker that goes away or is halted."""

import signal

import pytest
from click.testing import CliRunner

from etchwarden.commands.fleet import command
from etchweb.fleet.reporter import Reporter
from etchweb.fleet.settings import FleetSettings
from etchweb.fleet.topics import values_of
from etchweb.fleet.watcher import Watcher
from etchwire.calls.machine import Status
from support.fakes.fake_daemon import FakeDaemon, snapshot
from support.harnesses.broker import broker_in, free_port, until


@pytest.fixture
def broker(tmp_path):
    with broker_in(tmp_path) as broker:
        yield broker


def settings_of(broker, **more):
    return FleetSettings(broker="127.0.0.1", port=broker.port, **more)


@pytest.fixture
def reporting():
    """Start a reporter of a fake daemon; all of them end with the test."""
    reporters = []

    def reporting(settings, name="left", daemon=None):
        reporter = Reporter(name, daemon or FakeDaemon("etching"), settings)
        reporter.start()
        reporters.append(reporter)
        return reporter

    yield reporting
    for reporter in reporters:
        reporter.close()


def states(watcher):
    return {box.name: box.state for box in watcher.boxes()}


def test_a_box_reports_and_says_goodbye(broker, reporting):
    with Watcher(settings_of(broker)) as watcher:
        reporter = reporting(settings_of(broker, page="http://left.local/"))
        until(lambda: states(watcher) == {"left": "ready"})
        (box,) = watcher.boxes()
        until(lambda: box.said("etch/progress") == "43.0")
        until(lambda: box.said("machine/page") == "http://left.local/")

        reporter.close()
        until(lambda: states(watcher) == {"left": "disconnected"})


def test_a_daemon_that_went_is_told_from_a_box_that_went(broker, reporting):
    daemon = FakeDaemon("etching")
    with Watcher(settings_of(broker)) as watcher:
        reporting(settings_of(broker), daemon=daemon)
        until(lambda: states(watcher) == {"left": "ready"})

        daemon.go_away()

        until(lambda: states(watcher) == {"left": "init"})


def test_a_broker_that_was_away_is_told_everything_again(broker, reporting):
    reporter = reporting(settings_of(broker))
    until(lambda: reporter.trouble is None)

    broker.end()
    until(lambda: reporter.trouble and "lost" in reporter.trouble)
    broker.start()

    with Watcher(settings_of(broker)) as watcher:
        until(lambda: states(watcher) == {"left": "ready"})
        until(lambda: watcher.boxes()[0].said("etch/rows") == "1000")


def test_a_broker_that_is_halted_delays_no_one_and_hears_the_newest(broker, reporting):
    daemon = FakeDaemon("etching")
    reporter = reporting(settings_of(broker), daemon=daemon)
    with Watcher(settings_of(broker)) as watcher:
        until(lambda: states(watcher) == {"left": "ready"})
        broker.signal(signal.SIGSTOP)
        for state in ("loaded", "etching", "held"):
            daemon.tell(state)
        broker.signal(signal.SIGCONT)

        until(lambda: watcher.boxes()[0].said("etch/state") == daemon.ask(Status()).state)
    assert len(reporter._under_way) <= 20


def test_without_a_broker_the_command_says_so(tmp_path):
    (tmp_path / "f.toml").write_text(f'broker = "127.0.0.1"\nport = {free_port()}\n')

    done = CliRunner().invoke(command, ["--settings", str(tmp_path / "f.toml"), "--wait", "2"])

    assert done.exit_code == 1
    assert "does not answer" in done.output or "has not answered" in done.output


def test_whatever_is_published_during_an_etch_no_box_hears_it(broker, reporting):
    daemon = FakeDaemon("etching")
    told = values_of(snapshot("etching"))
    topics = [f"homie/5/left/{path}{end}" for path in told for end in ("", "/set")]
    topics += [f"homie/5/left/{path}/set" for path in ("$state", "$description", "etch", "start")]
    topics += ["homie/5/$broadcast/stop", "homie/5/left/start", "left/unlock", "etchwarden/start"]
    with Watcher(settings_of(broker)) as meddler:
        reporting(settings_of(broker), daemon=daemon)
        until(lambda: states(meddler) == {"left": "ready"})

        said = [
            meddler._broker.publish(topic, word)
            for topic in topics
            for word in ("true", "stop", '{"method": "start"}')
        ]
        for one in said:
            one.wait_for_publish(60)
        daemon.tell("held")

        until(lambda: meddler.boxes()[0].said("etch/state") == "held")
    subscribed = broker.subscriptions()
    assert "etchwarden-fleet-" in subscribed  # the meddler's own: so the list is kept
    assert "etchwarden-left" not in subscribed
    assert set(daemon.asked) <= {"heads"}
