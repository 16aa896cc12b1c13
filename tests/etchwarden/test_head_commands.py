"""The commands about the machine itself: what they ask the daemon, and what they say."""

from contextlib import nullcontext

import pytest
from click.testing import CliRunner

from etchdaemon.service.idle.jog_controller import MEASURED
from etchwarden.commands import move, settings, trace, wiring
from etchwarden.shared import machine_calls
from etchwire.errors import DaemonAbsent
from support.fakes.fake_daemon import MACHINE, FakeDaemon
from support.fakes.fake_machine import ORIGIN, SETTINGS


@pytest.fixture
def daemon(monkeypatch):
    made = FakeDaemon()
    monkeypatch.setattr(machine_calls, "DaemonClient", lambda _socket: nullcontext(made))
    return made


def run(module, *words):
    return CliRunner().invoke(module.command, [*words, "--daemon", "socket"])


@pytest.mark.parametrize(
    ("words", "method", "said"),
    [
        (["10", "2.5"], "move_to", {"x_mm": 10.0, "y_mm": 2.5}),
        (["-10", "-0.5"], "move_to", {"x_mm": -10.0, "y_mm": -0.5}),
        (["--by", "0", "-3"], "move_by", {"x_mm": 0.0, "y_mm": -3.0}),
        (["--home"], "home", {}),
        (["--stop"], "stop", {"who": ""}),
    ],
)
def test_the_head_is_moved_as_it_was_said(daemon, words, method, said):
    daemon.tell("idle", machine={**MACHINE, "moved": "The head is where it was sent."})

    done = run(move, *words)

    assert done.exit_code == 0, done.output
    assert daemon.asked == [method]
    assert daemon.said[method] == said
    assert "x 12.00, y 58.80 mm" in done.output


@pytest.mark.parametrize(
    ("word", "method", "told"),
    [
        ("--unlock", "unlock", "The controller is unlocked."),
        ("--set-origin", "set_origin", "The origin is where the head is."),
    ],
)
def test_what_moves_nothing_is_said_to_be_done(daemon, word, method, told):
    done = run(move, word)

    assert daemon.asked == [method]
    assert told in done.output


def test_an_earlier_origin_is_taken_again_by_its_name(daemon):
    again = {"name": "the origin of etch 12", "x_mm": -50.0, "y_mm": -80.0}
    daemon.tell("idle", machine={**MACHINE, "origin": {**ORIGIN, "again": again}})

    done = run(move, "--find-origin")

    assert daemon.asked == ["find_origin"]
    assert "In force again: the origin of etch 12." in done.output


@pytest.mark.parametrize(
    "words", [[], ["1"], ["1", "2", "3"], ["1", "x"], ["1", "2", "--home"], ["--home", "--by"]]
)
def test_half_a_wish_reaches_nobody(daemon, words):
    assert run(move, *words).exit_code == 2
    assert daemon.asked == []


def test_a_refusal_is_said_and_is_an_error(daemon):
    daemon.refuse("The head cannot go there.")

    done = run(move, "1", "2")

    assert done.exit_code == 1
    assert "The head cannot go there." in done.output


@pytest.mark.parametrize(("words", "with_run_ups"), [([], False), (["--run-ups"], True)])
def test_the_outline_is_traced(daemon, words, with_run_ups):
    assert run(trace, *words).exit_code == 0
    assert daemon.said["trace_outline"] == {"with_run_ups": with_run_ups}


def test_ctrl_c_stops_the_head_and_says_so(daemon, monkeypatch):
    daemon.tell("idle", machine={**MACHINE, "is_moving": True})

    def press(_seconds):
        daemon.tell("idle", machine={**MACHINE, "moved": "The head was stopped on its way."})
        raise KeyboardInterrupt

    monkeypatch.setattr(machine_calls.time, "sleep", press)

    done = run(move, "1", "2")

    assert daemon.asked == ["move_to", "stop"]
    assert "stopped on its way" in done.output


def test_every_contact_and_output_is_shown(daemon):
    shown = run(wiring).output

    assert "It is on fire. Contact open for 12 s. Not as it should be." in shown
    assert "Temperature:               Not wired." in shown
    assert "Buzzer:       on   buzzer" in shown
    assert "The safety relay was last seen to fall on 2026-11-23." in shown


@pytest.mark.parametrize(("words", "on"), [([], True), (["--off"], False)])
def test_an_output_is_tried_and_it_is_said_what_to_look_for(daemon, words, on):
    shown = run(wiring, "--try", "lamp", *words).output

    assert daemon.said["try_output"] == {"name": "lamp", "on": on}
    assert "The lamp is seen or heard for five seconds." in shown


def test_settings_are_shown_and_what_is_wrong_is_marked(daemon):
    done = run(settings)

    assert done.exit_code == 0
    assert "motors at rest (setting 1): 25 ms  look at this" in done.output


@pytest.mark.parametrize(
    "change", [{"refusals": ["Not in laser mode."]}, {"is_read": False, "settings": []}]
)
def test_settings_that_forbid_an_etch_are_an_error(daemon, change):
    daemon.answers["settings"] = {**SETTINGS, **change}

    assert run(settings).exit_code == 1


@pytest.mark.parametrize("module", [trace, wiring, settings])
def test_a_daemon_that_is_away_is_said(monkeypatch, module):
    def nobody(_socket):
        raise DaemonAbsent("does not answer")

    monkeypatch.setattr(machine_calls, "DaemonClient", nobody)

    done = run(module)

    assert done.exit_code == 1
    assert "does not answer" in done.output


def test_a_controller_is_measured_before_its_settings_are_shown(daemon):
    daemon.tell("idle", machine={**MACHINE, "moved": "The controller is measured."})

    done = run(settings, "--measure")

    assert daemon.asked == ["measure"]
    assert MEASURED in done.output
    assert "single dots up to 2250 mm/min" in done.output


def test_settings_alone_measure_nothing(daemon):
    done = run(settings)

    assert daemon.asked == []
    assert "speed of the controller" in done.output
