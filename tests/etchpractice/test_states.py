"""What is allowed in which state: the whole table (facts of the controller, section 7)."""

import pytest

from support.harnesses.practice_host import Host

REST = {"Idle": None, "Alarm": None}


def idle():
    return Host()


def run():
    host = Host()
    host.queue("G91G1F100X50")
    host.wait(0.1)
    return host


def jog():
    host = Host()
    host.queue("$J=G91X50F100")
    host.wait(0.1)
    return host


def alarm():
    host = run()
    host.write(b"\x18", 0.7)
    return host


def check():
    host = Host()
    host.ask("$C")
    return host


COLUMNS = ("G1X1F100", "$J=G91X1F100", "$$", "$G", "$#", "$I", "$N", "$X")
TABLE = {
    idle: ("ok", "ok", "ok", "ok", "ok", "ok", "ok", "ok"),
    run: ("ok", "error:8", "error:8", "ok", "error:8", "error:8", "error:8", "ok"),
    jog: ("error:9", "ok", "ok", "ok", "error:8", "error:8", "error:8", "ok"),
    alarm: ("error:9", "error:8", "ok", "ok", "ok", "ok", "ok", "ok"),
    check: ("ok", "error:8", "ok", "ok", "error:8", "error:8", "error:8", "ok"),
}
CASES = [
    (make, line, reply)
    for make, replies in TABLE.items()
    for line, reply in zip(COLUMNS, replies, strict=True)
]


@pytest.mark.parametrize(
    ("make", "line", "reply"), CASES, ids=[f"{make.__name__} {line}" for make, line, _ in CASES]
)
def test_every_state_allows_what_the_table_says(make, line, reply):
    host = make()

    assert host.ask(line) == reply


@pytest.mark.parametrize(
    ("make", "reply"), [(run, "error:8"), (jog, "error:8"), (alarm, "error:8")]
)
def test_check_mode_is_entered_from_idle_only(make, reply):
    assert make().ask("$C") == reply


@pytest.mark.parametrize("line", ["$0=10", "$H", "$SLP", "$RST=$", "$N0=G4P0"])
@pytest.mark.parametrize("make", [run, jog, check])
def test_what_writes_or_sleeps_is_refused_unless_at_rest(make, line):
    assert make().ask(line) == "error:8"


def test_an_unlock_says_so_and_leads_to_idle():
    host = alarm()

    assert host.ask("$X") == "ok"
    assert host.pushed == ["[MSG:Caution: Unlocked]"]
    assert host.report()["state"] == "Idle"


@pytest.mark.parametrize("byte", [b"\x85", b"!"])
def test_a_jog_is_braked_and_the_waiting_ones_forgotten(byte):
    host = Host()
    host.run("M5", "G91")
    host.queue("$J=X50F3000", "$J=X50F3000")
    host.wait(0.4)

    host.write(byte, 0.3)

    assert host.report()["state"] == "Idle"
    stopped_mm = host.report().place[0]
    host.run("G1F600X1")
    assert host.report().place[0] == pytest.approx(stopped_mm + 1)
    assert stopped_mm < 40


def test_a_jog_cancel_outside_a_jog_does_nothing():
    host = run()

    host.write(b"\x85", 0.1)

    assert host.report()["state"] == "Run"


def test_a_jog_leaves_the_modes_alone_and_is_no_faster_for_the_feed_override():
    host = Host()
    host.write(b"\x91" * 5, 0.01)
    host.queue("$J=G91G20X1F100")
    host.wait(0.5)
    assert host.report().feed == pytest.approx(2540, abs=1)

    host.run()
    host.ask("$G")

    assert host.pushed == ["[GC:G0 G54 G17 G21 G90 G94 M5 M9 T0 F0 S0]"]


@pytest.mark.parametrize(
    ("line", "reply"), [("$J=G90X-10F1000", "ok"), ("$J=G90X10F1000", "error:15")]
)
def test_a_jog_out_of_the_travel_is_refused(line, reply):
    host = Host(settings={20: 1, 22: 1})
    host.ask("$X")

    assert host.ask(line) == reply


def test_real_time_bytes_of_the_32_bit_firmware_mean_nothing_to_it():
    host = run()

    host.write(b"\x19\x80\x87", 0.1)

    assert host.report()["state"] == "Run"
    assert len(host.reports) == 1
